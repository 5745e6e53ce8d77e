"""Two-way rules, kept as TOML data.

A rule says how two opposite passes become one figure and which conditions they must meet. Three ship with the
project; a user adds their own file. A rule file holds the keys of :class:`Rule`, nothing else.
"""

from __future__ import annotations

import tomllib
from dataclasses import MISSING, dataclass, fields
from importlib import resources
from pathlib import Path
from typing import Any, Literal, cast

from telemetry.core.errors import RuleError
from telemetry.core.units import SPEED_UNITS

SHIPPED = ("water", "land", "sixteenth-mile")


@dataclass(frozen=True, slots=True)
class Rule:
    """How a two-way is made and judged.

    Attributes
    ----------
    name, title : str
        Short name and a line for people.
    mean : {"of speeds", "of times"}
        Arithmetic mean of the two speeds, or the distance over the mean of the two times.
    source : str
        Where the rule's numbers come from.
    distance_m : float or None
        Measured distance [m]; None where the rule leaves it open.
    distance_tolerance_m : float
        How far given gates may be from ``distance_m`` [m].
    window_s : float or None
        Longest time from entering the distance on the first pass to leaving it on the second [s]; None where
        the user has to take it from their body's book.
    heading_tolerance_deg : float
        How far from opposite the two headings may be [deg].
    margin_percent : float
        By how much a mark must be beaten, when the user gives one [%].
    u95_limit_percent : float
        Largest 95 % uncertainty, in percent of the average, at which the program still gives a verdict.
    unit, decimals, rounding
        How the figure is printed: a key of :data:`telemetry.core.units.SPEED_UNITS`, the decimals, and
        ``"nearest"`` or ``"down"`` (cut, not rounded).
    notes : str
        Anything the user should know.
    """

    name: str
    title: str
    mean: Literal["of speeds", "of times"]
    source: str
    distance_m: float | None = None
    distance_tolerance_m: float = 0.05
    window_s: float | None = None
    heading_tolerance_deg: float = 10.0
    margin_percent: float = 0.0
    u95_limit_percent: float = 1.0
    unit: str = "mph"
    decimals: int = 3
    rounding: Literal["nearest", "down"] = "nearest"
    notes: str = ""


_TYPES: dict[str, tuple[type, ...]] = {
    **dict.fromkeys(("name", "title", "mean", "source", "unit", "rounding", "notes"), (str,)),
    **dict.fromkeys(
        (
            "distance_m",
            "distance_tolerance_m",
            "window_s",
            "heading_tolerance_deg",
            "margin_percent",
            "u95_limit_percent",
        ),
        (int, float),
    ),
    "decimals": (int,),
}
_CHOICES: dict[str, tuple[str, ...]] = {
    "mean": ("of speeds", "of times"),
    "rounding": ("nearest", "down"),
    "unit": tuple(SPEED_UNITS),
}
_POSITIVE = ("distance_m", "window_s", "heading_tolerance_deg", "u95_limit_percent")


def _check(table: dict[str, Any], file: str) -> None:
    known = {f.name: f for f in fields(Rule)}
    for key in table:
        if key not in known:
            raise RuleError(
                "no rule has such a key", file=file, place=key, hint=f"use only {', '.join(sorted(known))}"
            )
    for key, spec in known.items():
        if key not in table and spec.default is MISSING:
            raise RuleError("the rule lacks this key", file=file, place=key, hint=f"add a line `{key} = ...`")
    for key, value in table.items():
        if not isinstance(value, _TYPES[key]) or isinstance(value, bool):
            kind = "a text in quotes" if _TYPES[key] == (str,) else "a number"
            raise RuleError(f"{value!r} is not {kind}", file=file, place=key, hint=f"write {kind}")
        if key in _CHOICES and value not in _CHOICES[key]:
            choices = ", ".join(repr(c) for c in _CHOICES[key])
            raise RuleError(f"{value!r} is not one of {choices}", file=file, place=key, hint="choose one")
        if isinstance(value, (int, float)) and not (0 < value < 1e9 or (value == 0 and key not in _POSITIVE)):
            raise RuleError(
                f"{value!r} is out of range", file=file, place=key, hint="write a positive number"
            )
    if not table["name"].strip():
        raise RuleError("the name is empty", file=file, place="name", hint="give the rule a short name")
    if table.get("decimals", 0) > 6:
        raise RuleError("more than six decimals", file=file, place="decimals", hint="write 0 to 6")


def parse_rule(text: str, file: str) -> Rule:
    """Read a rule from TOML text.

    Raises
    ------
    RuleError
        Naming the file, the key or line, and the fix.
    """
    try:
        table = tomllib.loads(text)
    except ValueError as error:  # also a number of more digits than Python takes
        raise RuleError(f"not valid TOML: {error}", file=file, hint="correct the line named") from None
    except RecursionError:
        raise RuleError("brackets within brackets without end", file=file, hint="check the file") from None
    _check(table, file)
    return Rule(**table)


def shipped_text(name: str) -> str:
    """Return the TOML of a shipped rule, to read or to start one's own from."""
    return resources.files("telemetry.twoway.rules").joinpath(f"{name}.toml").read_text(encoding="utf-8")


def shipped() -> tuple[Rule, ...]:
    """Return the rules that ship with the project."""
    return tuple(parse_rule(shipped_text(name), f"{name}.toml") for name in SHIPPED)


def load_rule(name_or_path: str | Path | Rule) -> Rule:
    """Find a rule by its shipped name or read it from the user's file.

    Raises
    ------
    RuleError
        If there is no such rule or file, or the file is wrong.
    """
    if isinstance(name_or_path, Rule):
        return name_or_path
    text = str(name_or_path)
    if text in SHIPPED:
        return parse_rule(shipped_text(text), f"{text}.toml")
    path = Path(text)
    try:
        if path.suffix.lower() != ".toml" and not path.is_file():
            hint = f"choose {', '.join(SHIPPED)}, or give the path of a TOML file"
            raise RuleError(f"there is no rule {text!r}", hint=hint)
        return parse_rule(path.read_text(encoding="utf-8-sig"), text)
    except (OSError, UnicodeDecodeError) as error:
        reason = cast(str, getattr(error, "strerror", None) or "it is not UTF-8 text")
        raise RuleError(f"cannot be read: {reason}", file=text, hint="check the path") from None
