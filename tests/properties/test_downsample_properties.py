"""What the resampler holds for any curve and window: no point made, no extreme lost, all samples close up."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from dashboard.ui.downsample import resample

Curve = tuple[np.ndarray, np.ndarray]


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    """A curve over an abscissa that rises or falls, with breaks."""
    n = draw(st.integers(1, 5000))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    x = np.cumsum(rng.uniform(0.0, 1.0, n)) * draw(st.sampled_from([1.0, -1.0]))
    values = rng.normal(0.0, 1.0, n)
    values[rng.uniform(size=n) < draw(st.sampled_from([0.0, 0.01]))] = np.nan
    return x, values


LIMITS = st.integers(20, 1500)
SHARES = st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)).map(sorted)


def window_in(x: np.ndarray, shares: list[float]) -> tuple[float, float]:
    low, high = np.quantile(x, shares)
    return float(low), float(high)


@given(curves(), LIMITS, SHARES, st.booleans())
def test_points_are_samples_in_their_order_and_not_more_than_the_screen_takes(
    curve: Curve, limit: int, shares: list[float], zoomed: bool
) -> None:
    x, values = curve
    kept = resample(x, values, limit, window_in(x, shares) if zoomed else None)
    assert (np.diff(kept) > 0).all()
    assert {0, values.size - 1} <= set(kept.tolist())
    breaks = np.count_nonzero(np.diff(np.isnan(values).astype(int)))
    assert kept.size <= 2 * limit + 4 * breaks + 8


@given(curves(), LIMITS, SHARES, st.booleans())
def test_no_extreme_is_lost_in_the_whole_or_in_what_is_looked_at(
    curve: Curve, limit: int, shares: list[float], zoomed: bool
) -> None:
    x, values = curve
    window = window_in(x, shares) if zoomed else (x.min(), x.max())
    kept = resample(x, values, limit, window if zoomed else None)
    seen = (x >= window[0]) & (x <= window[1]) & ~np.isnan(values)
    drawn = np.isin(np.arange(values.size), kept)
    for part in (seen, ~np.isnan(values)):
        if part.any():
            assert values[part & drawn].min() == values[part].min()
            assert values[part & drawn].max() == values[part].max()


@given(curves(), LIMITS, SHARES)
def test_close_up_every_sample_appears(curve: Curve, limit: int, shares: list[float]) -> None:
    x, values = curve
    low, high = window_in(x, shares)
    seen = np.flatnonzero((x >= low) & (x <= high))
    if seen.size <= limit - 2:
        assert set(seen.tolist()) <= set(resample(x, values, limit, (low, high)).tolist())


@given(curves(), LIMITS)
def test_breaks_stay_breaks(curve: Curve, limit: int) -> None:
    _, values = curve
    kept = resample(np.arange(values.size, dtype=float), values, limit)
    ends = np.flatnonzero(np.diff(np.isnan(values).astype(int)))
    assert {*ends.tolist(), *(ends + 1).tolist()} <= set(kept.tolist())
