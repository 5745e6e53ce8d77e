"""Outings that were spoiled: trusted less by as much as the figures say, and told, never cut.

Each outing may, with a small prior probability, have had an extra variance. An outing far from what the
others predict is tried with it; the models with and without are averaged by their marginal likelihoods [1]_,
so that a doubtful outing keeps part of its say.

References
----------
.. [1] G. E. P. Box, G. C. Tiao, Biometrika 55 (1968) 119, doi:10.1093/biomet/55.1.119 (outliers as draws with
   a larger variance).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from telemetry.compare.posterior import SPOILED_VARIANCE_RATIO, DesignLayout, Factored, ModelPosterior
from telemetry.compare.priors import SPOILED_PRIOR
from telemetry.core.frames import FloatArray

MIN_OUTINGS_FOR_SPOILED: Final = 5
_SUSPECT: Final = 1.8  # standard deviations from what the others predict; one outlier hides itself in few
_SUSPECT_MANY: Final = 3.0  # the same where outings are many
_MANY: Final = 30
_MAX_SPOILED: Final = 5
_TRIED_AT_ONCE: Final = 1
_MAX_SHARE: Final = 0.2  # of all outings
_WORTH_A_WORD: Final = 0.05

SpoiledSplit = tuple[tuple[float, ModelPosterior], ...]


def average_over_spoiled(
    layout: DesignLayout, y: FloatArray, *, slow_only: bool
) -> tuple[SpoiledSplit, dict[int, float]]:
    """Condition on figures, averaging over which outings were spoiled.

    Parameters
    ----------
    layout : DesignLayout
    y : ndarray, shape (n,)
    slow_only : bool
        Whether only an outing below the others can be spoiled, as holds for speeds.

    Returns
    -------
    tuple of (float, Posterior)
        Probability and posterior of each model.
    dict of int to float
        Probability of having been spoiled, by outing.
    """
    factored = Factored(layout)
    found = factored.posterior(y)
    models: list[tuple[float, ModelPosterior, tuple[int, ...]]] = [(0.0, found, ())]
    outings = layout.day.size
    inflation = np.zeros(outings)
    log_odds = math.log(SPOILED_PRIOR / (1.0 - SPOILED_PRIOR))
    suspects: tuple[int, ...] = ()
    while outings >= MIN_OUTINGS_FOR_SPOILED and len(suspects) < min(
        max(1, int(_MAX_SHARE * outings)), _MAX_SPOILED
    ):
        tried = []
        for one in _suspects(found, y, slow_only=slow_only):
            if one in suspects:
                continue
            trial = inflation.copy()
            trial[one] = SPOILED_VARIANCE_RATIO
            posterior = Factored(layout.with_inflation(trial)).posterior(y)
            gain = float(posterior.log_evidence[0] - models[0][1].log_evidence[0])
            tried.append((gain + (len(suspects) + 1) * log_odds, one, posterior, trial))
        best = max(tried, key=lambda t: t[0], default=None)
        if best is None or best[0] < models[-1][0] + math.log(_WORTH_A_WORD):
            break
        score, one, found, inflation = best
        suspects = (*suspects, one)
        models.append((score, found, suspects))
    scores = np.array([score for score, _, _ in models])
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    keep = [(float(s), m) for s, m in zip(shares, models, strict=True) if s > 1e-3]
    total = sum(s for s, _ in keep)
    parts = tuple((s / total, m[1]) for s, m in keep)
    told = {one: sum(s / total for s, m in keep if one in m[2]) for one in suspects}
    return parts, {one: p for one, p in told.items() if p > _WORTH_A_WORD}


def _suspects(found: ModelPosterior, y: FloatArray, *, slow_only: bool) -> list[int]:
    """List the outings that lie furthest from what the others predict, the furthest first."""
    point = found.likeliest
    precision = found.factored.outing_precision(point)
    own = np.diag(precision)
    scale = math.sqrt(float(found.variance[point, 0]))
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = (precision @ found.factored.outing_means(y)) / np.sqrt(own) / scale
    apart[own < 1e-9 * own.max()] = 0.0
    size = -apart if slow_only else np.abs(apart)
    ordered = np.argsort(-size)[:_TRIED_AT_ONCE]
    least = _SUSPECT if size.size < _MANY else _SUSPECT_MANY
    return [int(k) for k in ordered if size[k] > least]
