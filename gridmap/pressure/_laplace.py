"""The heart of the pressure model: what a walk says about the log expected count, for many grid points at once.

All arrays carry the grid points in front: covariance (g, n, n), counts (n,). The notation is that of Rasmussen and
Williams (2006), Gaussian Processes for Machine Learning, MIT Press, algorithm 3.1, https://gaussianprocess.org/gpml/
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gridmap.checks import FloatArray, IntArray
from gridmap.statistics import log_choose

_MOST_STEPS = 100
_CLOSE = 1e-6


@dataclass(frozen=True)
class Posterior:
    """A normal curve for the log expected count at the beaten trees, kept in the form that prediction needs.

    ``pull`` a (g, n): mean = m0 + K a. ``root`` S (g, n) and ``inverse`` B^-1 (g, n, n): variance = K - K S B^-1 S K.
    ``log_evidence`` (g,): log probability of the counts.
    """

    pull: FloatArray
    root: FloatArray
    inverse: FloatArray
    log_evidence: FloatArray

    def precision(self) -> FloatArray:
        """Return M = S B^-1 S = (K + W^-1)^-1 of each grid point."""
        return self.root[:, :, None] * self.inverse * self.root[:, None, :]

    def take(self, index: IntArray) -> Posterior:
        """Return the chosen grid points."""
        return Posterior(*(part[index] for part in (self.pull, self.root, self.inverse, self.log_evidence)))


def join(parts: list[Posterior]) -> Posterior:
    """Return one posterior for the grid points of several."""
    names = ("pull", "root", "inverse", "log_evidence")
    return Posterior(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def laplace(covariance: FloatArray, counts: FloatArray, log_base: FloatArray, size: FloatArray) -> Posterior:
    """Return the corrected normal approximation of eta given negative-binomial counts.

    Parameters
    ----------
    covariance : ndarray of shape (g, n, n)
        K of each grid point.
    counts : ndarray of shape (n,)
        Counts [insects].
    log_base : ndarray of shape (n,)
        m0 plus the logarithm of the effort.
    size : ndarray of shape (g,)
        k of each grid point.

    Notes
    -----
    The plain approximation puts the mean at the mode and is up to 1.3 nats short of evidence where the spread is
    large. Both are corrected to second order (the terms of fourth and of squared third derivatives of the log
    likelihood), for instance Shun and McCullagh (1995), J. R. Stat. Soc. B 57:749-760,
    doi:10.1111/j.2517-6161.1995.tb02060.x:

        log Z = psi - log|B|/2 + sum l4 S_ii^2 / 8 + c'S c / 8 + sum_ij l3_i S_ij^3 l3_j / 12,   c_i = l3_i S_ii
        mean  = mode + S c / 2

    where S is the covariance of the approximation.
    """
    k = np.repeat(size[:, None], len(counts), axis=1)
    return _corrected(covariance, counts, log_base - np.log(k), k, log_choose(counts, k).sum(axis=1))


def laplace_of_shares(covariance: FloatArray, found: FloatArray, trials: FloatArray, log_odds: float) -> Posterior:
    """Return the same for the log odds of a share, ``found`` out of ``trials`` at each place (binomial, logit link).

    The likelihood is that of the negative binomial with y + k = trials and its log odds as they stand; its constant is
    left out.
    """
    k = np.broadcast_to(trials - found, (len(covariance), len(found)))
    odds = np.full(k.shape, log_odds)
    return _corrected(covariance, found, odds, k, np.zeros(len(covariance)))


def _corrected(
    covariance: FloatArray, counts: FloatArray, odds: FloatArray, k: FloatArray, constant: FloatArray
) -> Posterior:
    """Return the approximation for log likelihood counts t - (counts + k) log(1 + e^t), t = eta + odds."""
    pull, lift, psi = _mode(covariance, counts, odds, k)
    p = _logistic(lift + odds)
    weight = (counts + k) * p * (1.0 - p)
    root: FloatArray = np.sqrt(weight)
    b = _b_matrix(covariance, root)
    inverse = np.linalg.inv(b).astype(np.float64, copy=False)
    half_log_det = np.log(np.diagonal(np.linalg.cholesky(b), axis1=1, axis2=2)).sum(axis=1)
    shrink = covariance @ (root[:, :, None] * inverse * root[:, None, :])
    sigma = covariance - shrink @ covariance
    variance = np.diagonal(sigma, axis1=1, axis2=2)
    third = -weight * (1.0 - 2.0 * p)
    fourth = -weight * (1.0 - 6.0 * p + 6.0 * p * p)
    c = third * variance
    correction = (
        (fourth * variance**2).sum(axis=1) / 8.0
        + (c * _times(sigma, c)).sum(axis=1) / 8.0
        + (third * _times(sigma * sigma * sigma, third)).sum(axis=1) / 12.0
    )
    # M K c, with K M at hand: (K M)' c.
    pull = pull + 0.5 * (c - _times(shrink.transpose(0, 2, 1), c))
    return Posterior(pull, root, inverse, constant + psi - half_log_det + correction)


def gaussian(covariance: FloatArray, residual: FloatArray, noise_variance: float) -> Posterior:
    """Return the exact posterior when the values are seen with normal noise (kriging), in the form of `laplace`.

    The limit of many insects and Poisson counts, and the door through which tests compare with kriging programs.
    """
    g, n = len(covariance), len(residual)
    root = np.full((g, n), noise_variance**-0.5)
    b = _b_matrix(covariance, root)
    inverse = np.linalg.inv(b).astype(np.float64, copy=False)
    pull = root * _times(inverse, root * residual)
    half_log_det = np.log(np.diagonal(np.linalg.cholesky(b), axis1=1, axis2=2)).sum(axis=1)
    log_evidence = -0.5 * pull @ residual - half_log_det - 0.5 * n * np.log(2.0 * np.pi * noise_variance)
    return Posterior(pull, root, inverse, log_evidence)


def _mode(
    covariance: FloatArray, counts: FloatArray, odds: FloatArray, k: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a, K a and psi at the mode: Newton's steps, halved until psi does not fall."""
    pull, lift = np.zeros_like(odds), np.zeros_like(odds)
    psi = _psi(pull, lift, counts, odds, k)
    live = np.arange(len(odds))
    for _ in range(_MOST_STEPS):
        K = covariance if len(live) == len(odds) else covariance[live]
        p = _logistic(lift[live] + odds[live])
        weight = (counts + k[live]) * p * (1.0 - p)
        root = np.sqrt(weight)
        b = weight * lift[live] + counts - (counts + k[live]) * p
        solved = np.linalg.solve(_b_matrix(K, root), (root * _times(K, b))[:, :, None])[:, :, 0]
        pull_step = b - root * solved - pull[live]
        lift_step = _times(K, pull_step)
        share = np.ones((len(live), 1))
        for _ in range(40):
            new = _psi(pull[live] + share * pull_step, lift[live] + share * lift_step, counts, odds[live], k[live])
            falls = ~(new >= psi[live] - 1e-10 * (1.0 + np.abs(psi[live])))
            if not falls.any():
                break
            share[falls] *= 0.5
        pull[live] += share * pull_step
        lift[live] += share * lift_step
        psi[live] = new
        moved = np.abs(share * lift_step).max(axis=1)
        live = live[moved > _CLOSE]
        if len(live) == 0:
            break
    return pull, lift, psi


def _psi(pull: FloatArray, lift: FloatArray, counts: FloatArray, odds: FloatArray, k: FloatArray) -> FloatArray:
    """Return log likelihood (without its constant) less half the penalty."""
    t = lift + odds
    return (counts * t - (counts + k) * np.logaddexp(0.0, t) - 0.5 * pull * lift).sum(axis=1)


def _b_matrix(covariance: FloatArray, root: FloatArray) -> FloatArray:
    """Return B = I + S K S."""
    b = root[:, :, None] * covariance * root[:, None, :]
    index = np.arange(root.shape[1])
    b[:, index, index] += 1.0
    return b


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Return the product of each matrix (g, n, n) with its vector (g, n)."""
    return (matrix @ vector[:, :, None])[:, :, 0]


def _logistic(t: FloatArray) -> FloatArray:
    """Return 1 / (1 + e^-t) without overflow."""
    return np.exp(-np.logaddexp(0.0, -t))
