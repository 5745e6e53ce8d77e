"""Heading maps kept across sessions: asked for once, chosen again by a table's headings.

Each map is a small JSON file of its own in the program's folder, named after its table's headings, and is
replaced as a whole: a writer never has to read what another one writes, and a reader sees the old map or the
new one. A file that is damaged is moved aside, never deleted.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from telemetry.core.errors import LogError, SavedColumnsError
from telemetry.core.paths import atomic_write, home_folder
from telemetry.readers import (
    ExplainedTable,
    ReadOptions,
    SavedColumnMap,
    explain_table,
    open_file,
    read_bytes,
)
from telemetry.readers.saved_columns import table_id

_ENDING: Final = ".json"
_DAMAGED: Final = ".damaged"


def folder() -> Path:
    """Find the folder of the maps; it may not be there yet."""
    return home_folder() / "heading_maps"


def load() -> tuple[dict[str, SavedColumnMap], tuple[SavedColumnsError, ...]]:
    """Read every map that is kept.

    Returns
    -------
    dict of str to SavedColumnMap
        By its id, the oldest first.
    tuple of SavedColumnsError
        One for each file that could not be used; a damaged one stands aside from now on.
    """
    maps: list[SavedColumnMap] = []
    errors = []
    for file in _files():
        try:
            maps.append(_read(file))
        except FileNotFoundError:
            continue  # another session has just forgotten it
        except OSError as error:
            errors.append(_cannot("be read", error, file))
        except ValueError as error:
            errors.append(_set_aside(file, error))
    maps.sort(key=lambda kept: kept.kept_utc)
    return {kept.id: kept for kept in maps}, tuple(errors)


def _read(file: Path) -> SavedColumnMap:
    return map_of_text(file.read_text(encoding="utf-8"))


def map_of_text(text: str) -> SavedColumnMap:
    """Read a map from its JSON.

    Raises
    ------
    ValueError
        If it is not a saved map.
    """
    try:
        return SavedColumnMap.from_dict(json.loads(text))
    except RecursionError:
        raise ValueError("brackets within brackets without end") from None


def keep(said: ExplainedTable) -> SavedColumnMap | None:
    """Keep what is said of a table, in the place of what was said before.

    Returns
    -------
    SavedColumnMap or None
        What was written; None where nothing is said, or nothing that is not kept already.

    Raises
    ------
    SavedColumnsError
        If it cannot be written; what was kept before then still is.
    """
    new = said.worth_keeping(datetime.now(UTC).isoformat(timespec="seconds"))
    if new is None:
        return None
    file = folder() / f"{new.id}{_ENDING}"
    with suppress(OSError, ValueError):
        if new.says_the_same(_read(file)):
            return None
    text = json.dumps(new.to_dict(), indent=2, ensure_ascii=False)
    try:
        with atomic_write(file) as stream:
            stream.write(f"{text}\n".encode())
    except OSError as error:
        raise _cannot("be kept", error, file) from None
    return new


def keep_of_files(files: Iterable[Path], options: ReadOptions) -> list[SavedColumnsError]:
    """Keep what the options say of the tables that can be read with them; return what could not be kept."""
    errors = []
    for log in (log for file in files for log in open_file(file).files):
        try:
            read_bytes(log.data, log.file, options)  # what makes no sense of a table is not worth keeping
            keep(explain_table(log.data, log.file, options))
        except SavedColumnsError as error:
            errors.append(error)
        except LogError:
            continue
    return errors


def forget(name: str) -> SavedColumnMap:
    """Forget one map.

    Parameters
    ----------
    name : str
        Its id, or the beginning of it that no other has.

    Raises
    ------
    SavedColumnsError
        If there is no such map, there are several, or it cannot be removed.
    """
    found = [kept for key, kept in load()[0].items() if name and key.startswith(name)]
    if len(found) != 1:
        reason = f"{'several maps begin' if found else 'no map is kept that begins'} with '{name}'"
        raise SavedColumnsError(reason, hint="list them with `reciprocal maps`")
    _remove(found[0].id)
    return found[0]


def forget_table(said: ExplainedTable) -> None:
    """Forget what is kept of a kind of table, if anything is.

    Raises
    ------
    SavedColumnsError
        If it cannot be removed.
    """
    _remove(table_id(said.headings, said.units))


def _remove(name: str) -> None:
    """Remove each file that holds this map, whatever it is called: one left behind would still be read."""
    for file in _files():
        try:
            if _read(file).id == name:
                file.unlink()
        except (FileNotFoundError, ValueError):
            continue  # gone already, or no map
        except OSError as error:
            raise _cannot("be removed", error, file) from None


def _files() -> list[Path]:
    try:
        return sorted(path for path in folder().iterdir() if path.suffix == _ENDING)
    except OSError:
        return []  # nothing kept yet


def _cannot(what: str, error: OSError, file: Path) -> SavedColumnsError:
    return SavedColumnsError(
        f"the heading map cannot {what}: {error.strerror or error}",
        file=str(file),
        hint="check the folder, or set RECIPROCAL_HOME to one that may be written",
    )


def _set_aside(file: Path, why: ValueError) -> SavedColumnsError:
    moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    aside = file.with_name(f"{file.stem}-{moment}{_DAMAGED}")
    try:
        file.rename(aside)
    except OSError as error:
        return _cannot("be read and not be moved aside", error, file)
    return SavedColumnsError(
        f"this heading map is damaged ({why}) and was moved aside to {aside.name}",
        file=str(file),
        hint="say once more what the table's columns are",
    )
