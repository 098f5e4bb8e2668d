"""Statistics that the pressure model and its peers share: negative-binomial counts and mixtures of normal curves."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar
from scipy.special import gammaln, ndtr, ndtri

from gridmap.checks import FloatArray
from gridmap.errors import InputRefused

# Over this k a count is taken for Poisson: its variance m + m^2/k differs by under one in a million of m at m = 1.
MOST_K = 1e6

# At least 15 nodes are needed where 9 are tempting (measured); 31 cost little more once centred on the peak.
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(31)


def negative_binomial_log_pmf(counts: npt.ArrayLike, mean: npt.ArrayLike, k: npt.ArrayLike) -> FloatArray:
    """Tell how likely a count is when counts vary more from tree to tree than chance alone.

    Parameters
    ----------
    counts : array_like
        Counts [insects], whole and not negative.
    mean : array_like
        Expected count [insects], over 0; broadcast against ``counts``.
    k : array_like
        Size of the negative binomial, over 0: the variance is mean + mean^2 / k. Small k: many zeros and a few
        high counts; a very large k: Poisson.

    Returns
    -------
    ndarray
        Natural logarithm of the probability.

    Notes
    -----
    Pr(y) = Gamma(y + k) / (Gamma(k) y!) p^y (1 - p)^k with p = mean / (mean + k).

    References
    ----------
    Bliss, C. I. and Fisher, R. A. (1953) Fitting the negative binomial distribution to biological data.
    Biometrics 9:176-200. doi:10.2307/3001850.

    Examples
    --------
    >>> np.exp(negative_binomial_log_pmf(0, 2.0, 1.0)).round(4)
    np.float64(0.3333)
    >>> negative_binomial_log_pmf([], [], 1.0)
    array([], dtype=float64)
    """
    y, m, size = (np.asarray(value, dtype=np.float64) for value in (counts, mean, k))
    # log p and log(1 - p) through the softplus of log(mean / k): neither loses digits when p is near 0 or 1.
    odds = np.log(m) - np.log(size)
    return np.asarray(log_choose(y, size) + y * odds - (y + size) * np.logaddexp(0.0, odds))


def log_choose(counts: FloatArray, k: FloatArray | float) -> FloatArray:
    """Return log Gamma(y + k) - log Gamma(k) - log y!, the part of the log probability that knows no mean.

    Examples
    --------
    >>> log_choose(np.array([0.0, 1.0]), 2.0).round(4)
    array([0.    , 0.6931])
    """
    return np.asarray(gammaln(counts + k) - gammaln(k) - gammaln(counts + 1.0))


def fit_negative_binomial_k(counts: npt.ArrayLike, mean: npt.ArrayLike) -> float:
    """Tell how unevenly insects sit on the trees, as the size k of most likelihood with the means given.

    Parameters
    ----------
    counts : array_like of shape (n,)
        Counts [insects].
    mean : array_like of shape (n,)
        Expected count of each [insects], over 0.

    Returns
    -------
    float
        k between 0.001 and `MOST_K`; the latter stands for Poisson counts (no over-dispersion was seen).

    Raises
    ------
    InputRefused
        When there is no count.

    Notes
    -----
    k from one site is unreliable even with a hundred trees (Carleton, Heard and Silk 2013, PLoS ONE 8:e82618): it is a
    step on the way, not a finding to print.

    Examples
    --------
    >>> round(fit_negative_binomial_k([0, 0, 1, 7], [2, 2, 2, 2]), 2)
    0.37
    """
    y, m = np.broadcast_arrays(np.asarray(counts, dtype=np.float64), np.asarray(mean, dtype=np.float64))
    if y.size == 0:
        raise InputRefused("no count was given", "k needs at least one")
    found = minimize_scalar(
        lambda log_k: -float(negative_binomial_log_pmf(y, m, math.exp(log_k)).sum()),
        bounds=(math.log(1e-3), math.log(MOST_K)), method="bounded", options={"xatol": 1e-7},
    )
    return math.exp(float(found.x))


def negative_binomial_log_normal_log_pmf(
    counts: npt.ArrayLike, log_mean: npt.ArrayLike, log_variance: npt.ArrayLike, k: npt.ArrayLike
) -> FloatArray:
    """Tell how likely a count is when its expected value is itself known only within limits.

    Parameters
    ----------
    counts : array_like
        Counts [insects].
    log_mean, log_variance : array_like
        Mean and variance of the logarithm of the expected count.
    k : array_like
        Size of the negative binomial.

    Returns
    -------
    ndarray
        Natural logarithm of the probability.

    Notes
    -----
    The integral of NB(y; e^h, k) N(h; m, v) over h by 31 Gauss-Hermite nodes, centred on the peak of the integrand and
    scaled by its curvature there (the integrand is log-concave, so Newton's steps, kept short, find it).

    References
    ----------
    Liu, Q. and Pierce, D. A. (1994) A note on Gauss-Hermite quadrature. Biometrika 81:624-629.
    doi:10.1093/biomet/81.3.624.

    Examples
    --------
    >>> negative_binomial_log_normal_log_pmf([0, 3], 0.0, 0.25, 1.0).round(3)
    array([-0.693, -2.781])
    """
    y, m, v, size = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (counts, log_mean, log_variance, k))
    )
    v = np.maximum(v, 1e-12)
    peak = m.copy()
    for _ in range(50):
        p = 1.0 / (1.0 + size * np.exp(-np.clip(peak, -500.0, 500.0)))
        curvature = (y + size) * p * (1.0 - p) + 1.0 / v
        # Steps of one unit at most: far out the curvature of the likelihood vanishes and a full step would jump over.
        step = np.clip((y - (y + size) * p - (peak - m) / v) / curvature, -1.0, 1.0)
        peak = peak + step
        if np.abs(step).max(initial=0.0) < 1e-8:
            break
    sd = 1.0 / np.sqrt(curvature)
    node = peak[..., None] + sd[..., None] * _NODES
    log_f = negative_binomial_log_pmf(y[..., None], np.exp(np.clip(node, -500.0, 500.0)), size[..., None])
    log_f -= 0.5 * (node - m[..., None]) ** 2 / v[..., None] - 0.5 * _NODES**2 - np.log(_NODE_WEIGHTS)
    top = log_f.max(axis=-1)
    total = np.exp(log_f - top[..., None]).sum(axis=-1)
    return np.asarray(top + np.log(total) + np.log(sd) - 0.5 * np.log(2.0 * math.pi * v))


def normal_mixture_quantiles(
    weight: npt.ArrayLike, mean: npt.ArrayLike, sd: npt.ArrayLike, levels: npt.ArrayLike, *, tolerance: float = 1e-9
) -> FloatArray:
    """Tell below which value a quantity lies with a given chance, when several normal curves share the say.

    Parameters
    ----------
    weight : array_like of shape (j,)
        Share of each curve; they sum to 1.
    mean, sd : array_like of shape (j, n)
        Mean and standard deviation of each curve for each of n quantities.
    levels : array_like of shape (l,)
        Chances, strictly between 0 and 1.
    tolerance : float, default 1e-9
        The last step, in standard deviations of the narrowest curve; what is left then is about its square.

    Returns
    -------
    ndarray of shape (l, n)
        The quantiles.

    Notes
    -----
    The root lies between the least and the greatest of the quantiles of the single curves. Newton's step is taken on
    the probit scale, where a mixture is nearly a straight line; a step that leaves the bracket becomes its middle.

    Examples
    --------
    >>> normal_mixture_quantiles([0.5, 0.5], [[0.0], [0.0]], [[1.0], [1.0]], [0.5, 0.975]).round(3)
    array([[0.  ],
           [1.96]])
    >>> normal_mixture_quantiles([1.0], np.empty((1, 0)), np.empty((1, 0)), [0.5]).shape
    (1, 0)
    """
    w = np.asarray(weight, dtype=np.float64)
    m, s = np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64)
    z = ndtri(np.asarray(levels, dtype=np.float64))[:, None]
    low = np.minimum.reduce([mj + z * sj for mj, sj in zip(m, s, strict=True)])
    high = np.maximum.reduce([mj + z * sj for mj, sj in zip(m, s, strict=True)])
    centre = w @ m
    x = centre + z * np.sqrt(np.maximum(w @ (s**2 + (m - centre) ** 2), 0.0))
    x = np.clip(x, low, high)
    least_sd = s.min(axis=0)
    for turn in range(200):
        step, below = _probit_step(w, m, s, x, z)
        low, high = np.where(below, x, low), np.where(below, high, x)
        new = x + step
        outside = (new < low) | (new > high) | ~np.isfinite(new)
        # Curves of very unlike widths can make Newton creep: after some steps, every other one halves the bracket.
        if turn >= 10 and turn % 2:
            outside[:] = True
        new = np.where(outside, 0.5 * (low + high), new)
        moved = np.abs(new - x)
        x = new
        if (moved <= tolerance * least_sd).all():
            break
    return np.asarray(x)


def _probit_step(
    w: FloatArray, m: FloatArray, s: FloatArray, x: FloatArray, z: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Return Newton's step for probit(F(x)) = z, and where F(x) still lies below its level."""
    cdf, density = np.zeros_like(x), np.zeros_like(x)
    for wj, mj, sj in zip(w, m, s, strict=True):
        u = (x - mj) / sj
        cdf += wj * ndtr(u)
        density += (wj / sj) * np.exp(-0.5 * u * u)
    probit = ndtri(np.clip(cdf, 1e-300, 1.0 - 1e-16))
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        step = (z - probit) * np.exp(-0.5 * probit * probit) / density
    return step, probit < z
