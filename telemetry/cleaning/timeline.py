"""Put samples into strictly increasing time, and find gaps and breaks of a log."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np

from telemetry.core.frames import BoolArray, Finding, FloatArray, IntArray

# A gap longer than this cannot be bridged by the motion on either side of it.
_BREAK_S = 5.0
# However slow the log, a boat's motion over a longer time than this is unknown.
_LONGEST_BRIDGED_S = 30.0
_CLUSTER_S = 1.0
# Two stamps closer than this are one moment: no receiver measures a thousand times a second, and a change of
# speed over less would drown in rounding.
_CLOSEST_S = 1e-4


def longest_increasing_run(t_s: FloatArray) -> BoolArray:
    """Mark a longest series of increasing stamps, thinned to steps of at least a tenth of a millisecond.

    It is thinned from its end, so that of close stamps the latest is kept; a larger set with such steps may
    exist.

    One false stamp, early or late, then costs one sample and not the rest of the log.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Stamps in file order; NaN stamps are never kept [s].

    Returns
    -------
    ndarray of bool, shape (n,)

    References
    ----------
    .. [1] M. L. Fredman, On computing the length of longest increasing subsequences, Discrete Mathematics 11
       (1975) 29-35, doi:10.1016/0012-365X(75)90103-X.

    Examples
    --------
    >>> longest_increasing_run(np.array([0.0, 1.0, 99.0, 2.0, 2.0, 3.0])).tolist()
    [True, True, False, True, False, True]
    """
    known = ~np.isnan(t_s)
    if known.all() and (np.diff(t_s) >= _CLOSEST_S).all():
        return np.ones(t_s.size, dtype=np.bool_)
    tails: list[float] = []
    tail_at: list[int] = []
    before = np.full(t_s.size, -1)
    for i, t in enumerate(t_s.tolist()):
        if not known[i]:
            continue
        k = bisect_left(tails, t)
        if k == len(tails):
            tails.append(t)
            tail_at.append(i)
        elif t < tails[k]:
            tails[k], tail_at[k] = t, i
        before[i] = tail_at[k - 1] if k else -1
    keep = np.zeros(t_s.size, dtype=np.bool_)
    i = tail_at[-1] if tail_at else -1
    later_s = np.inf
    while i >= 0:
        keep[i] = later_s - t_s[i] >= _CLOSEST_S
        later_s = t_s[i] if keep[i] else later_s
        i = int(before[i])
    return keep


def stamp_findings(t_s: FloatArray, keep: BoolArray) -> tuple[list[Finding], list[str]]:
    """List the findings on the stamps that were left out.

    Returns
    -------
    findings : list of Finding
    codes : list of str
        One for each sample left out, in file order: ``no-time``, ``duplicate`` or ``backward-time``.
    """
    left, kept = t_s[~keep], np.r_[-np.inf, t_s[keep], np.inf]
    after = np.searchsorted(kept[:-1], left)
    seen = np.minimum(left - kept[after - 1], kept[after] - left) < _CLOSEST_S
    code = np.where(np.isnan(left), "no-time", np.where(seen, "duplicate", "backward-time"))
    texts = {
        "duplicate": "samples with a repeated time left out",
        "backward-time": "samples with a time out of order left out",
    }
    findings = []
    lost = int(np.isnan(left).sum())
    if lost:
        findings.append(Finding("no-time", "samples without a time left out", lost))
    for name, text in texts.items():
        these = np.sort(left[code == name])
        # One finding for each cluster, so that it affects only the passes it is in.
        for part in np.split(these, np.flatnonzero(np.diff(these) > _CLUSTER_S) + 1):
            if part.size:
                findings.append(Finding(name, text, int(part.size), float(part[0]), float(part[-1])))
    return findings, code.tolist()


def window_bounds(t_s: FloatArray, width_s: float) -> tuple[IntArray, IntArray]:
    """Find the first and last sample of a window around each sample, at least its neighbours.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Increasing [s].
    width_s : float
        Of the whole window; a sample on its edge, to a microsecond, belongs to it [s].

    Returns
    -------
    first, last : ndarray of int, shape (n,)
    """
    index = np.arange(t_s.size)
    lo = np.minimum(np.searchsorted(t_s, t_s - width_s / 2 - 1e-6), index - 1)
    hi = np.maximum(np.searchsorted(t_s, t_s + width_s / 2 + 1e-6, side="right") - 1, index + 1)
    return np.maximum(lo, 0), np.minimum(hi, t_s.size - 1)


def break_after_s(step_s: float) -> float:
    """Return the longest gap that is bridged, for a log with the given usual step [s]."""
    return min(max(_BREAK_S, 3.0 * step_s), _LONGEST_BRIDGED_S)


def gap_findings(t_s: FloatArray) -> tuple[list[Finding], BoolArray]:
    """Find dropouts and breaks.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Strictly increasing [s].

    Returns
    -------
    findings : list of Finding
        ``dropout`` for each gap that is bridged, ``break`` for each that is not.
    broken : ndarray of bool, shape (n - 1,)
        True where a step is a break.
    """
    step = np.diff(t_s)
    if step.size == 0:
        return [], np.zeros(0, dtype=np.bool_)
    usual = float(np.median(step))
    limit = break_after_s(usual)
    findings = []
    for k in np.flatnonzero(step > 1.8 * usual):
        lost = round(step[k] / usual) - 1
        if step[k] > limit:
            text, code = f"the log is silent for {step[k]:.1f} s", "break"
        else:
            text, code = f"{lost} samples are missing over {step[k]:.2f} s", "dropout"
        findings.append(Finding(code, text, lost, float(t_s[k]), float(t_s[k + 1])))
    return findings, step > limit
