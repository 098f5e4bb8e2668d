"""How well a chance, a count and a decision come out."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr
from scipy.stats import rankdata

from gridmap.statistics import negative_binomial_log_pmf

RATIOS = (2.0, 4.0, 10.0)
DRAWS = 300


def regret(chance, over, ratio):
    """Cost per tree over that of knowing the truth; spraying one tree costs 1, leaving one that is over ``ratio``."""
    spray = chance > 1.0 / ratio
    return float(np.mean(spray + ratio * (~spray & over) - over))


def brier(chance, over):
    return float(np.mean((chance - over) ** 2))


def area_under_curve(score, over):
    """Chance that a tree that is over is ranked before one that is not."""
    many = int(over.sum())
    if many in (0, len(over)):
        return np.nan
    return float((rankdata(score)[over].sum() - many * (many + 1) / 2) / (many * (len(over) - many)))


def calibration_error(chance, over, bins=10):
    """Mean gap between the chance told and the share that came, pooled over all groves (ECE)."""
    at = np.minimum((chance * bins).astype(int), bins - 1)
    told, came = np.bincount(at, chance, bins), np.bincount(at, over, bins)
    return float(np.abs(told - came).sum() / len(chance))


def crps(sample, value):
    """Continuous ranked probability score from independent draws (draws, n), without bias in their number."""
    m = len(sample)
    ordered = np.sort(sample, axis=0)
    within = (np.arange(1 - m, m + 1, 2)[:, None] * ordered).sum(axis=0) / (m * (m - 1))
    return float((np.abs(sample - value).mean(axis=0) - within).mean())


def negative_binomial_draws(mean, size, rng):
    """Independent counts, (draws, n)."""
    return rng.poisson(mean * rng.gamma(size, 1 / size, (DRAWS, len(mean))))


def peer_log_score(told, rows, counts):
    return float(negative_binomial_log_pmf(counts, told.mean[rows], told.size).mean())


def gaussian_log_score(told, rows, counts):
    """Score of a normal curve of log(1 + count), a count being all between its halves; missing without a curve."""
    if told.log_sd_count is None:
        return np.nan
    m, s = told.log_mean[rows], told.log_sd_count[rows]
    share = ndtr((np.log(counts + 1.5) - m) / s) - ndtr((np.log(counts + 0.5) - m) / s)
    first = ndtr((np.log(1.5) - m) / s)
    return float(np.log(np.maximum(np.where(counts == 0, first, share), 1e-12)).mean())
