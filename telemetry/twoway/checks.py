"""Judging pairs of passes by a rule: every condition with its evidence, then a plain verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.cleaning.corrections import BY_HAND
from telemetry.core.frames import Finding, FloatArray, group_by_code
from telemetry.core.geo import CourseLine, wrap_deg
from telemetry.core.stats import Z95
from telemetry.core.units import distance_text
from telemetry.kinematics.models import ReceiverModel
from telemetry.passes.find import Pass
from telemetry.passes.measure import PassSpeeds
from telemetry.twoway.mean import (
    Check,
    CheckResult,
    Gate,
    TwoWay,
    TwoWayVerdict,
    average_of,
    gate_speed_u_mps,
    printed_figure,
    sensitivities,
)
from telemetry.twoway.pairing import Pair, shared_place_s2
from telemetry.twoway.rules import Rule

_BRACKET_S = 0.6  # a crossing needs a usable sample this near on both sides, or within 1.6 usual steps
_BRIDGE_SHARE = 0.5  # of the time between the gates: longest silence that is bridged
_BESIDE_M = 60.0


@dataclass(frozen=True, slots=True)
class JudgementOptions:
    """A rule together with what the user adds to it for this judgement.

    Attributes
    ----------
    rule : Rule
    gates_given : bool
    mark_mps : float or None
        A mark to beat [m/s].
    receiver : ReceiverModel
    """

    rule: Rule
    gates_given: bool
    mark_mps: float | None
    receiver: ReceiverModel


def _opposite(p: Pass, q: Pass, rule: Rule) -> Check:
    off_deg = 180.0 - abs(float(wrap_deg(p.heading_deg - q.heading_deg)))
    met = off_deg <= rule.heading_tolerance_deg
    return Check(
        "opposite directions",
        "met" if met else "not met",
        f"headings {p.heading_deg:.1f}° and {q.heading_deg:.1f}°, {off_deg:.1f}° from opposite; "
        f"the rule allows {rule.heading_tolerance_deg:g}°",
    )


class _Beside:
    """How far beside a course line passes run, each reckoned once for all of its pairs."""

    def __init__(self, measured: Sequence[PassSpeeds]) -> None:
        self._measured = measured
        self._across_m: dict[tuple[CourseLine, int], FloatArray] = {}

    def at_gates_m(self, line: CourseLine, index: int, span: tuple[float, float]) -> float:
        """Give the farther of a pass's two crossings [m]."""
        data = self._measured[index].data
        across_m = self._across_m.get((line, index))
        if across_m is None:
            _, across_m = line.along_across(data.east_m, data.north_m)
            self._across_m[line, index] = across_m
        return float(np.max(np.abs(np.interp(span, data.t_s[data.position_node], across_m))))


def _same_gates(worst: float, given: bool) -> Check:
    who = "given by the user" if given else "placed by the program along the fitted course line"
    return Check(
        "same two gates",
        "met" if worst <= _BESIDE_M else "not met",
        f"both passes cross both gates ({who}), at most {worst:.1f} m beside the course line; "
        f"{_BESIDE_M:g} m are allowed",
    )


def _distance(pair: Pair, rule: Rule) -> Check:
    if rule.distance_m is None:
        return Check(
            "measured distance", "met", f"{distance_text(pair.distance_m)}; the rule leaves the distance open"
        )
    off_m = abs(pair.distance_m - rule.distance_m)
    return Check(
        "measured distance",
        "met" if off_m <= rule.distance_tolerance_m else "not met",
        f"{pair.distance_m:.3f} m between the gates; the rule asks for {distance_text(rule.distance_m)} "
        f"within {rule.distance_tolerance_m:g} m",
    )


def _window(elapsed_s: float, rule: Rule) -> Check:
    spent = f"{elapsed_s:.1f} s from entering on the first pass to leaving on the second"
    if rule.window_s is None:
        return Check(
            "time window",
            "cannot tell",
            f"{spent}; the rule leaves the window to your body's book: give it with the request",
        )
    result: CheckResult = "met" if elapsed_s <= rule.window_s else "not met"
    return Check("time window", result, f"{spent}; the rule allows {rule.window_s:g} s")


@dataclass(frozen=True)
class _LogFacts:
    """What every judgement on one log asks of it."""

    usable_s: FloatArray
    step_s: float
    findings: tuple[Finding, ...]

    @classmethod
    def of(cls, cleaned: Cleaned) -> _LogFacts:
        t_s = cleaned.track.t_s
        usable = t_s[cleaned.speed_ok | cleaned.position_ok]
        return cls(usable, cleaned.track.usual_step_s, cleaned.findings)


