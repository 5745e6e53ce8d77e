"""Parse the arguments of the command line into the library's types."""

from __future__ import annotations

import argparse
import math
import tomllib
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from telemetry.analysis import Request
from telemetry.cli.outcome import note
from telemetry.core.errors import CallError, LogError, path_fault
from telemetry.core.geo import parse_gates
from telemetry.core.sanitize import LABEL, LONG, cut, shortened
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS, parse_distance
from telemetry.motor.power import LIMIT_NAMES, Limits, PowerOptions
from telemetry.motor.what_if import PowerTrainChange
from telemetry.readers import LOG_SUFFIXES, is_shadow

Gates = tuple[tuple[float, float], tuple[float, float]]


def speed_unit(text: str) -> str:
    """Accept a key of the table of speed units."""
    if text not in SPEED_UNITS:
        raise argparse.ArgumentTypeError(f"'{text}' is not a speed unit; choose {', '.join(SPEED_UNITS)}")
    return text


def temperature_unit(text: str) -> str:
    """Accept a key of the table of temperature units, with its degree sign or without."""
    unit = text if text in TEMPERATURE_UNITS else f"°{text.upper()}"
    if unit not in TEMPERATURE_UNITS:
        raise argparse.ArgumentTypeError(f"'{text}' is not a temperature unit; choose C or F")
    return unit


def distance(text: str) -> float:
    """Read a measured distance [m]."""
    try:
        return parse_distance(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def gates(text: str) -> Gates:
    """Read two points in degrees."""
    try:
        return parse_gates(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def pole_pairs(text: str) -> int:
    """Read a count of pole pairs."""
    return _count(text, "pole pairs")


def cells(text: str) -> int:
    """Read a count of cells in series."""
    return _count(text, "cells")


def jobs(text: str) -> int:
    """Parse a number of parallel processes."""
    return _count(text, "jobs")


def _count(text: str, of_what: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 100:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a number of {of_what}; write a whole number from 1 to 100"
        )
    return int(text)


def gear(text: str) -> float:
    """Read a gear ratio."""
    return _number(text, 0.01, 100.0, "gear ratio; write motor turns per shaft turn")


def outing(text: str) -> int:
    """Parse a whole number from 1."""
    if not text.isdecimal() or not 1 <= int(text) < 2**31:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 1")
    return int(text)


def moment_argument(text: str) -> datetime:
    """Parse a day, or a day and time, as ISO 8601; without a zone it is UTC."""
    try:
        read = datetime.fromisoformat(text)
        return read.replace(tzinfo=UTC) if read.tzinfo is None else read.astimezone(UTC)
    except (ValueError, OverflowError):
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a time; write 2026-06-13 or 2026-06-13T09:30"
        ) from None


def magnitude(text: str) -> float:
    """Parse a speed from zero, in the unit of ``--unit``."""
    return _number(text, 0.0, 1000.0, "speed; write a plain number")


def bearing(text: str) -> float:
    """Read a direction [deg]."""
    return _number(text, 0.0, 360.0, "direction; write degrees clockwise from north")


def temperature(text: str) -> float:
    """Parse a temperature, in the unit of ``--temperature-unit``."""
    return _number(text, -80.0, 200.0, "temperature; write a plain number")


def boat_limit(text: str) -> tuple[str, float | None]:
    """Parse one of a boat's limits: ``motor_temp_c=85``, or ``none`` for its value."""
    name, given, value = text.partition("=")
    if not given or name not in LIMIT_NAMES:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a limit; write NAME=VALUE with one of {', '.join(LIMIT_NAMES)}"
        )
    return name, limit(value)


def window(text: str) -> float:
    """Read a time window in minutes [s]."""
    return 60.0 * _number(text, 0.1, 1440.0, "time window; write minutes, up to a day")


def mark(text: str) -> float:
    """Parse a mark to beat, in the unit of ``--unit``."""
    return _number(text, 0.1, 1000.0, "mark; write a speed as a plain number")


def positive(text: str) -> float:
    """Parse a positive figure of the boat, in the unit that its option names."""
    return _number(text, 1e-6, 1e6, "positive number")


def limit(text: str) -> float | None:
    """Parse one of the user's limits; ``none`` means no limit."""
    return None if text == "none" else _number(text, 1e-6, 1e6, "limit; write a positive number, or none")


def limits(args: argparse.Namespace) -> Limits:
    """Build the limits; those not given keep their default, those given are the user's own."""
    options = {name: f"limit_{name}" for name in LIMIT_NAMES}
    given = {name: getattr(args, option) for name, option in options.items() if hasattr(args, option)}
    return Limits(**given, own=tuple(given))


