"""Sentences and fields of an NMEA 0183 log, found and verified over the whole byte array at once.

The work is done on offsets into one ``uint8`` array: no line ever becomes a Python object. That is what makes
reading many times faster than a parser that works sentence by sentence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from telemetry.core.frames import BoolArray, FloatArray, IntArray

Bytes = npt.NDArray[np.uint8]

_WIDEST_NUMBER = 18  # characters; 15 digits are exact in float64, real receivers write at most 14
_SHORTEST = len("$GPRMC,")
_MAX_FIELDS = 18  # one more than GSA, the longest sentence read


@dataclass(frozen=True)
class Sentences:
    """Every sentence of a log, in file order: those that begin with ``$``, and the encapsulated ones (``!``).

    Attributes
    ----------
    buffer : ndarray of uint8
        The file.
    start, end : ndarray of int, shape (n,)
        Offsets of the ``$`` and of the end of the body (the ``*``, or the end of the line without one).
    kind : ndarray of int, shape (n,)
        The three letters of the sentence type as one number, see :func:`kind_code`; 0 for those that are
        neither standard nor read.
    foreign : ndarray of bool, shape (n,)
        Proprietary (``$P...``) and encapsulated (``!...``) sentences; their checksums do not count.
    has_checksum, checksum_ok : ndarray of bool, shape (n,)
        Whether a checksum follows the body, and whether it is right.
    stray_lines : int
        Lines with text but without any sentence.
    """

    buffer: Bytes
    start: IntArray
    end: IntArray
    kind: IntArray
    foreign: BoolArray
    has_checksum: BoolArray
    checksum_ok: BoolArray
    stray_lines: int


def kind_code(letters: str) -> int:
    """Three letters as one number."""
    a, b, c = letters.encode("ascii")
    return a << 16 | b << 8 | c


def split(data: bytes) -> Sentences:
    """Find the sentences and verify their checksums.

    A sentence runs from its first sign to the first of line end and next sentence, so one that lost its line
    end does not take the following one with it. The checksum is the exclusive or of the bytes between ``$``
    and ``*``.

    References
    ----------
    .. [1] NMEA 0183, section 5.3 (sentence structure), as described in the gpsd project's "NMEA Revealed".
    """
    buffer = np.frombuffer(data, dtype=np.uint8)
    is_end = (buffer == 10) | (buffer == 13)
    line_ends = np.append(np.flatnonzero(is_end), buffer.size)
    encapsulated = _encapsulated(buffer)
    start = np.flatnonzero(buffer == ord("$"))
    if encapsulated.size:
        start = np.sort(np.concatenate([start, encapsulated]))
    stop = np.minimum(
        line_ends[np.searchsorted(line_ends, start)], np.append(start[1:], buffer.size)[: start.size]
    )
    whole = stop - start >= _SHORTEST  # any shorter is a dollar sign in noise
    start, stop = start[whole], stop[whole]
    stars = np.append(np.flatnonzero(buffer == ord("*")), buffer.size)
    star = stars[np.searchsorted(stars, start)]
    has_checksum = (star + 2 < stop) & (star > start + 1)
    end = np.where(has_checksum, star, stop)

    checksum_ok = np.zeros(start.size, dtype=np.bool_)
    with_sum = np.flatnonzero(has_checksum)
    if with_sum.size:
        bounds = np.column_stack([start[with_sum] + 1, star[with_sum]]).ravel()
        computed = np.bitwise_xor.reduceat(buffer, bounds)[::2]
        stated = _hex_digit(buffer[star[with_sum] + 1]) * 16 + _hex_digit(buffer[star[with_sum] + 2])
        checksum_ok[with_sum] = computed == stated

    letter = np.append(buffer, np.zeros(7, dtype=np.uint8))
    kind = (
        letter[start + 3].astype(np.int64) << 16 | letter[start + 4].astype(np.int64) << 8 | letter[start + 5]
    )
    foreign = (letter[start + 1] == ord("P")) | (letter[start] == ord("!"))
    addressed = (letter[start + 6] == ord(",")) & ~foreign
    return Sentences(
        buffer,
        start,
        end,
        np.where(addressed, kind, 0),
        foreign,
        has_checksum,
        checksum_ok,
        _stray_lines(buffer, line_ends, start),
    )


def _encapsulated(buffer: Bytes) -> IntArray:
    """Find the sentences such as ``!AIVDM,``: an exclamation mark, five capitals and a comma."""
    at = np.flatnonzero(buffer == ord("!"))
    at = at[at + _SHORTEST <= buffer.size]
    for i in range(1, 6):
        at = at[(buffer[at + i] >= ord("A")) & (buffer[at + i] <= ord("Z"))]
    return np.asarray(at[buffer[at + 6] == ord(",")])


def foreign_addresses(sentences: Sentences, most: int) -> list[str]:
    """List the addresses of the proprietary and encapsulated sentences, each once, at most so many."""
    names: dict[str, None] = {}
    text = sentences.buffer
    for at in sentences.start[sentences.foreign].tolist():
        address = bytes(text[at + 1 : at + 12]).split(b",")[0].split(b"*")[0]
        names[address.decode("ascii", errors="replace")] = None
        if len(names) >= most:
            break
    return list(names)


def _hex_digit(character: Bytes) -> IntArray:
    value = np.full(256, 1000, dtype=np.int64)  # not a digit: no computed checksum can equal it
    for digit, pair in enumerate(
        ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "Aa", "Bb", "Cc", "Dd", "Ee", "Ff")
    ):
        for letter in pair:
            value[ord(letter)] = digit
    return np.asarray(value[character])


def _stray_lines(buffer: Bytes, line_ends: IntArray, start: IntArray) -> int:
    line_starts = np.concatenate([[0], line_ends[:-1] + 1])
    lengths = line_ends - line_starts
    sentences_before = np.searchsorted(start, np.append(line_starts, buffer.size))
    candidates = np.flatnonzero((np.diff(sentences_before) == 0) & (lengths > 0))
    if candidates.size == 0:
        return 0
    text = buffer.tobytes()
    return sum(1 for i in candidates if text[line_starts[i] : line_ends[i]].strip(b" \t\0"))


class Fields:
    """The fields of the sentences of one kind.

    Field 0 is the address, as in the sentence tables of the standard; a field that a sentence does not have
    is empty.

    Parameters
    ----------
    sentences : Sentences
        All of the log's.
    chosen : ndarray of int
        Which of them.
    commas : ndarray of int
        Offsets of all commas in the log, followed by as many past its end as a sentence has fields.
    """

    def __init__(self, sentences: Sentences, chosen: IntArray, commas: IntArray) -> None:
        self._buffer = sentences.buffer
        self._end = sentences.end[chosen]
        first = np.searchsorted(commas, sentences.start[chosen])
        self._comma = np.ascontiguousarray(sliding_window_view(commas, _MAX_FIELDS)[first].T)
        self._count = (self._comma < self._end).sum(axis=0)
        self._fewest = int(self._count.min(initial=_MAX_FIELDS))
        self._unread: dict[int, BoolArray] = {}

    def span(self, number: int) -> tuple[IntArray, IntArray]:
        """Offsets of the field's first byte and of the byte after its last, shape (n,)."""
        start = self._comma[number - 1] + 1
        end = self._comma[number]
        if number < self._fewest:
            return start, end
        present = number <= self._count
        return np.where(present, start, self._end), np.where(number < self._count, end, self._end)

    def letter(self, number: int) -> Bytes:
        """First byte of the field, 0 where it is empty, shape (n,)."""
        start, end = self.span(number)
        first = self._buffer[np.minimum(start, self._buffer.size - 1)]
        first[end <= start] = 0
        return first

    def number(self, number: int) -> FloatArray:
        """Value of a decimal field, NaN where it is empty or no number, shape (n,)."""
        return self.number_and_places(number)[0]

    def number_and_places(self, number: int) -> tuple[FloatArray, int]:
        """Like :meth:`number`, with the most decimal places any sentence writes."""
        value, places = decimals(self._buffer, *self.span(number))
        self.hold(number, np.isfinite(value))
        return value, int(places.max(initial=0))

    def hold(self, number: int, usable: BoolArray) -> None:
        """Remember of which sentences the field is not empty and yet of no use."""
        start, end = self.span(number)
        unread = (end > start) & ~usable
        self._unread[number] = self._unread.get(number, False) | unread

    def unread(self) -> dict[int, int]:
        """How many sentences have a field that is not empty and could not be used, by its number."""
        return {number: int(where.sum()) for number, where in sorted(self._unread.items()) if where.any()}


