"""Convert the page's controls to a request, and an analysis to the headline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from dashboard.session.sessions import Session
from dashboard.ui.fields import FACTS, LIMITS, Chosen, Value, limits_of, read_all
from telemetry.analysis import USUAL_DISTANCES_M, Analysis, Request
from telemetry.core.errors import CallError
from telemetry.core.geo import parse_gates
from telemetry.core.units import distance_text, parse_distance
from telemetry.motor.power import Limits, PowerOptions
from telemetry.passes.find import Pass
from telemetry.twoway.mean import TwoWay, TwoWayVerdict
from telemetry.twoway.rules import Rule, load_rule, shipped

RULES_OWN: Final = "rule"
USERS_OWN: Final = "own"
DISTANCES: Final = (
    (RULES_OWN, "From the rule; else 330 ft"),
    *((f"{metres}", distance_text(metres)) for metres in USUAL_DISTANCES_M),
    (USERS_OWN, "My own distance"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestForm:
    """Values of the controls.

    Attributes
    ----------
    rule : str
        Name of a shipped rule or of one of the session's own.
    distance : str
        ``"rule"``, ``"own"`` or metres as text.
    own_distance : str
        Distance as the user wrote it.
    gates : str
        ``LAT1,LON1,LAT2,LON2``, or empty for gates placed automatically.
    window_min : float or None
        Time window of the user's rule book, instead of the rule's [min].
    pitch_mm, diameter_mm, kv_rpm_per_v, cells, motor_resistance_mohm, no_load_current_a
        Of propeller, motor and pack; None if not given.
    limits : mapping of str to float
        The user's own limits, by the names of :class:`telemetry.motor.power.Limits`.
    """

    rule: str = "water"
    distance: str = RULES_OWN
    own_distance: str = ""
    gates: str = ""
    window_min: float | None = None
    pitch_mm: float | None = None
    diameter_mm: float | None = None
    kv_rpm_per_v: float | None = None
    cells: int | None = None
    motor_resistance_mohm: float | None = None
    no_load_current_a: float | None = None
    limits: Mapping[str, float] = field(default_factory=dict)


def rules_of(session: Session) -> tuple[Rule, ...]:
    """Return the shipped rules, then the session's own."""
    return (*shipped(), *session.rules.values())


def request_of(session: Session, asked: RequestForm) -> Request:
    """Convert the controls to a request, with the corrections by hand.

    Raises
    ------
    CallError
        With ``place`` naming the control that cannot be used: ``"distance"`` or ``"gates"``.
    """
    rule: Rule | str = session.rules.get(asked.rule) or asked.rule
    try:
        gates = parse_gates(asked.gates) if asked.gates.strip() else None
    except ValueError as error:
        raise CallError(str(error), place="gates") from None
    distance_m = None
    if gates is None and asked.distance != RULES_OWN:
        text = asked.own_distance if asked.distance == USERS_OWN else asked.distance
        try:
            distance_m = parse_distance(text) if text.strip() else None
        except ValueError as error:
            raise CallError(str(error), place="distance") from None
    window_s = asked.window_min * 60.0 if asked.window_min else None
    resistance_mohm = asked.motor_resistance_mohm
    power = PowerOptions(
        pitch_mm=asked.pitch_mm,
        diameter_mm=asked.diameter_mm,
        kv_rpm_per_v=asked.kv_rpm_per_v,
        cells=asked.cells,
        motor_resistance_ohm=None if resistance_mohm is None else resistance_mohm / 1000.0,
        no_load_current_a=asked.no_load_current_a,
        limits=limits_of(asked.limits),
    )
    return Request(
        rule=rule,
        distance_m=distance_m,
        gates=gates,
        window_s=window_s,
        power=power,
        by_hand=session.by_hand,
    )


def asked_of(
    judged: Mapping[str, str | None],
    window_min: Value,
    facts: Mapping[str, Value],
    limits: Mapping[str, Value],
    units: Chosen,
) -> RequestForm:
    """Parse the controls.

    Parameters
    ----------
    judged : mapping of str to str or None
        ``rule``, ``distance``, ``own-distance`` and ``gates``.
    window_min : number, str or None
    facts : mapping of str to number, str or None
        By the names of :class:`RequestForm`, in the units chosen.
    limits : mapping of str to number, str or None
        By the names of :class:`telemetry.motor.power.Limits`, in the units chosen.
    units : Chosen
    """
    figures: dict[str, Any] = {
        name: value or None for name, value in read_all(FACTS, facts, units).items() if name != "cells"
    }
    return RequestForm(
        rule=judged["rule"] or "water",
        distance=judged["distance"] or RULES_OWN,
        own_distance=judged["own-distance"] or "",
        gates=judged["gates"] or "",
        window_min=figure_in(window_min),
        cells=count_in(facts["cells"]),
        limits={name: value for name, value in read_all(LIMITS, limits, units).items() if value},
        **figures,
    )


