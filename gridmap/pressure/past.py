"""What a grove's own past walks say of its common level, before a tree is beaten this time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.pressure._fit import MOST_BEATS_WHOLE_GRID, Fitted, fit_walk
from gridmap.pressure._prior import MEAN_PER_BEAT, SD_MEAN
from gridmap.pressure._walk import Walk, read_walk

# Correlation between the levels of two visits, and how likely each is held: how alike this grove's visits are is told
# by the visits themselves, where there are several.
ALIKE = np.array([0.2, 0.5, 0.8, 0.95])
_LOG_PRIOR = np.log([0.2, 0.3, 0.3, 0.2])


@dataclass(frozen=True)
class PastLevel:
    """Where the common level of a coming walk is looked for, from past ones.

    Parameters
    ----------
    median_per_beat : float
        Expected count of a middling tree [insects per standard beat].
    sd_log : float
        How far off that may be: standard deviation of its natural logarithm.
    visits : int
        Past visits that told it; 0 gives what is held likely of any grove.
    """

    median_per_beat: float
    sd_log: float
    visits: int


def past_level(
    xy: object, counts: object, taps: object = None, block: object = None, visit: object = None, *,
    suspected: object = None, standard_taps: float = 3,
) -> PastLevel:
    """Tell from past walks where the level of the next one is to be looked for, and how far off that may be.

    Parameters
    ----------
    xy, counts, taps, block, visit, suspected
        Past beats, as in `PressureModel.fit`; without ``visit`` all are of one visit.
    standard_taps : float, default 3
        Taps of a standard beat.

    Returns
    -------
    PastLevel
        To be given to ``PressureModel(threshold, past=...)``. It knows no threshold.

    Raises
    ------
    InputRefused
        As `PressureModel.fit`, except that no beat at all is no fault.

    Notes
    -----
    Each visit is fitted alone; its common part has mean m_v and variance s_v^2. Levels of visits are held to be normal
    about log 2 with standard deviation 1.5 and the same correlation c between any two; c is averaged over, weighed by
    how well it explains the visits. Given c, what is not known of the coming visit follows from the joint normal curve.

    Examples
    --------
    >>> two = past_level([[0, 0], [9, 0], [0, 0], [9, 0]], [60, 80, 90, 70], visit=[1, 1, 2, 2])
    >>> two.median_per_beat > 10, two.sd_log < 1.5
    (True, True)
    >>> past_level([], [])
    PastLevel(median_per_beat=2.0, sd_log=1.5, visits=0)
    """
    taps_each = checks.number(standard_taps, "standard beat", "taps", over=0.0)
    if not len(checks.points(xy) if not hasattr(xy, "geometry") else xy):  # type: ignore[arg-type]
        return PastLevel(MEAN_PER_BEAT, SD_MEAN, 0)
    walk = read_walk(xy, counts, taps, block, suspected, taps_each, visit)
    rng = np.random.default_rng(0)
    told = [_common(_alone(walk, v, rng)) for v in range(len(walk.visits))]
    mean, sd = _next_level(*np.array(told).T)
    return PastLevel(math.exp(math.log(MEAN_PER_BEAT) + mean), sd, len(told))


def _alone(walk: Walk, visit: int, rng: np.random.Generator) -> Fitted:
    """Return the fit of one visit; of a very large one, of an even share of its beats."""
    rows = np.flatnonzero(walk.visit == visit)
    if len(rows) > MOST_BEATS_WHOLE_GRID:
        rows = rng.choice(rows, MOST_BEATS_WHOLE_GRID, replace=False)
    one = walk.take(rows)
    return fit_walk(Walk(**(vars(one) | {"visits": (None,), "visit": np.zeros(len(rows), dtype=np.int64)})),
                    math.log(MEAN_PER_BEAT))


def _common(fitted: Fitted) -> tuple[float, float]:
    """Return mean (from log 2) and variance of the common part of one visit, over all grid points."""
    posterior = fitted.posterior
    if posterior is None:  # pragma: no cover - a visit is never that large here
        return 0.0, SD_MEAN**2
    mean = SD_MEAN**2 * posterior.pull.sum(axis=1)
    variance = SD_MEAN**2 - SD_MEAN**4 * posterior.precision().sum(axis=(1, 2))
    centre = float(fitted.weight @ mean)
    return centre, float(fitted.weight @ (variance + (mean - centre) ** 2))


def _next_level(mean: FloatArray, variance: FloatArray) -> tuple[float, float]:
    """Return mean and standard deviation of the coming visit's level from what each past visit says by itself."""
    # What the counts say without the prior: a normal likelihood of the level.
    precision = np.maximum(1.0 / variance - 1.0 / SD_MEAN**2, 1e-6)
    seen, noise = mean / variance / precision, 1.0 / precision
    n = len(mean)
    log_weight, centres, variances = _LOG_PRIOR.copy(), np.empty(len(ALIKE)), np.empty(len(ALIKE))
    for i, c in enumerate(ALIKE):
        K = SD_MEAN**2 * (c + (1.0 - c) * np.eye(n)) + np.diag(noise)
        solved = np.linalg.solve(K, np.column_stack([seen, np.full(n, SD_MEAN**2 * c)]))
        log_weight[i] -= 0.5 * (seen @ solved[:, 0] + np.linalg.slogdet(K)[1])
        centres[i] = SD_MEAN**2 * c * solved[:, 0].sum()
        variances[i] = SD_MEAN**2 - SD_MEAN**2 * c * solved[:, 1].sum()
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    centre = float(weight @ centres)
    return centre, math.sqrt(float(weight @ (variances + (centres - centre) ** 2)))