def judging(args: argparse.Namespace) -> Request:
    """Build the request for judging two-ways."""
    return Request(
        rule=args.rule,
        distance_m=args.distance,
        gates=args.gates,
        window_s=args.window,
        mark_mps=None if args.mark is None else SPEED_UNITS[args.unit].to_si(args.mark),
    )


def power_options(args: argparse.Namespace, limits: Limits) -> PowerOptions:
    """Build the options of propeller, motor and pack."""
    return PowerOptions(
        pitch_mm=args.pitch_mm,
        diameter_mm=args.diameter_mm,
        kv_rpm_per_v=args.kv,
        cells=args.cells,
        motor_resistance_ohm=args.motor_resistance_ohm,
        no_load_current_a=args.no_load_current_a,
        limits=limits,
    )


def change(args: argparse.Namespace) -> PowerTrainChange:
    """Build the change of the what-if.

    Raises
    ------
    CallError
        If nothing is changed.
    """
    wanted = PowerTrainChange(
        diameter_mm=args.new_diameter_mm,
        pitch_mm=args.new_pitch_mm,
        cells=args.new_cells,
        kv_rpm_per_v=args.new_kv,
        motor_resistance_ohm=args.new_motor_resistance_ohm,
        no_load_current_a=args.new_no_load_current_a,
    )
    if wanted == PowerTrainChange():
        raise CallError("no change given", hint="give one, such as --new-diameter-mm 47")
    return wanted


def _number(text: str, low: float, high: float, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"'{text}' is not a valid {what}")
    return value


def port(text: str) -> int:
    """Parse a TCP port; 0 lets the system choose."""
    if not text.isdecimal() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"'{text}' is not a port; write a number from 0 to 65535")
    return int(text)


def log_files(names: Iterable[str]) -> tuple[list[Path], list[LogError]]:
    """Replace folders by the logs in them, in order, each file once.

    Returns
    -------
    list of Path
        The files; whether they can be read is not checked here.
    list of LogError
        One for each folder without a log, and each path that does not exist.
    """
    files: dict[Path, Path] = {}
    errors = []
    for name in names:
        if not name:  # an unset variable of a shell; the path would be the current folder
            errors.append(LogError("an empty name", hint="name a log or a folder"))
            continue
        try:
            found = _logs_of(Path(name))
        except (OSError, RuntimeError, ValueError) as error:
            reason = f"it cannot be opened: {path_fault(error)}"
            errors.append(LogError(reason, file=name, hint="name the log itself, and check its permissions"))
            continue
        if not found:
            ending = " ".join(sorted(LOG_SUFFIXES))
            errors.append(
                LogError(
                    f"no file in this folder has one of the suffixes {ending}",
                    file=name,
                    hint="name the logs",
                )
            )
        for place, file in found:
            files.setdefault(place, file)
    return list(files.values()), errors


def _logs_of(path: Path) -> list[tuple[Path, Path]]:
    """List the logs of a path, each with its resolved path."""
    if not path.is_dir():
        return [(path.resolve(), path)]
    # Suffixes choose here what a person would have picked; the content still decides the format.
    logs = sorted(p for p in path.iterdir() if p.suffix.lower() in LOG_SUFFIXES and not p.is_dir())
    shadows = [log for log in logs if is_shadow(log.name)]
    if shadows:
        beside = ", ".join(cut([log.name for log in shadows], 1, LABEL))
        note(f"{shortened(str(path), LONG)}: skipped, not logs although their names end like one: {beside}")
        logs = [log for log in logs if log not in shadows]
    return [(log if _leads_nowhere(log) else log.resolve(), log) for log in logs]


def _leads_nowhere(log: Path) -> bool:
    return log.is_symlink() and not log.exists()


def headings(file: Path | None) -> dict[str, str]:
    """Read the user's heading map: TOML of ``"heading in the file" = "column"`` or ``"column:unit"``.

    Raises
    ------
    CallError
        If the file cannot be read, is not TOML, or maps a heading to something other than text.
    """
    if file is None:
        return {}
    try:
        table: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except tomllib.TOMLDecodeError as error:
        raise CallError(f"not valid TOML: {error}", file=str(file), hint="correct the line named") from None
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise CallError(f"cannot be read: {reason}", file=str(file), hint="check the path") from None
    for heading, column in table.items():
        if not isinstance(column, str):
            raise CallError(
                f"{column!r} is not a column",
                file=str(file),
                place=heading,
                hint='write "speed_mps:km/h" or the like',
            )
    return table
