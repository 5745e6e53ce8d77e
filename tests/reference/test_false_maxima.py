"""Recorded logs whose largest number is false: no result may carry it.

The false values are those that INDEX.md beside the recorded logs names.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.analysis import Analysis, read_and_analyse


def speeds_mps(analysis: Analysis) -> list[float]:
    found = [p.peak_mps for p in analysis.passes] + [p.held_1s_mps for p in analysis.passes]
    found += [d.speed_mps for p in analysis.passes for d in p.distances]
    return found + [v for w in analysis.two_ways for v in w.speeds_mps]


@pytest.mark.parametrize(
    ("file", "false_mps", "honest_mps"),
    [
        ("fit/damaged_tail_false_last_record.fit", 38.9, 10.0),
        ("nmea/at_rest_20_minutes.nmea", 1.73, 1.0),
        ("nmea/ten_hz_talker_changes.nmea", 14.0, 5.0),
    ],
)
def test_the_false_maximum_is_reported_nowhere(
    real_logs: Path, file: str, false_mps: float, honest_mps: float
) -> None:
    analysis = read_and_analyse([real_logs / file])
    assert not analysis.errors
    assert max(speeds_mps(analysis), default=0.0) < honest_mps < false_mps or not analysis.passes


@pytest.mark.parametrize(
    ("file", "true_mps"),
    [("fit/ride_1hz_clean.fit", 16.1), ("nmea/car_half_hz_midnight.nmea", 30.1)],
)
def test_a_true_maximum_is_kept(real_logs: Path, file: str, true_mps: float) -> None:
    # Both logs are named clean in their speed; the peak is an estimate, so within its interval and a little.
    analysis = read_and_analyse([real_logs / file])
    best = max(analysis.passes, key=lambda p: p.peak_mps)
    assert abs(best.peak_mps - true_mps) <= best.peak_u95_mps + 0.05
