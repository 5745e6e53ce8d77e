"""What was once said of a table's columns, for the page: found before a file is read, kept after it was."""

from __future__ import annotations

from dashboard.session.uploads import Upload
from telemetry.readers import ReadOptions, column_maps


def remembered() -> tuple[ReadOptions, str]:
    """Return how tables were explained before, and what cannot be used of it, in words."""
    kept, damaged = column_maps.load()
    return ReadOptions(kept=kept), " ".join(str(error) for error in damaged)


def save_columns(upload: Upload) -> None:
    """Keep what the user said of a table that could be read with it; where he took it all back, forget it.

    Raises
    ------
    KeptError
        If it cannot be kept.
    """
    if upload.said is None or upload.error is not None:
        return
    if upload.said.worth_keeping("") is None:
        column_maps.forget_table(upload.said)
    else:
        column_maps.keep(upload.said)
