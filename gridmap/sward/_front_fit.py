"""Penalised quasi-likelihood behind the front: one intercept a survey, one slope against the hill, rows at random."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize, minimize_scalar
from scipy.special import expit, xlogy

from gridmap.checks import FloatArray, IntArray

# So weak (standard deviation on the logit scale) that it moves no digit anyone prints; it keeps a survey without any
# grass, and rows that flip at once from full to bare, from running off to infinity.
_PRIOR_SD = 100.0
_STEPS = 60
_MOST_LOG_RATIO = 12.0


@dataclass(frozen=True)
class Looks:
    """Cover that was measured, in the form the fit wants.

    Parameters
    ----------
    x : ndarray of shape (n,)
        Metres upslope, centred and scaled to unit standard deviation.
    survey, row, block : ndarray of shape (n,)
        Numbers from 0.
    grass, weight : ndarray of shape (n,)
        Share [0, 1] and how many looks stand behind it.
    """

    x: FloatArray
    survey: IntArray
    row: IntArray
    block: IntArray
    grass: FloatArray
    weight: FloatArray

    @property
    def surveys(self) -> int:
        """Number of surveys."""
        return int(self.survey.max()) + 1

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.row.max()) + 1

    def design(self) -> FloatArray:
        """Return one column for each survey, one that falls with x, and blocks as deviations from their mean."""
        columns = [(self.survey == number).astype(float) for number in range(self.surveys)]
        columns.append(-self.x)
        last = self.block == self.block.max()
        columns.extend((self.block == number).astype(float) - last for number in range(int(self.block.max())))
        return np.column_stack(columns)


@dataclass(frozen=True)
class Fitted:
    """What the fit found: coefficients, their covariance, and how much rows and looks vary.

    Parameters
    ----------
    coefficient, covariance : ndarray
        Of `Looks.design`, on the logit scale.
    dispersion : float
        How many times the looks vary as much as independent ones would.
    row_variance : float
        Variance between rows [logit squared].
    converged : bool
        Whether the steps came to rest.
    """

    coefficient: FloatArray
    covariance: FloatArray
    dispersion: float
    row_variance: float
    converged: bool


def fit_looks(looks: Looks, low: float, high: float) -> Fitted:
    """Fit cover = low + (high - low) / (1 + exp(-eta)), with a random effect of each row.

    Notes
    -----
    Penalised quasi-likelihood (Breslow and Clayton 1993, J. Am. Stat. Assoc. 88:9-25,
    doi:10.1080/01621459.1993.10594284, from memory): Fisher scoring on the working response, the ratio of the
    dispersion to the variance between rows found by restricted likelihood at every step.
    """
    X = looks.design()
    # A few places that happen to be looked at twice tell nothing of how rows differ for good
    repeats = len(looks.x) >= 1.3 * looks.rows
    beta = _start(looks, X, low, high)
    eta, ratio, at_rest = X @ beta, math.inf, False
    solved = None
    for _ in range(_STEPS):
        share = expit(np.clip(eta, -30.0, 30.0))
        mean = low + (high - low) * share
        slope = np.maximum((high - low) * share * (1.0 - share), 1e-9)
        W = looks.weight * slope**2 / np.maximum(mean * (1.0 - mean), 1e-9)
        z = eta + (looks.grass - mean) / slope
        if repeats:
            ratio = _ratio(X, z, W, looks, ratio)
        solved = _solve(X, z, W, looks, ratio)
        moved = float(np.abs(solved.eta - eta).max())
        # Steps of a few units at most: far out on the plateau the working response would jump over the hill
        eta = eta + (solved.eta - eta) * min(1.0, 4.0 / max(moved, 1e-300))
        if moved < 1e-9 * (1.0 + float(np.abs(eta).max())):
            at_rest = True
            break
        at_rest = moved < 1e-3
    if solved is None:  # pragma: no cover - _STEPS is over 0
        raise ArithmeticError
    share = expit(np.clip(solved.eta, -30.0, 30.0))
    mean = low + (high - low) * share
    freedom = max(len(z) - solved.used, 1.0)
    pearson = looks.weight * (looks.grass - mean) ** 2 / np.maximum(mean * (1.0 - mean), 1e-4)
    # The REML dispersion of the working response agrees with Pearson's where cover is not near 0 or 1; the latter is
    # what a binomial fit reports, and the former is what the ratio was found with.
    dispersion = solved.dispersion if repeats else float(pearson.sum()) / freedom
    row_variance = 0.0 if math.isinf(ratio) else dispersion / ratio
    return Fitted(solved.beta, solved.inverse * dispersion, dispersion, row_variance, at_rest)


@dataclass(frozen=True)
class _Solved:
    beta: FloatArray
    inverse: FloatArray
    eta: FloatArray
    dispersion: float
    used: float
    criterion: float


def _solve(X: FloatArray, z: FloatArray, W: FloatArray, looks: Looks, ratio: float) -> _Solved:
    """Solve the weighted problem with rows shrunk by ``ratio`` (infinite: no row effect)."""
    rows, row = looks.rows, looks.row
    WX, Wz = X * W[:, None], z * W
    of_row: FloatArray = np.bincount(row, W, rows).astype(np.float64)
    shrink = 1.0 / (ratio + of_row) if math.isfinite(ratio) else np.zeros(rows)
    R = np.column_stack([np.bincount(row, column, rows) for column in WX.T])
    r = np.bincount(row, Wz, rows)
    A = X.T @ WX - (R * shrink[:, None]).T @ R
    # A ridge in units of the looks themselves
    A[np.diag_indices_from(A)] += 1.0 / _PRIOR_SD**2
    b = X.T @ Wz - (R * shrink[:, None]).T @ r
    inverse: FloatArray = np.asarray(np.linalg.inv(A), dtype=np.float64)
    beta = inverse @ b
    u = shrink * (r - R @ beta)
    eta = X @ beta + u[row]
    left = float((W * (z - X @ beta) * (z - eta)).sum())
    freedom = max(len(z) - X.shape[1], 1)
    dispersion = max(left / freedom, 1e-8)
    log_v = float(np.log1p(of_row / ratio).sum()) if math.isfinite(ratio) else 0.0
    criterion = freedom * math.log(dispersion) + log_v + float(np.linalg.slogdet(A)[1])
    return _Solved(beta, inverse, eta, dispersion, float(X.shape[1]), criterion)


def _ratio(X: FloatArray, z: FloatArray, W: FloatArray, looks: Looks, before: float) -> float:
    """Return the ratio of dispersion to variance between rows that the restricted likelihood prefers."""
    typical = math.log(float(np.bincount(looks.row, W, looks.rows).mean()) + 1e-9)
    found = minimize_scalar(
        lambda log_ratio: _solve(X, z, W, looks, math.exp(log_ratio)).criterion,
        bounds=(typical - _MOST_LOG_RATIO, typical + _MOST_LOG_RATIO / 2.0), method="bounded",
        options={"xatol": 1e-4, "maxiter": 40},
    )
    none = _solve(X, z, W, looks, math.inf).criterion
    return math.exp(float(found.x)) if float(found.fun) < none - 1e-9 else math.inf


def _start(looks: Looks, X: FloatArray, low: float, high: float) -> FloatArray:
    """Return coefficients of a least-squares line through shrunken logits: near enough to start from."""
    share = np.clip((looks.grass - low) / (high - low), 0.0, 1.0)
    share = (share * looks.weight + 0.5) / (looks.weight + 1.0)
    logit = np.log(share / (1.0 - share))
    A = X.T @ (X * looks.weight[:, None]) + np.eye(X.shape[1]) * 1e-3 * looks.weight.mean()
    return np.asarray(np.linalg.solve(A, X.T @ (looks.weight * logit)))


def fit_plateaus(looks: Looks) -> tuple[float, float]:
    """Return the shares that cover levels off at, far up and far down the hill; 0 and 1 unless the looks say otherwise.

    Notes
    -----
    Quasi-likelihood of the fixed effects, with and without plateaus; these are believed only where the F ratio of the
    gain to the dispersion has a chance under 1 % (looks of one row are alike, so a gentler test would see plateaus
    where there is only luck).
    """
    from scipy.stats import f as f_distribution

    X = looks.design()
    start = _start(looks, X, 0.0, 1.0)
    plain, beta = _quasi(looks, X, np.concatenate([start, [0.0, 1.0]]), free=False)
    best, values = _quasi(looks, X, np.concatenate([beta[:-2], [0.05, 0.95]]), free=True)
    low, high = float(values[-2]), float(values[-1])
    mean = low + (high - low) * expit(X @ values[:-2])
    freedom = looks.rows * min(looks.surveys, 2) - len(values)
    if freedom < 3 or (low < 0.02 and high > 0.98):
        return 0.0, 1.0
    dispersion = float((looks.weight * (looks.grass - mean) ** 2 / np.maximum(mean * (1 - mean), 1e-4)).sum())
    dispersion /= max(len(looks.x) - len(values), 1)
    gain = (plain - best) / max(dispersion, 1e-9)
    return (low, high) if f_distribution.sf(gain, 2, freedom) < 0.01 else (0.0, 1.0)


def _quasi(looks: Looks, X: FloatArray, start: FloatArray, *, free: bool) -> tuple[float, FloatArray]:
    """Return the least negative quasi-likelihood, and its coefficients with the two plateaus at their end."""
    total = float(looks.weight.sum())

    def slope(values: FloatArray) -> tuple[float, FloatArray]:
        low, high = values[-2:]
        eta = np.clip(X @ values[:-2], -30.0, 30.0)
        share = expit(eta)
        mean = np.clip(low + (high - low) * share, 1e-9, 1.0 - 1e-9)
        fit = looks.weight * (xlogy(looks.grass, mean) + xlogy(1.0 - looks.grass, 1.0 - mean))
        by_mean = looks.weight * (looks.grass - mean) / (mean * (1.0 - mean))
        by_eta = by_mean * (high - low) * share * (1.0 - share)
        gradient = np.concatenate([X.T @ by_eta, [by_mean @ (1.0 - share), by_mean @ share]])
        gradient[:-2] -= values[:-2] / _PRIOR_SD**2
        if not free:
            gradient[-2:] = 0.0
        ridge = 0.5 * float((values[:-2] ** 2).sum()) / _PRIOR_SD**2
        return (ridge - float(fit.sum())) / total, -gradient / total

    bounds = [(None, None)] * (len(start) - 2) + ([(0.0, 0.45), (0.55, 1.0)] if free else [(0.0, 0.0), (1.0, 1.0)])
    found = minimize(slope, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 200})
    return float(found.fun) * total, np.asarray(found.x)
