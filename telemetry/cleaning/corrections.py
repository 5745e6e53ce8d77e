"""Corrections by hand: stretches cut, values restored, a clock set.

No data is deleted: a correction is a value stored with the logs, and removing it restores the earlier result
bit for bit. A log is identified by the SHA-256 of its bytes, or by its name if it has none.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, ClassVar, Final

import numpy as np
import pandas as pd

from telemetry.cleaning.timeline import break_after_s
from telemetry.core.errors import CallError
from telemetry.core.frames import BoolArray, Finding, FloatArray, LogMeta, Track

CUT: Final = "cut-by-hand"
RESTORED: Final = "restored-by-hand"
BY_HAND: Final = (CUT, RESTORED)
# Findings of the cleaning itself; a receiver's report on its fix, or a stamp out of order, cannot be
# restored.
RESTORABLE: Final = ("false-spike", "position-jump", "frozen-fix", "frozen-position", "held-speed")
_LONGEST_WHY: Final = 300
_MAX_OFFSET_S: Final = 1e7
_MAX_U95_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A stretch of a speed log that a person corrects.

    Attributes
    ----------
    log : str
        Which log, see :func:`log_key`.
    start_s, end_s : float
        Its first and last moment on the log's clock, both included [s].
    why : str
        Reason in the person's words; may be empty.
    """

    done: ClassVar[str]
    log: str
    start_s: float
    end_s: float
    why: str = ""

    @property
    def logs(self) -> tuple[str, ...]:
        """The logs that it concerns."""
        return (self.log,)

    def told(self) -> str:
        """Describe the correction."""
        return f"{self.done} from {self.start_s:.2f} to {self.end_s:.2f} s"


class Cut(_Stretch):
    """A stretch that a person excluded."""

    __slots__ = ()
    done = "cut out"


class Restored(_Stretch):
    """A stretch in which a person restored what the cleaning had excluded."""

    __slots__ = ()
    done = "restored"


@dataclass(frozen=True, slots=True)
class ClockByHand:
    """Relation of a motor log's clock to a speed log's, as a person set it.

    Attributes
    ----------
    log, speed_log : str
        The motor log, and the speed log it is matched to, see :func:`log_key`.
    offset_s, drift_ppm : float
        As in :class:`telemetry.motor.sync.clock.MotorClock`.
    u95_s : float or None
        Half-width of the 95 % interval that the person states; None for the usual accuracy by eye.
    why : str
    """

    log: str
    speed_log: str
    offset_s: float
    drift_ppm: float = 0.0
    u95_s: float | None = None
    why: str = ""

    @property
    def logs(self) -> tuple[str, ...]:
        """The logs that it concerns."""
        return (self.log, self.speed_log)

    def told(self) -> str:
        """Describe the correction."""
        sure = "" if self.u95_s is None else f" ± {self.u95_s:g} s"
        return f"clock set to {self.offset_s:.3f} s{sure}"


Correction = Cut | Restored | ClockByHand


@dataclass(frozen=True, slots=True)
class ByHand:
    """All corrections of an analysis, in order of entry; hashable.

    Attributes
    ----------
    cuts : tuple of Cut
    restored : tuple of Restored
    clocks : tuple of ClockByHand
        One of each motor log.
    """

    cuts: tuple[Cut, ...] = ()
    restored: tuple[Restored, ...] = ()
    clocks: tuple[ClockByHand, ...] = ()

    @property
    def all(self) -> tuple[Correction, ...]:
        """Every correction."""
        return (*self.cuts, *self.restored, *self.clocks)

    def with_(self, *more: Correction) -> ByHand:
        """Return these and more; none is doubled, and a clock replaces the motor log's earlier one.

        Raises
        ------
        CallError
            If a correction is impossible.
        """
        every = (*self.all, *map(validate_corrections, more))
        stretches = dict.fromkeys(c for c in every if not isinstance(c, ClockByHand))
        clocks = {c.log: c for c in every if isinstance(c, ClockByHand)}
        return group_corrections([*stretches, *clocks.values()])

    def without(self, *gone: Correction) -> ByHand:
        """Return the others."""
        return group_corrections([c for c in self.all if c not in gone])

    def of(self, log: str) -> ByHand:
        """Return the cuts and restored stretches of one speed log."""
        return replace(
            self,
            cuts=tuple(c for c in self.cuts if c.log == log),
            restored=tuple(c for c in self.restored if c.log == log),
            clocks=(),
        )

    def clock_of(self, log: str) -> ClockByHand | None:
        """Return the clock set by hand for a motor log; None if there is none."""
        return next((c for c in self.clocks if c.log == log), None)

    def to_dict(self) -> dict[str, Any]:
        """Return plain types, by kind."""
        return {name: [asdict(c) for c in getattr(self, name)] for name in ("cuts", "restored", "clocks")}


