"""Normalised cross-correlation over every shift, however short the overlap.

References
----------
.. [1] D. Padfield, Masked object registration in the Fourier domain, IEEE Trans. Image Processing 21 (2012),
   doi:10.1109/TIP.2011.2181402, here in one dimension.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from telemetry.core.frames import FloatArray, IntArray

_MIN_VARIANCE_SHARE = 0.1


def cross_correlation(first: FloatArray, second: FloatArray, least: int) -> tuple[IntArray, FloatArray]:
    """Correlate two evenly sampled signals at every shift, over their overlap.

    Parameters
    ----------
    first, second : ndarray, shape (n,), (m,)
        Signals without missing values.
    least : int
        Fewest samples in the overlap.

    Returns
    -------
    shift : ndarray of int, shape (n + m - 1,)
        ``second[0]`` is at ``first[shift]``; ascending.
    coefficient : ndarray, shape (n + m - 1,)
        Pearson's coefficient; -1 if the overlap is too short or either signal hardly changes there.

    Examples
    --------
    >>> shift, r = cross_correlation(np.array([0.0, 0, 1, 3, 1, 0, 0]), np.array([1.0, 3, 1]), 3)
    >>> int(shift[np.argmax(r)]), round(float(r.max()), 6)
    (2, 1.0)
    """
    shift = np.arange(-second.size + 1, first.size)
    if first.size == 0 or second.size == 0:
        return shift[:0], np.zeros(0)
    size = next_fast_len(first.size + second.size - 1, real=True)
    f = [rfft(x, size) for x in (np.ones(first.size), first, first**2)]
    g = [np.conj(rfft(x, size)) for x in (np.ones(second.size), second, second**2)]

    def summed(i: int, j: int) -> FloatArray:
        return np.asarray(irfft(f[i] * g[j], size))

    count = np.maximum(np.round(summed(0, 0)), 1.0)
    first_var = np.maximum(summed(2, 0) - summed(1, 0) ** 2 / count, 0.0)
    second_var = np.maximum(summed(0, 2) - summed(0, 1) ** 2 / count, 0.0)
    both = summed(1, 1) - summed(1, 0) * summed(0, 1) / count
    enough = (
        (count >= least)
        & (first_var > _MIN_VARIANCE_SHARE * count * first.var())
        & (second_var > _MIN_VARIANCE_SHARE * count * second.var())
    )
    r = np.where(enough, both / np.sqrt(np.where(enough, first_var * second_var, 1.0)), -1.0)
    return shift, r[shift % size]


def best_shifts(shift: IntArray, coefficient: FloatArray, count: int, apart: int) -> IntArray:
    """Find the highest peaks of a correlation, at least ``apart`` samples from each other, best first.

    Parameters
    ----------
    shift : ndarray of int, shape (n,)
        Shifts, ascending.
    coefficient : ndarray, shape (n,)
        Correlation at each shift.
    count : int
        Highest number of peaks.
    apart : int
        Smallest distance between two peaks [samples].
    """
    from scipy.signal import find_peaks  # slow to import, and only a motor log needs it

    peaks, _ = find_peaks(np.r_[-1.0, coefficient, -1.0], height=-0.999, distance=apart)
    peaks = peaks - 1
    return np.asarray(shift[peaks[np.argsort(-coefficient[peaks])[:count]]])