def find_commas(sentences: Sentences) -> IntArray:
    """Offsets of all commas, followed by as many past the end as :class:`Fields` may reach for."""
    buffer = sentences.buffer
    return np.concatenate([np.flatnonzero(buffer == ord(",")), np.full(_MAX_FIELDS + 1, buffer.size)])


def decimals(buffer: Bytes, start: IntArray, end: IntArray) -> tuple[FloatArray, IntArray]:
    """Parse decimal numbers at many places of a byte array at once.

    Parameters
    ----------
    buffer : ndarray of uint8
        The text.
    start, end : ndarray of int, shape (n,)
        Where each number stands.

    Returns
    -------
    value : ndarray, shape (n,)
        NaN where there is no plain decimal number. The digits are summed as a whole number (exact below
        2**53) and divided once by a power of ten, which rounds exactly as ``float()`` does.
    places : ndarray of int, shape (n,)
        Digits after the decimal point.
    """
    length = end - start
    value = np.full(start.size, np.nan)
    places = np.zeros(start.size, dtype=np.int64)
    width = int(min(length.max(initial=0), _WIDEST_NUMBER))
    if width == 0:
        return value, places
    if end.min() < width:  # a number at the very beginning has too few bytes before it to fill a row
        buffer = np.concatenate([np.zeros(width, dtype=np.uint8), buffer])
        start, end = start + width, end + width
    # One column a number, its last character in the last row: sums over characters then run along memory.
    characters = np.ascontiguousarray(sliding_window_view(buffer, width)[end - width].T)
    from_right = np.arange(width - 1, -1, -1)
    fits = (length > 0) & (length <= width)
    if (length != width).any():
        characters[from_right[:, None] >= length] = ord("0")
    negative = buffer[np.minimum(start, buffer.size - 1)] == ord("-")
    signed = np.flatnonzero(negative & fits)
    characters[width - length[signed], signed] = ord("0")
    is_dot = characters == ord(".")
    digit = characters - np.uint8(ord("0"))
    dots = is_dot.sum(axis=0)
    usable = fits & ((digit <= 9).sum(axis=0) + dots == width) & (dots <= 1) & (length > dots + negative)
    places = np.where(dots == 1, width - 1 - np.argmax(is_dot, axis=0), 0)
    shape = np.where(dots == 1, places, -1)
    for dot_at in np.flatnonzero(np.bincount(shape[usable] + 1)) - 1:
        power = np.where((from_right > dot_at) & (dot_at >= 0), from_right - 1, from_right)
        weight = np.where(from_right == dot_at, 0.0, 10.0**power)
        chosen = usable & (shape == dot_at)
        some = digit if chosen.all() else digit[:, chosen]
        value[chosen] = weight @ some.astype(np.float64) / 10.0 ** max(int(dot_at), 0)
    value[negative] *= -1.0
    return value, places
