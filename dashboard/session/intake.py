"""Read files dropped on a page into a session in the background, within its limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from dashboard.session.column_maps import remembered, save_columns
from dashboard.session.jobs import Job
from dashboard.session.sessions import Session
from dashboard.session.uploads import (
    MAX_BYTES_A_DROP,
    MAX_FILES_A_DROP,
    Upload,
    content_of,
    plain_name,
    read_again,
    read_uploads,
    turned_away,
)
from telemetry.core.progress import scope
from telemetry.logbook import NamedLog
from telemetry.readers import ReadOptions


def take_in(session: Session, dropped: Sequence[Mapping[str, str]], *, analysed: bool = True) -> str:
    """Read files, each as a job of its own, with the saved column maps.

    The page holds back what is too much before sending; the limits are enforced here too.

    Parameters
    ----------
    session : Session
    dropped : sequence of mapping
        ``name`` and ``contents``, as a data address.
    analysed : bool
        Whether the logs are analysed once they have been read.

    Returns
    -------
    str
        What is not read, and which saved maps cannot be used; empty if all is well.
    """
    options, unusable = remembered()
    said = [unusable] if unusable else []
    left = MAX_BYTES_A_DROP
    for k, file in enumerate(dropped):
        n_bytes = len(file["contents"]) * 3 // 4
        left -= n_bytes
        if k >= MAX_FILES_A_DROP or left < 0:
            said.append(
                f"Only the first {k} of {len(dropped)} files were read. Drop at most {MAX_FILES_A_DROP} "
                f"files or {MAX_BYTES_A_DROP // 1_000_000} MB at once; drop the others again."
            )
            break
        if not session.has_room(n_bytes):
            session.put(turned_away(file["name"]))
            continue
        contents = file["contents"]
        session.queue.add(
            _reading(session, file["name"], partial(content_of, contents), len(contents), options)
        )
    if analysed:
        session.settle()
    return " ".join(said)


def bring_in(session: Session, logs: Sequence[NamedLog], options: ReadOptions) -> None:
    """Read and analyse logs of the logbook."""
    for log in logs:
        session.queue.add(_reading(session, log.file, partial(bytes, log.data), len(log.data), options))
    session.settle()


def _reading(
    session: Session, name: str, content: Callable[[], bytes], size: int, options: ReadOptions
) -> Job:
    def work(job: Job) -> None:
        data = content()
        with scope(0.05, 1.0):
            uploads = read_uploads(name, data, options)
        job.conclude()
        for upload in uploads:
            session.put(upload)

    return Job("reading", plain_name(name), work, size)


def put_in(session: Session, uploads: Sequence[Upload]) -> None:
    """Add logs that have been read already, and analyse them."""
    for upload in uploads:
        session.put(upload)
    session.settle()


def read_anew(
    session: Session,
    key: str,
    headings: Mapping[str, str] | None,
    pole_pairs: int | None,
    gear_ratio: float | None,
) -> None:
    """Read a table again with the user's column map, and save the map; see :func:`read_again`."""
    upload = session.uploads[key]

    def work(job: Job) -> None:
        again = read_again(upload, headings, pole_pairs, gear_ratio)
        job.conclude()
        session.put(again)
        save_columns(again)

    session.queue.add(Job("reading", upload.name, work))
    session.settle()