def figure_in(said: Value) -> float | None:
    """Parse a number field; an empty field or a zero is None."""
    return float(said) if said else None


def count_in(said: Value) -> int | None:
    """Parse a count from a number field."""
    return int(said) if said else None


def begun_with(session: Session, request: Request) -> dict[str, object]:
    """Convert a request to the controls' values: the reverse of :func:`request_of`.

    A rule of the user's own is added to the session.
    """
    rule = request.rule
    if isinstance(rule, Rule):
        session.add_rule(rule)
        rule = rule.name
    distance, own = RULES_OWN, ""
    if request.distance_m is not None:
        usual = next((value for value, _ in DISTANCES if value == f"{request.distance_m}"), None)
        distance = usual or USERS_OWN
        own = "" if usual else f"{request.distance_m:.6f}".rstrip("0").rstrip(".") + " m"
    power, common = request.power, Limits()
    ohm = power.motor_resistance_ohm
    limits = {
        name: getattr(power.limits, name)
        for name in LIMITS
        if name in power.limits.own or getattr(power.limits, name) != getattr(common, name)
    }
    return {
        "rule": rule,
        "distance": distance,
        "own_distance": own,
        "gates": gates_text(request.gates) if request.gates else "",
        "window_min": None if request.window_s is None else request.window_s / 60.0,
        "pitch_mm": power.pitch_mm,
        "diameter_mm": power.diameter_mm,
        "kv_rpm_per_v": power.kv_rpm_per_v,
        "cells": power.cells,
        "motor_resistance_mohm": None if ohm is None else 1000.0 * ohm,
        "no_load_current_a": power.no_load_current_a,
        "limits": {name: value for name, value in limits.items() if value is not None},
    }


def marks_of(analysis: Analysis | None) -> tuple[str, str]:
    """Identify the passes and their measured figures: one id stands for one state of the passes.

    The ids hold as long as the server runs.
    """
    if analysis is None:
        return "", ""
    logs = tuple(log.read.meta.sha256 for log in analysis.speed_logs), analysis.request.by_hand
    driven = tuple(replace(one, distances=()) for one in analysis.passes)
    return f"{hash((logs, driven)):x}", f"{hash((logs, analysis.passes)):x}"


def answered(session: Session, asked: Mapping[str, Any] | None) -> Analysis | None:
    """Return the answer to a request; None without a request or an analysis."""
    return session.answer(request_of(session, RequestForm(**asked))) if asked else None


def gates_text(gates: tuple[tuple[float, float], tuple[float, float]]) -> str:
    """Format two gates as :func:`telemetry.core.geo.parse_gates` reads them, to a centimetre [deg].

    Examples
    --------
    >>> gates_text(((47.4, 8.2), (47.4, 8.2013)))
    '47.4000000,8.2000000,47.4000000,8.2013000'
    """
    return ",".join(f"{angle:.7f}" for place in gates for angle in place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The answer to "how fast did it really go, and does it count?".

    Attributes
    ----------
    verdict : TwoWayVerdict
        Of the best two-way; ``cannot tell`` without one.
    two_way : TwoWay or None
        The best by the rule, or the fastest where none counts.
    best_pass : Pass or None
        The pass with the highest peak, for logs without a two-way.
    ways : tuple of Pass
        The two passes of the two-way in order of time.
    rule : Rule
        The rule of the verdict.
    sentence : str
        What the figure is.
    reasons : tuple of str
        What prevents ``counts``, or why there is no figure.
    """

    verdict: TwoWayVerdict
    two_way: TwoWay | None
    best_pass: Pass | None
    ways: tuple[Pass, ...]
    rule: Rule
    sentence: str
    reasons: tuple[str, ...]


def headline_of(analysis: Analysis) -> Headline:
    """Choose the answer from an analysis."""
    rule = load_rule(analysis.request.rule)
    best_pass = max(analysis.passes, key=lambda p: p.peak_mps, default=None)
    best = analysis.leading_two_way
    if best is None:
        reasons = analysis.notes or ("no two opposite passes share a measured distance",)
        return Headline(
            verdict="cannot tell",
            two_way=None,
            best_pass=best_pass,
            ways=(),
            rule=rule,
            sentence="No two-way to judge.",
            reasons=reasons,
        )
    by_id = {p.id: p for p in analysis.passes}
    ways = tuple(by_id[name] for name in best.passes)
    kind = "mean of the two speeds" if best.mean == "of speeds" else "distance over the mean of the two times"
    reasons = tuple(f"{c.name}: {c.result}. {c.detail}" for c in best.checks if c.result != "met")
    sentence = f"{kind[0].upper()}{kind[1:]} over {distance_text(best.distance_m)}, both ways."
    return Headline(
        verdict=best.verdict,
        two_way=best,
        best_pass=best_pass,
        ways=ways,
        rule=rule,
        sentence=sentence,
        reasons=reasons,
    )
