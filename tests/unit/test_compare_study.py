"""The study of intervals on a handful of pairs, with bounds that a handful can hold."""

from __future__ import annotations

import pytest
from compare_study import DESIGNS, Design, study, table


@pytest.mark.parametrize("design", DESIGNS[::3], ids=lambda d: d.name)
def test_intervals_hold_and_nulls_stay_uncalled(design: Design) -> None:
    found = study(design, 100, 3, effects_mps=(0.0, 0.4))
    assert found.covered >= 0.88  # 3.3 standard errors below 95 % of 100
    assert found.called <= 0.14
    assert found.none == 0
    assert design.name in table([found])


def test_a_pack_running_down_is_told_by_order_where_no_voltage_is_known() -> None:
    """Long outings after short ones: by plain means the side after would be 0.6 m/s slower (computed)."""
    design = Design("long after short", (2, 2, 2), (6, 6, 6), outing_sd=0.05, two_way_sd=0.05, drift=0.3)
    assert study(design, 60, 3).covered >= 0.86
