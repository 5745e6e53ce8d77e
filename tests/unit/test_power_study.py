"""A short form of the benchmark over simulated outings.

Bounds are binomial: with the promised rate the test fails by bad luck less than once in a thousand.
"""

from __future__ import annotations

import numpy as np
import pytest
from power_study import Joins, Powers, covered, study_columns, study_joins, study_power, study_what_if
from scipy.stats import binom

SEEDS = range(9000, 9012)


def luck(n: int, rate: float) -> int:
    """Most failures that a rate lets happen, but for one case in a thousand."""
    return int(binom.ppf(0.999, n, rate))


@pytest.fixture(scope="module")
def joins() -> Joins:
    return study_joins("10 Hz", SEEDS)


@pytest.fixture(scope="module")
def powers() -> Powers:
    return study_power(SEEDS)


def test_true_pairs_are_joined_within_a_tenth_of_a_second(joins: Joins) -> None:
    assert joins.refused <= luck(joins.tried, 0.02)
    assert joins.wrong_place == 0
    assert np.sum(np.array(joins.error_s) > 0.1) <= luck(joins.joined, 0.05)
    assert joins.joined - joins.covered <= luck(joins.joined, 0.08)


def test_other_outings_are_refused(joins: Joins) -> None:
    assert joins.foreign == len(SEEDS)
    assert joins.foreign_joined <= luck(joins.foreign, 0.02)


def test_without_rpm_and_in_part() -> None:
    told = study_columns(SEEDS)
    for name, column in told.items():
        assert np.sum(np.array(column.error_s) > 0.1) <= luck(max(column.joined, 1), 0.10), name
    # Two passes out of four like ones may fit elsewhere too: then it is said, not guessed.
    part = told["10 Hz, two of four passes"]
    assert part.wrong_place <= luck(part.joined, 0.02)
    assert part.joined >= len(SEEDS) // 2


def test_resistance_and_slip_keep_their_promises(powers: Powers) -> None:
    assert len(powers.resistance) == len(SEEDS)
    assert np.abs(np.array(powers.resistance)[:, 0]).max() <= 0.10
    assert np.abs(np.array(powers.slip)[:, 0]).max() <= 0.01
    for pairs in (powers.resistance, powers.rest_voltage):
        assert len(pairs) - covered(pairs) <= luck(len(pairs), 0.08)
    # The passes of one outing share their receiver: count outings, not passes.
    assert len(powers.slip) - covered(powers.slip) <= 4 * luck(len(SEEDS), 0.08)


def test_a_propeller_a_tenth_larger_is_foretold() -> None:
    told = study_what_if(range(9000, 9003), ("propeller 10 % larger", "one cell less"))
    rows = np.array(told.errors["propeller 10 % larger"])
    assert np.abs(rows[:, 0]).max() <= 0.03
    assert np.abs(rows[:, 2]).max() <= 0.08
    for table in (rows, np.array(told.errors["one cell less"])):
        assert (np.abs(table[:, ::2]) <= table[:, 1::2]).all()


def test_a_motor_not_given_is_guessed_and_said() -> None:
    told = study_what_if(range(9000, 9003), ("propeller 10 % larger",), motor_known=False)
    rows = np.array(told.errors["propeller 10 % larger"])
    assert (np.abs(rows[:, ::2]) <= rows[:, 1::2]).all()
