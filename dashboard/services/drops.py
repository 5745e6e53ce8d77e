"""Files let go of over a page, read into a session within its bounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dashboard.services.maps import remembered
from dashboard.services.sessions import Session
from dashboard.services.uploads import MOST_BYTES_A_DROP, MOST_FILES_A_DROP, content_of, read_uploads


def take_in(session: Session, dropped: Sequence[Mapping[str, str]]) -> str:
    """Read files by what is remembered of tables.

    The page holds back what is too much before it sends it; what comes all the same is held to it too.

    Returns
    -------
    str
        What is not read, and what of the remembered cannot be used, in words; empty where all is well.
    """
    options, unusable = remembered()
    said = [unusable] if unusable else []
    left = MOST_BYTES_A_DROP
    for k, file in enumerate(dropped):
        data = content_of(file["contents"])
        left -= len(data)
        if k >= MOST_FILES_A_DROP or left < 0:
            said.append(
                f"Only the first {k} of {len(dropped)} files were read. Drop at most {MOST_FILES_A_DROP} "
                f"files or {MOST_BYTES_A_DROP // 1_000_000} MB at once; drop the others again."
            )
            break
        for upload in read_uploads(file["name"], data, options):
            session.put(upload)
    return " ".join(said)
