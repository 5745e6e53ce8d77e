"""Files let go of over a page, read into a session."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dashboard.services.maps import remembered
from dashboard.services.sessions import Session
from dashboard.services.uploads import content_of, read_upload


def take_in(session: Session, dropped: Iterable[Mapping[str, str]]) -> str:
    """Read files by what is remembered of tables; return what of that cannot be used, in words."""
    options, unusable = remembered()
    for file in dropped:
        session.put(read_upload(file["name"], content_of(file["contents"]), options))
    return unusable
