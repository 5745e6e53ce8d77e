"""The two kinds of coloured noise the simulator is made of."""

from __future__ import annotations

import math

import numpy as np
from scipy.fft import irfft, next_fast_len, rfftfreq
from scipy.signal import lfilter

from telemetry.core.frames import FloatArray


def gauss_markov(rng: np.random.Generator, n: int, step_s: float, sd: float, tau_s: float) -> FloatArray:
    """Stationary first-order Gauss-Markov noise, shape (n,).

    Its autocorrelation is sd² exp(-|lag| / tau).

    References
    ----------
    .. [1] A. Gelb (ed.), Applied Optimal Estimation, MIT Press 1974, section 2.2 (from memory).
    """
    keep = math.exp(-step_s / tau_s)
    fresh = math.sqrt(1 - keep * keep)
    white = rng.standard_normal(n)
    white[0] /= fresh  # so that the first sample already has the full variance
    return np.asarray(sd * lfilter([fresh], [1.0, -keep], white))


def band_noise(rng: np.random.Generator, n: int, rate_hz: float, low_hz: float, high_hz: float) -> FloatArray:
    """Noise of unit variance spread evenly over a band, shape (n,)."""
    size = next_fast_len(n, real=True)
    freqs = rfftfreq(size, 1 / rate_hz)
    inside = (freqs >= low_hz) & (freqs <= high_hz)
    bins = int(inside.sum())
    spectrum = np.zeros(freqs.size, dtype=np.complex128)
    spectrum[inside] = rng.standard_normal(bins) + 1j * rng.standard_normal(bins)
    return np.asarray(irfft(spectrum, size)[:n] * size / (2.0 * np.sqrt(bins)))