def group_corrections(corrections: Sequence[Correction]) -> ByHand:
    """Sort corrections by their kind."""
    return ByHand(
        tuple(c for c in corrections if isinstance(c, Cut)),
        tuple(c for c in corrections if isinstance(c, Restored)),
        tuple(c for c in corrections if isinstance(c, ClockByHand)),
    )


def log_key(meta: LogMeta) -> str:
    """Return the key by which corrections identify a log."""
    return meta.sha256 or meta.file


def validate_corrections(correction: Correction) -> Correction:
    """Raise for an impossible correction.

    Raises
    ------
    CallError
    """
    if len(correction.why) > _LONGEST_WHY:
        raise CallError("the reason is too long", hint=f"use at most {_LONGEST_WHY} characters")
    if isinstance(correction, ClockByHand):
        if not abs(correction.offset_s) <= _MAX_OFFSET_S or not abs(correction.drift_ppm) <= 1e5:
            raise CallError(
                f"a clock offset of {correction.offset_s:g} s is not possible", hint="give seconds"
            )
        if correction.u95_s is not None and not 0.0 < correction.u95_s <= _MAX_U95_S:
            raise CallError(
                f"a clock interval of {correction.u95_s:g} s is not possible",
                hint=f"give up to {_MAX_U95_S:g} seconds",
            )
    elif not -_MAX_OFFSET_S <= correction.start_s < correction.end_s <= _MAX_OFFSET_S:
        raise CallError(
            f"a stretch from {correction.start_s:g} s to {correction.end_s:g} s is not possible",
            hint="give a start and a later end",
        )
    return correction


def in_stretches(t_s: FloatArray, stretches: Sequence[Cut] | Sequence[Restored]) -> BoolArray:
    """Mark the samples inside any of the stretches, shape (n,)."""
    mark = np.zeros(t_s.shape, dtype=np.bool_)
    for one in stretches:
        mark |= (t_s >= one.start_s) & (t_s <= one.end_s)
    return mark


def cut_findings(t_s: FloatArray, cuts: Sequence[Cut]) -> list[Finding]:
    """Report each cut, from the last sample kept before it to the first kept after.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        All stamps of the log, in order [s].
    cuts : sequence of Cut
    """
    kept = t_s[~in_stretches(t_s, cuts)]
    longest_s = break_after_s(float(np.median(np.diff(kept))) if kept.size > 1 else 0.0)
    findings = []
    for one in cuts:
        count = int(in_stretches(t_s, [one]).sum())
        before, after = kept[kept < one.start_s], kept[kept > one.end_s]
        start_s = float(before[-1]) if before.size else one.start_s
        end_s = float(after[0]) if after.size else one.end_s
        across = "; nothing is measured across it" if end_s - start_s > longest_s else ""
        said = f"cut by hand, {one.start_s:.2f} to {one.end_s:.2f} s{across}{with_reason(one.why)}"
        findings.append(Finding(CUT, said if count else f"{said}: it holds no sample", count, start_s, end_s))
    return findings


def with_reason(why: str) -> str:
    """Append a reason to a text.

    Examples
    --------
    >>> with_reason("towed home"), with_reason("")
    (': towed home', '')
    """
    return f": {why}" if why else ""


_TIME: Final = re.compile(
    r"(?:(\d{4}-\d\d-\d\d)[T ])?(\d\d?):(\d\d(?::\d\d(?:\.\d{1,6})?)?) ?(?:Z|UTC)?", re.ASCII
)


def parse_moment_s(text: str, log: Track) -> float:
    """Parse a moment in a log: seconds on its clock, or UTC with or without the day [s].

    A time without a day is the first one not before the log's start.

    Raises
    ------
    CallError
        If it is neither, or the log does not state the day.
    """
    try:
        return float(text)
    except ValueError:
        said = _TIME.fullmatch(text.strip())
    start = log.meta.start_utc
    if said is None:
        raise CallError(
            f"'{text}' is not a time", hint="write seconds from the log's start, or 09:31:07.5 for UTC"
        )
    if start is None:
        raise CallError(
            "the log does not say which day it was", file=log.meta.file, hint="write seconds from its start"
        )
    day, hour, rest = said.groups()
    try:
        at = pd.Timestamp(f"{day or start.date()}T{hour:0>2}:{rest}Z")
    except ValueError:
        raise CallError(
            f"'{text}' is not a time", hint="write hours to 23, minutes and seconds to 59"
        ) from None
    if day is None and at < start.floor("s"):
        at += pd.Timedelta(days=1)
    return float((at - start).total_seconds())
