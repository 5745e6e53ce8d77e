import numpy as np

from dashboard.ui.downsample import thin


def test_a_short_curve_is_left_whole() -> None:
    values = np.arange(50.0)
    assert thin(values, values, 100).tolist() == list(range(50))


def test_every_spike_and_every_break_of_an_hour_at_10_hz_stays() -> None:
    rng = np.random.default_rng(7)
    t_s = np.arange(36_000) / 10
    values = rng.normal(20.0, 0.1, t_s.size)
    peaks = rng.choice(t_s.size, 40, replace=False)
    values[peaks] = 60.0
    values[10_000:10_050] = np.nan
    kept = thin(t_s, values, 3000)
    assert kept.size < 3200
    assert set(peaks[~np.isnan(values[peaks])]) <= set(kept)
    assert np.isnan(values[kept]).any()
    assert np.array_equal(kept, np.unique(kept))
    assert (kept[0], kept[-1]) == (0, t_s.size - 1)


def test_passes_keep_every_sample() -> None:
    t_s = np.arange(36_000) / 10
    values = np.sin(t_s)
    kept = thin(t_s, values, 3000, [(100.0, 112.0), (900.0, 910.0)])
    for start_s, end_s in ((100.0, 112.0), (900.0, 910.0)):
        inside = np.flatnonzero((t_s >= start_s) & (t_s <= end_s))
        assert set(inside) <= set(kept)


def test_passes_that_fill_the_log_are_thinned_too() -> None:
    t_s = np.arange(36_000) / 10
    assert thin(t_s, np.sin(t_s), 3000, [(0.0, 3600.0)]).size < 3200