def _whole(log: _LogFacts, name: str, span: tuple[float, float]) -> tuple[CheckResult, str]:
    """Judge whether the log carries one pass between the gates."""
    usable = log.usable_s
    near_s = max(_BRACKET_S, 1.6 * log.step_s)
    first, last = (int(k) for k in np.searchsorted(usable, span))
    for crossing_s, k, what in ((span[0], first, "entering"), (span[1], last, "leaving")):
        before_s = crossing_s - usable[k - 1] if k > 0 else np.inf
        after_s = usable[k] - crossing_s if k < usable.size else np.inf
        if max(before_s, after_s) > near_s:
            return "cannot tell", f"{name}: no usable sample within {near_s:.1f} s of {what} the distance"
    silence_s = float(np.diff([span[0], *usable[first:last], span[1]]).max())
    touching = [f for f in log.findings if f.touches(*span)]
    if any(f.code in ("position-break", "break") for f in touching):
        return "cannot tell", f"{name}: the log breaks inside the distance"
    if silence_s > max(_BRIDGE_SHARE * (span[1] - span[0]), 1.6 * log.step_s):
        return "cannot tell", f"{name}: {silence_s:.1f} s of {span[1] - span[0]:.1f} s have no usable sample"
    said = _told(touching)
    return "met", f"{name}: {last - first} usable samples inside" + (f", {said}" if said else "")


def _by_hand(
    logs: Sequence[_LogFacts], names: Sequence[str], spans: Sequence[tuple[float, float]]
) -> Check | None:
    """Say what a person corrected between the gates; None where nobody corrected anything in these logs.

    What stands there by hand is a person's word, which no log bears out: whoever decides has to look at it.
    """
    if not any(f.code in BY_HAND for log in logs for f in log.findings):
        return None
    result: CheckResult = "met"
    told = []
    for log, name, span in zip(logs, names, spans, strict=True):
        near_s = max(_BRACKET_S, 1.6 * log.step_s)
        done = [f for f in log.findings if f.code in BY_HAND and f.count]
        inside = [f for f in done if f.touches(span[0] - near_s, span[1] + near_s)]
        if inside:
            result = "cannot tell"
        elsewhere = len(done) - len(inside)
        told += [f"{name}: {f.count} samples {f.message}" for f in inside]
        told += (
            []
            if inside
            else [f"{name}: nothing between the gates, {elsewhere or 'nothing'} elsewhere in its log"]
        )
    return Check("nothing corrected by hand", result, "; ".join(told))


def _told(findings: Sequence[Finding]) -> str:
    return ", ".join(f"{sum(f.count for f in kind)} {code}" for code, kind in group_by_code(findings).items())


def _log_whole(parts: Sequence[tuple[CheckResult, str]]) -> Check:
    worst: CheckResult = "cannot tell" if any(r == "cannot tell" for r, _ in parts) else "met"
    return Check("log whole between the gates", worst, "; ".join(text for _, text in parts))


def _sure_enough(average_mps: float, u95_mps: float, rule: Rule) -> Check:
    percent = 100.0 * u95_mps / average_mps
    return Check(
        "uncertainty",
        "met" if percent <= rule.u95_limit_percent else "cannot tell",
        f"± {u95_mps:.3f} m/s is {percent:.2f} % of the average; "
        f"a verdict is given up to {rule.u95_limit_percent:g} % (our own limit)",
    )


def _margin(average_mps: float, u95_mps: float, mark_mps: float, rule: Rule) -> Check:
    needed_mps = mark_mps * (1.0 + rule.margin_percent / 100.0)
    text = (
        f"{needed_mps:.3f} m/s are needed to beat {mark_mps:.3f} m/s by {rule.margin_percent:g} %; "
        f"measured {average_mps:.3f} ± {u95_mps:.3f} m/s"
    )
    if average_mps - u95_mps >= needed_mps:
        return Check("margin over the mark", "met", text)
    if average_mps + u95_mps < needed_mps:
        return Check("margin over the mark", "not met", text)
    return Check("margin over the mark", "cannot tell", text)


def verdict_of(checks: Sequence[Check]) -> TwoWayVerdict:
    """Sum up checks: one not met decides, then one that cannot be told."""
    results = {c.result for c in checks}
    if "not met" in results:
        return "does not count"
    return "cannot tell" if "cannot tell" in results else "counts"


def _elapsed_s(p: Pass, q: Pass, pair: Pair) -> float:
    """Time from entering on the first pass to leaving on the second, across logs by their UTC [s]."""
    (enter_s, _), (_, leave_s) = pair.spans_s
    if p.log == q.log or p.start_utc is None or q.start_utc is None:
        return leave_s - enter_s
    between = (q.start_utc - p.start_utc).total_seconds()
    return float(between + (leave_s - q.start_s) - (enter_s - p.start_s))


def judge_all(
    pairs: Sequence[Pair],
    passes: Sequence[Pass],
    measured: Sequence[PassSpeeds],
    logs: Sequence[Cleaned],
    terms: JudgementOptions,
) -> tuple[TwoWay, ...]:
    """Judge pairs and rank them.

    Parameters
    ----------
    pairs : sequence of Pair
    passes, measured : sequence of Pass, of PassSpeeds
        All of the analysis, in the same order.
    logs : sequence of Cleaned
        The speed logs, as ``Pass.log`` counts them.
    terms : JudgementOptions

    Returns
    -------
    tuple of TwoWay
        Those that count first; the best is marked.
    """
    facts, beside = [_LogFacts.of(log) for log in logs], _Beside(measured)
    return _ranked(
        [
            _judge(pair, gates, passes, beside, facts, terms)
            for pair, gates in zip(pairs, _gates(pairs), strict=True)
        ]
    )


