"""Saved meanings of tables' columns: looked up before a file is read, saved after it was."""

from __future__ import annotations

from dashboard.session.uploads import Upload
from telemetry.readers import ReadOptions, column_maps


def remembered() -> tuple[ReadOptions, str]:
    """Return the saved explanations of tables, and which of them cannot be used, in words."""
    kept, damaged = column_maps.load()
    return ReadOptions(kept=kept), " ".join(str(error) for error in damaged)


def save_columns(upload: Upload) -> None:
    """Save the user's explanation of a table that could be read with it; forget one that is empty.

    Raises
    ------
    SavedColumnsError
        If it cannot be saved.
    """
    if upload.said is None or upload.error is not None:
        return
    if upload.said.worth_keeping("") is None:
        column_maps.forget_table(upload.said)
    else:
        column_maps.keep(upload.said)
