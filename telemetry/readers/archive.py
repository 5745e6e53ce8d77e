"""Logs inside a .zip or a .gz: taken out in memory, within bounds, and never by a path.

Only what a log needs is opened: gzip, and zip with stored or deflated files, whose decompressor can be told
where to stop. An archive inside an archive is refused, since nesting is what makes small files endless; so is
what is encrypted, damaged or larger than any log. The names inside are shown and nothing else.
"""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import PurePosixPath
from typing import Final

from telemetry.core.errors import DamagedLogError, LogError
from telemetry.core.sanitize import SHORT, shortened

ARCHIVE_SUFFIXES: Final = (".zip", ".gz")

_GZIP: Final = b"\x1f\x8b\x08"
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06")
_OTHERS: Final = (b"7z\xbc\xaf\x27\x1c", b"Rar!\x1a\x07", b"BZh", b"\xfd7zXZ\x00", b"\x28\xb5\x2f\xfd")
_TAR_AT: Final = 257
_OTHER_SUFFIXES: Final = (".7z", ".rar", ".bz2", ".xz", ".zst", ".tar", ".tgz", ".tbz", ".tbz2", ".txz")
_HEAD_BYTES: Final = 4096
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED: Final = 0x1 | 0x40 | 0x2000  # encrypted, strongly encrypted, headers masked (APPNOTE 4.4.4)
_CENTRAL_ENTRY: Final = b"PK\x01\x02"
# A log of numbers shrinks to a tenth, a very dull one to a fortieth: common practice, no source. Less is let
# through where it matters, of what unpacks to more than an hour's log.
_MAX_TIMES: Final = 250
_MAX_TIMES_IF_LARGE: Final = 60
_LARGE_BYTES: Final = 20_000_000
_ALWAYS_ALLOWED_BYTES: Final = 1_000_000
_HINT_UNPACK: Final = "unpack it yourself and give the logs that were in it"
_HINT_COPY: Final = "copy it from where it came from again"


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much may come out of one archive.

    Attributes
    ----------
    each_bytes, all_bytes : int
        Of one file, and of all together [byte].
    files : int
        How many files it may hold, logs or not.
    """

    each_bytes: int = 200_000_000
    all_bytes: int = 200_000_000
    files: int = 100


@dataclass(frozen=True, slots=True)
class LogFile:
    """The bytes of one log, and the name by which it is spoken of (``outing.zip/lake.gpx``)."""

    file: str
    data: bytes


@dataclass(frozen=True, slots=True)
class PassedOver:
    """The name of a file in an archive that is not a log."""

    name: str


Wanted = Callable[[str, bytes], bool]
"""Whether a file in a zip is to be taken out, from its name and its first 4 KiB."""


def is_archive(data: bytes) -> bool:
    """Check whether bytes are an archive that :func:`unpack_archive` opens."""
    return data.startswith((_GZIP, *_ZIP))


def is_shadow(name: str) -> bool:
    """Check whether a file is what one operating system writes beside every file on foreign disks."""
    return name.startswith("._")


def unpack_archive(
    data: bytes, file: str, bounds: Bounds, wanted: Wanted
) -> Iterator[LogFile | LogError | PassedOver]:
    """Yield the logs of a .gz or a .zip, an error for each unreadable one, and the names of other files.

    Parameters
    ----------
    data, file : bytes and str
        The archive and its name.
    bounds : Bounds
        How much may come out.
    wanted : callable
        Which files of a zip are logs; the others are passed over, as those in a folder are.

    Raises
    ------
    LogError
        If the archive as a whole cannot be used.
    """
    opened = _from_gzip if data.startswith(_GZIP) else _from_zip
    try:
        yield from opened(data, file, bounds, wanted)
    except LogError:
        raise
    except Exception as error:
        # Besides BadZipFile the standard library lets through zlib, struct, unicode and value errors.
        reason = f"the archive is damaged ({type(error).__name__}: {shortened(str(error), SHORT)})"
        raise DamagedLogError(reason, file=file, hint=_HINT_COPY) from error


def _from_gzip(data: bytes, file: str, bounds: Bounds, _wanted: Wanted) -> Iterator[LogFile]:
    # A .gz may be several in a row. Each costs time however little is in it, and begins with these bytes.
    if data.count(_GZIP) > 10 * bounds.files:
        raise LogError("it is made of too many parts", file=file, hint=_HINT_UNPACK)
    last = PurePosixPath(file.replace("\\", "/")).name
    inner = f"{file}/{last[:-3] if last.lower().endswith('.gz') else last}"
    with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
        content = stream.read(bounds.each_bytes + 1)
    _hold_size(len(content), len(data), inner, bounds)
    _refuse_nested(content, inner)
    yield LogFile(inner, content)


def _from_zip(
    data: bytes, file: str, bounds: Bounds, wanted: Wanted
) -> Iterator[LogFile | LogError | PassedOver]:
    # The list of contents is read as a whole on opening: count it first. Ten times the files is no log's zip,
    # however its own count of them reads.
    listed = data.count(_CENTRAL_ENTRY)
    if listed <= 10 * bounds.files:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            files = [m for m in archive.infolist() if not m.is_dir()]
            members = [m for m in files if not _is_litter(m.filename)]
            listed = len(members)
            if listed <= bounds.files:
                _refuse_shared(members, file)
                yield from _members(archive, members, file, bounds, wanted)
                yield from (PassedOver(_shown(m.filename)) for m in files if _is_litter(m.filename))
                return
    reason = f"it holds {listed} files, more than the {bounds.files} that are opened"
    raise LogError(reason, file=file, hint=_HINT_UNPACK)


def _members(
    archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], file: str, bounds: Bounds, wanted: Wanted
) -> Iterator[LogFile | LogError | PassedOver]:
    total = 0
    for member in members:
        name = f"{file}/{_shown(member.filename)}"
        try:
            log = _member(archive, member, name, bounds, wanted)
        except LogError as error:
            yield error
        except Exception as error:  # see `unpack_archive`; the files beside it may be whole
            told = shortened(str(error), SHORT)
            reason = f"this part of the archive is damaged ({type(error).__name__}: {told})"
            yield DamagedLogError(reason, file=name, hint=_HINT_COPY)
        else:
            if log is None:
                yield PassedOver(_shown(member.filename))
                continue
            total += len(log.data)
            if total > bounds.all_bytes:
                raise LogError(
                    f"together its files unpack to more than {bounds.all_bytes / 1e6:g} MB",
                    file=file,
                    place=f"from {_shown(member.filename)} on",
                    hint=_HINT_UNPACK,
                )
            yield log


def _member(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str, bounds: Bounds, wanted: Wanted
) -> LogFile | None:
    if member.flag_bits & _ENCRYPTED:
        raise LogError("it is encrypted", file=name, hint=_HINT_UNPACK)
    if member.compress_type not in _METHODS:
        reason = f"it is packed by method {member.compress_type}; plain and deflated zip files are opened"
        raise LogError(reason, file=name, hint=_HINT_UNPACK)
    with archive.open(member) as stream:
        head = stream.read(_HEAD_BYTES)
        if _is_packed(head) and _is_document(member.filename, wanted):
            return None
        _refuse_nested(head, name)
        if not wanted(member.filename, head):
            return None
        _hold_size(member.file_size, member.compress_size, name, bounds)
        content = head + stream.read()  # never more than the size that is stated, be it a lie
    return LogFile(name, content)


def _refuse_shared(members: list[zipfile.ZipInfo], file: str) -> None:
    """Refuse files that lie over one another: that makes a small zip large, and no packer does it."""
    placed = sorted((member.header_offset, member.compress_size) for member in members)
    for (at, size), (following, _) in pairwise(placed):
        if at + size >= following:
            raise DamagedLogError("its files lie over one another", file=file, hint=_HINT_COPY)


def _hold_size(size: int, packed_size: int, name: str, bounds: Bounds) -> None:
    if size > bounds.each_bytes:
        raise LogError(
            f"it unpacks to more than {bounds.each_bytes / 1e6:g} MB",
            file=name,
            hint="cut the outing out of it first",
        )
    times = _MAX_TIMES if size <= _LARGE_BYTES else _MAX_TIMES_IF_LARGE
    if size > max(_ALWAYS_ALLOWED_BYTES, times * packed_size):
        raise LogError(
            f"it unpacks to more than {times} times its size, which no log does",
            file=name,
            hint=_HINT_UNPACK,
        )


def _is_packed(content: bytes) -> bool:
    return is_archive(content) or content.startswith(_OTHERS) or content[_TAR_AT : _TAR_AT + 5] == b"ustar"


def _refuse_nested(content: bytes, name: str) -> None:
    if _is_packed(content):
        raise LogError(
            "it is an archive inside an archive, which is not opened", file=name, hint=_HINT_UNPACK
        )


def _is_document(name: str, wanted: Wanted) -> bool:
    """Tell by its name whether a packed file is neither a log nor an archive: many a document is a zip."""
    ending = PurePosixPath(name).suffix.lower()
    return bool(ending) and ending not in (*ARCHIVE_SUFFIXES, *_OTHER_SUFFIXES) and not wanted(name, b"")


def _is_litter(name: str) -> bool:
    """Check whether an operating system, not a person, put a file into a zip."""
    parts = name.replace("\\", "/").split("/")
    return parts[0] == "__MACOSX" or parts[-1].startswith(".")


def _shown(name: str) -> str:
    """Make a name inside an archive fit to be printed: no way up, no control characters, not endless."""
    parts = [part for part in name.replace("\\", "/").split("/") if part not in ("", ".", "..")]
    printed = "".join(c if c.isprintable() else "?" for c in "/".join(parts))
    return printed[-120:] or "?"
