"""The headline of a statement, and its words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Final

from telemetry.core.sanitize import LABEL, LONG, cut, shortened
from telemetry.core.units import distance_text, speed_text

if TYPE_CHECKING:
    from telemetry.statement.facts import Statement

TITLE: Final = "Two-way statement"
_MAX_REASONS, _MAX_NOTES = 3, 4


@dataclass(frozen=True, slots=True)
class Headline:
    """The largest words of a statement.

    Attributes
    ----------
    figure, uncertainty, unit, si : str
        The average in the user's unit and in SI; empty without a two-way.
    verdict, plain : str
        The verdict, and its meaning in a sentence.
    reasons : tuple of str
        What prevents ``counts``.
    about : tuple of str
        What the figure is and how the rule rounds it.
    """

    figure: str
    uncertainty: str
    unit: str
    si: str
    verdict: str
    plain: str
    reasons: tuple[str, ...]
    about: tuple[str, ...]


def headline(s: Statement) -> Headline:
    """Build figure and verdict."""
    chosen, rule = s.two_way, shortened(s.rule.name, LABEL)
    if chosen is None:
        plain = "There is no two-way: the logs do not hold one."
        return Headline("", "", "", "", s.verdict, plain, cut(s.notes, _MAX_NOTES, LONG), ())
    figure, _, uncertainty = number_text(chosen.average_mps, s.unit, chosen.u95_mps).partition(" ± ")
    open_checks = [c for c in chosen.checks if c.result != "met"]
    failed = sum(c.result == "not met" for c in open_checks)
    plain = {
        "counts": f"It counts by the rule “{rule}”: the logs show that every check is met.",
        "does not count": f"It does not count by the rule “{rule}”: "
        f"{failed} of {len(chosen.checks)} checks {'is' if failed == 1 else 'are'} not met.",
        "cannot tell": f"The logs cannot tell whether it counts by the rule “{rule}”: "
        f"no check fails, but {len(open_checks)} of {len(chosen.checks)} cannot be answered.",
    }[chosen.verdict]
    kind = (
        "Mean of the two speeds" if chosen.mean == "of speeds" else "Distance over the mean of the two times"
    )
    ways = f"{distance_text(chosen.distance_m)}, {' and '.join(chosen.passes)}, both ways"
    place = f", {'the best of' if chosen.best else 'one of'} {s.judged} in these logs" if s.judged > 1 else ""
    independent, shared = (speed_text(u, "m/s") for u in (chosen.u_independent_mps, chosen.u_shared_mps))
    return Headline(
        figure=figure,
        uncertainty=uncertainty,
        unit=s.unit,
        si=speed_text(chosen.average_mps, "m/s", chosen.u95_mps),
        verdict=chosen.verdict,
        plain=plain,
        reasons=cut((f"{c.name}: {c.result}. {c.detail}" for c in open_checks), _MAX_REASONS, LONG),
        about=(
            f"{kind} over {ways} ({chosen.id}{place}). Rounded by the rule: {chosen.official_text}.",
            f"± is half of the 95 % interval. Standard uncertainty: {independent} is independent for each "
            f"pass, {shared} is shared by both.",
        ),
    )


def number_text(speed_mps: float, unit: str, u95_mps: float) -> str:
    """Format a speed with its uncertainty and without its unit."""
    return speed_text(speed_mps, unit, u95_mps).removesuffix(f" {unit}")


def closing(s: Statement) -> str:
    """Format which version made it and when."""
    made = f", made {s.made_utc.astimezone(UTC):%Y-%m-%d %H:%M} UTC" if s.made_utc else ""
    return f"Reciprocal {s.version}{made}"


def day(s: Statement) -> str:
    """Return the day of the first pass, or "day not in the log"."""
    first = s.ways[0].entered_utc if s.ways else next((log.start_utc for log in s.logs), None)
    return f"{first:%Y-%m-%d}" if first is not None else "day not in the log"
