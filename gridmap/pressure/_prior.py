"""What is held likely before a single tree is beaten; it knows no threshold.

    log expected count   eta ~ N(m0, K)
    K_ij = sigma^2 exp(-2 d_ij / rho) + tau^2 [same block] + s_mu^2

With several visits d_ij becomes d_ij + c |visits apart|, the other two parts are multiplied by 0.7 for each visit
apart, and trees of different treatments share nothing but the common mean. Range rho, spread sigma, size k and c are
never plugged in: with some fifty counts they are averaged over a grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from gridmap.checks import FloatArray, IntArray

# Common mean per standard beat where no past walk says better, and how far off it may be on the log scale: 95 % between
# 0.1 and 38. Ten trees overrule it. It is a constant and not a share of the threshold: a prior that followed the
# threshold told blocks that nobody had walked to spray.
MEAN_PER_BEAT = 2.0
SD_MEAN = 1.5
# How far blocks lie apart on the log scale.
SD_BLOCK = 0.5
# How far beats of suspected trees lie from planned ones on the log scale; zero-centred, so a suspicion may be wrong.
# With 2 the offset took some of their neighbourhood's share (see docs/pressure-model.md).
SD_SUSPECTED = 1.5
# Share of a beat's unevenness that belongs to the tree, where no repeat beats tell it.
TREE_SHARE = 0.25
# How far trees that were treated lie from those that were not, on the log scale.
SD_TREATED = 2.0
# Correlation of the common mean, and of a block's part, from one visit to the next: between two visits the whole grove
# may rise or fall by a factor of 3 (one standard deviation).
LEVEL_LINK = 0.7
# A visit apart is as far as so many metres (times the spacing factor), and how likely each is held.
VISITS_M = np.array([1.5, 4.0, 10.0, 30.0])
LOG_PRIOR_VISITS = np.log([0.2, 0.3, 0.3, 0.2])
# Keeps the covariance of repeat beats at one place invertible; far below anything that counts can tell.
JITTER = 1e-6

SPACING_M = 15.0
RANGES_M = np.array([12.0, 25.0, 50.0, 100.0])
SPREADS = np.array([0.25, 0.6, 1.0, 1.5, 2.2])
# The first four serve the usual walk; the others are computed only where counts are nearly Poisson.
SIZES = np.array([0.3, 0.6, 1.2, 2.4, 5.0, 10.0, 30.0])
USUAL_SIZES = 4
# Median and spread of k on the log scale. The spread is that of k between 31 open sets of real arthropod counts (1.07),
# the two sets that the tests compare on left out; 0.8 was too sure of itself (see docs/pressure-model.md).
MEDIAN_SIZE, SD_LOG_SIZE = 0.8, 1.1


@dataclass(frozen=True)
class Grid:
    """Grid points of range [m], spread and size with the logarithm of their prior weight, each of shape (g,).

    ``visit_m`` [m] is how far apart two visits are, for each point; None while there is one visit.
    """

    range_m: FloatArray
    spread: FloatArray
    size: FloatArray
    log_prior: FloatArray
    visit_m: FloatArray | None = None

    def take(self, index: IntArray) -> Grid:
        """Return the chosen points."""
        visit_m = None if self.visit_m is None else self.visit_m[index]
        return Grid(self.range_m[index], self.spread[index], self.size[index], self.log_prior[index], visit_m)

    def and_also(self, other: Grid) -> Grid:
        """Return these points and the others."""
        visit_m = None
        if self.visit_m is not None and other.visit_m is not None:
            visit_m = np.concatenate([self.visit_m, other.visit_m])
        return Grid(
            np.concatenate([self.range_m, other.range_m]), np.concatenate([self.spread, other.spread]),
            np.concatenate([self.size, other.size]), np.concatenate([self.log_prior, other.log_prior]), visit_m,
        )

    def carry(self) -> FloatArray:
        """Return the correlation of the spatial part from one visit to the next, (g,); 1 while there is one visit."""
        if self.visit_m is None:
            return np.ones(len(self))
        return np.asarray(np.exp(-2.0 * self.visit_m / self.range_m))

    def apart(self, metres: FloatArray, log_prior: FloatArray) -> Grid:
        """Return each point with each of these distances between visits."""
        times = len(metres)
        every = self.take(np.repeat(np.arange(len(self)), times))
        more = np.tile(log_prior, len(self))
        return Grid(every.range_m, every.spread, every.size, every.log_prior + more, np.tile(metres, len(self)))

    def __len__(self) -> int:
        return len(self.size)


def usual_spacing_m(xy: FloatArray) -> float:
    """Return the median distance [m] of a beaten tree to the nearest other one; 15 m where there is only one place.

    Repeat beats of a tree count as one place.
    """
    place = np.unique(xy, axis=0)
    if len(place) < 2:
        return SPACING_M
    distance, _ = cKDTree(place).query(place, k=2)
    return float(np.median(np.asarray(distance)[:, 1]))


def spacing_factor(xy: FloatArray) -> float:
    """Return how wide the walk was spaced: its usual spacing over 15 m, held in 0.5 to 10."""
    return float(np.clip(usual_spacing_m(xy) / SPACING_M, 0.5, 10.0))


def grid(factor: float) -> Grid:
    """Return the full grid with its prior for a walk of this spacing factor; the weights sum to 1.

    Notes
    -----
    Penalised-complexity prior of the range in two dimensions, a 10 % chance of a range under 15 m x factor (Fuglstad,
    Simpson, Lindgren and Rue 2019, Constructing priors that penalize the complexity of Gaussian random fields,
    J. Am. Stat. Assoc. 114:445-452, doi:10.1080/01621459.2017.1415907); sigma ~ Gamma(shape 2, mean 1.1);
    log k ~ N(log 0.8, 1.1^2). Each as a density of the logarithm, times the spacing of the grid in the logarithm.
    """
    ranges = RANGES_M * factor
    rate = -math.log(0.1) * SPACING_M * factor
    log_range = np.log(rate / ranges) - rate / ranges + np.log(np.gradient(np.log(ranges)))
    # Gamma density s exp(-2 s / 1.1), times s for the density of log s.
    log_spread = 2.0 * np.log(SPREADS) - 2.0 * SPREADS / 1.1 + np.log(np.gradient(np.log(SPREADS)))
    log_size = -0.5 * (np.log(SIZES / MEDIAN_SIZE) / SD_LOG_SIZE) ** 2 + np.log(np.gradient(np.log(SIZES)))
    mesh = np.meshgrid(np.arange(len(ranges)), np.arange(len(SPREADS)), np.arange(len(SIZES)), indexing="ij")
    i, j, size = (index.ravel() for index in mesh)
    log_prior = log_range[i] + log_spread[j] + log_size[size]
    log_prior -= np.logaddexp.reduce(log_prior)
    return Grid(ranges[i], SPREADS[j], SIZES[size], log_prior)
