"""Corrections by hand as command-line options: cuts, restored stretches and clocks of named logs."""

from __future__ import annotations

import argparse
import getpass
import re
from argparse import Namespace
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Final, TypeVar

from telemetry.analysis import Analysis
from telemetry.cleaning.corrections import ClockByHand, Correction, Cut, Restored, log_key, parse_moment_s
from telemetry.core.errors import CallError
from telemetry.core.frames import Log

_MOMENT: Final = r"(?:(?:\d{4}-\d\d-\d\dT)?\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?Z?|-?\d+(?:\.\d+)?)"
_STRETCH: Final = re.compile(rf"(.+?):({_MOMENT})\.\.({_MOMENT})(?::(.*))?", re.ASCII | re.DOTALL)
_NUMBER: Final = r"\d+(?:\.\d+)?"
_CLOCK: Final = re.compile(
    rf"(.+?):([+-]?{_NUMBER})(?:(?:\+-|±)({_NUMBER}))?(?::(.*))?", re.ASCII | re.DOTALL
)
STRETCH: Final = "FILE:START..END[:WHY]"

L = TypeVar("L", bound=Log)


@dataclass(frozen=True, slots=True)
class _Stretch:
    file: str
    start: str
    end: str
    why: str


@dataclass(frozen=True, slots=True)
class _Clock:
    file: str
    offset_s: float
    u95_s: float | None
    why: str


def add_by_hand(parser: argparse.ArgumentParser) -> None:
    """Add the options for corrections by hand."""
    group = parser.add_argument_group(
        "corrected by hand",
        "named in every result they affect; times are seconds from the log's start, or UTC as 09:31:07.5",
    )
    for option, said in (
        ("--cut", "exclude this stretch of a speed log; repeat"),
        ("--restore", "use what the program excluded there, as it was real; repeat"),
    ):
        group.add_argument(option, type=_stretch, action="append", default=[], metavar=STRETCH, help=said)
    group.add_argument(
        "--clock",
        type=_clock,
        action="append",
        default=[],
        metavar="FILE:OFFSET[+-U95][:WHY]",
        help="seconds from the speed log's start to the motor log's start; repeat",
    )


def add_record(parser: argparse.ArgumentParser) -> None:
    """Add the options for recording corrections in the logbook and for undoing them."""
    parser.add_argument(
        "--take-back",
        type=_numbers,
        default=(),
        metavar="N[,N]",
        help="numbers of corrections by hand to undo, from `reciprocal show`",
    )
    parser.add_argument("--why", default="", metavar="TEXT", help="why they are undone")
    parser.add_argument(
        "--by", metavar="NAME", help="who made the change (default: your name on this machine)"
    )


def _stretch(text: str) -> _Stretch:
    said = _STRETCH.fullmatch(text)
    if said is None:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a stretch of a log; write {STRETCH}, such as lake.gpx:36.5..38:spray"
        )
    file, start, end, why = said.groups()
    return _Stretch(file, start, end, why or "")


def _clock(text: str) -> _Clock:
    said = _CLOCK.fullmatch(text)
    if said is None:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a clock setting; write FILE:OFFSET in seconds, such as motor.csv:-22.4+-0.1"
        )
    file, offset, u95, why = said.groups()
    return _Clock(file, float(offset), None if u95 is None else float(u95), why or "")


def _numbers(text: str) -> tuple[int, ...]:
    parts = text.split(",")
    if not all(part.isdecimal() and len(part) < 10 for part in parts):
        raise argparse.ArgumentTypeError(f"'{text}' is not a correction's number; write 3 or 3,4")
    return tuple(map(int, parts))


def corrections_of(args: Namespace, analysis: Analysis) -> tuple[Correction, ...]:
    """Turn the options into corrections of an analysis's logs.

    Raises
    ------
    CallError
        If a log is not among them, or a time cannot be read.
    """
    tracks = [log.read for log in analysis.speed_logs]
    made: list[Correction] = []
    for kind, said in [(Cut, s) for s in args.cut] + [(Restored, s) for s in args.restore]:
        track = _named(tracks, said.file, "speed")
        span = (parse_moment_s(said.start, track), parse_moment_s(said.end, track))
        made.append(kind(log_key(track.meta), *span, said.why))
    for said in args.clock:
        motor = _named(analysis.motor_logs, said.file, "motor")
        joined = next((j for j in analysis.motors if j.log is motor), None)
        if joined is None:
            raise CallError("there is no speed log to match it to", file=said.file, hint="name one")
        speed = log_key(tracks[joined.speed_log].meta)
        made.append(ClockByHand(log_key(motor.meta), speed, said.offset_s, 0.0, said.u95_s, said.why))
    return tuple(made)


def who(args: Namespace) -> str:
    """Return the name given, or the user's name on this machine."""
    if args.by is not None:
        return str(args.by)
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a container's user need not have a name
        return ""


def _named(logs: Sequence[L], file: str, kind: str) -> L:
    """Find a log by its path or by its file name."""
    found = [log for log in logs if log.meta.file == file]
    found = found or [log for log in logs if PurePath(log.meta.file).name == PurePath(file).name]
    if len(found) != 1:
        names = ", ".join(PurePath(log.meta.file).name for log in logs)
        reason = (
            f"it is not one of these {kind} logs" if not found else f"{len(found)} {kind} logs have this name"
        )
        raise CallError(reason, file=file, hint=f"name one of {names}" if names else f"give a {kind} log")
    return found[0]