def _judge(
    pair: Pair,
    gates: tuple[Gate, Gate],
    passes: Sequence[Pass],
    beside: _Beside,
    facts: Sequence[_LogFacts],
    terms: JudgementOptions,
) -> TwoWay:
    """Judge one pair.

    With ``v = D / t`` each way's own standard uncertainty is ``D / t² u(t)``; the two average out by the
    sensitivities of the rule's mean. What both passes share, the receiver's scale, does not; nor are the two
    independent where the place of a gate errs for both (JCGM 100:2008, 5.1.2 and 5.2.2).
    """
    rule = terms.rule
    p, q = passes[pair.a.index], passes[pair.b.index]
    taken = tuple(leave - enter for enter, leave in pair.spans_s)
    v1, v2 = (pair.distance_m / t for t in taken)
    own1, own2 = (gate_speed_u_mps(pair.distance_m, t, sd) for t, sd in zip(taken, pair.sd_s, strict=True))
    c1, c2 = sensitivities(rule.mean, v1, v2)
    scale = terms.receiver.shared_scale
    # Gates that the receiver sees too far along the course are entered late and left late. Of two passes that
    # gain speed between them one becomes too fast by it, the other too slow: most of it cancels.
    of_place = 2.0 * c1 * c2 * (v1 / taken[0]) * (v2 / taken[1]) * shared_place_s2(pair, terms.receiver)
    independent = math.sqrt(max((c1 * own1) ** 2 + (c2 * own2) ** 2 + of_place, 0.0))
    shared = (c1 * v1 + c2 * v2) * scale
    u95_1, u95_2 = (Z95 * math.hypot(own, scale * v) for own, v in ((own1, v1), (own2, v2)))
    average = average_of(rule.mean, v1, v2)
    u95 = Z95 * math.hypot(independent, shared)
    beside_m = max(
        beside.at_gates_m(pair.course.line, c.index, span)
        for c, span in zip((pair.a, pair.b), pair.spans_s, strict=True)
    )
    checks = [
        _opposite(p, q, rule),
        _same_gates(beside_m, terms.gates_given),
        _distance(pair, rule),
        _window(_elapsed_s(p, q, pair), rule),
        _log_whole([_whole(facts[w.log], w.id, span) for w, span in zip((p, q), pair.spans_s, strict=True)]),
        _sure_enough(average, u95, rule),
    ]
    corrected = _by_hand([facts[w.log] for w in (p, q)], (p.id, q.id), pair.spans_s)
    if corrected is not None:
        checks.append(corrected)
    if terms.mark_mps is not None:
        checks.append(_margin(average, u95, terms.mark_mps, rule))
    return TwoWay(
        id="",
        passes=(p.id, q.id),
        rule=rule.name,
        mean=rule.mean,
        distance_m=pair.distance_m,
        speeds_mps=(v1, v2),
        speed_u95_mps=(u95_1, u95_2),
        times_s=(taken[0], taken[1]),
        crossings_s=pair.spans_s,
        average_mps=average,
        u95_mps=u95,
        u_independent_mps=independent,
        u_shared_mps=shared,
        verdict=verdict_of(checks),
        checks=tuple(checks),
        gates=gates,
        gates_given=terms.gates_given,
        course=pair.course.line,
        best=False,
        official_text=printed_figure(average, rule),
    )


def _gates(pairs: Sequence[Pair]) -> list[tuple[Gate, Gate]]:
    """Find where on the globe the gates of each pair stand; one conversion for each frame of metres."""
    points = [tuple(p.course.line.point(m) for m in p.gates_m) for p in pairs]
    out: list[tuple[Gate, Gate] | None] = [None] * len(pairs)
    for frame in {p.course.frame for p in pairs}:
        mine = [k for k, p in enumerate(pairs) if p.course.frame == frame]
        metres = np.array([points[k] for k in mine])
        lat, lon = frame.to_geodetic(metres[:, :, 0], metres[:, :, 1])
        for row, k in enumerate(mine):
            first, second = (Gate(float(lat[row, i]), float(lon[row, i]), *points[k][i]) for i in (0, 1))
            out[k] = first, second
    return [g for g in out if g is not None]


def _ranked(two_ways: Sequence[TwoWay]) -> tuple[TwoWay, ...]:
    """Order two-ways, those that count first; mark the best.

    Among equals the one with the highest speed that is sure, the lower end of its interval, comes first: a
    doubtful figure does not win by its doubt.
    """
    order = {"counts": 0, "cannot tell": 1, "does not count": 2}
    ranked = sorted(two_ways, key=lambda w: (order[w.verdict], w.u95_mps - w.average_mps))
    return tuple(
        replace(w, id=f"T{k + 1}", best=k == 0 and w.verdict != "does not count")
        for k, w in enumerate(ranked)
    )
