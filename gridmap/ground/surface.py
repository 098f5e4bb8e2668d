"""A smooth ground through heights that were measured at trees, some of them wrong."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import eigh, null_space, solve_triangular

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray
from gridmap.errors import InputMissing, InputRefused

# Usual tuning constants: 95 % efficiency for normal errors (Holland & Welsch 1977).
_HUBER, _BISQUARE = 1.345, 4.685
# Heights of phones, receivers and DEMs repeat no better than this (own floor, no source): below it nothing is wrong.
_LEAST_NOISE_M: Final = 0.1
# Each effective parameter counts 1.4 times, which keeps the choice from following noise (Kim & Gu 2004, section 4.2).
_COST: Final = 1.4
_MOST_KNOTS: Final = 80
# Fewer heights than this carry a tilted plane and nothing more; a curved ground wants several per knot.
_LEAST_FOR_CURVES: Final = 12
# Trees whose width across their longest line is under 2 % of its length tell nothing about the fall across it.
_THIN: Final = 0.02


class HeightSurface:
    """The ground through noisy heights: as smooth as they allow, a tilted plane when nothing more can be seen.

    Parameters
    ----------
    bend : bool, optional
        Let the ground curve (the default); False fits the best tilted plane.

    Attributes
    ----------
    noise_m_ : float
        Scatter of the heights about the ground [m], by the median absolute deviation; wrong ones don't raise it.
    wrong_ : (n,) array of bool
        Heights so far off that they were left out (over 4.685 times the scatter); False where none was given.
    parameters_ : float
        Effective number of parameters: 3 is a plane.

    Notes
    -----
    Thin-plate regression: z = b0 + b1 x + b2 y + sum d_j r_j^2 log r_j over up to 80 knots spread among the trees, with
    a penalty on bending. How smooth is chosen by generalised cross-validation with 1.4 per parameter. Heights are
    reweighted by their residuals: Huber's weights first, then Tukey's biweight, scale by the median absolute deviation.
    A plane is fitted exactly whatever the smoothness. Errors that neighbours share (a receiver drifting along a walk)
    can't be told from ground.

    References
    ----------
    Wood (2003), Thin plate regression splines, Journal of the Royal Statistical Society B 65:95-114,
    doi:10.1111/1467-9868.00374. Kim & Gu (2004), Smoothing spline Gaussian regression, ibid. 66:337-356,
    doi:10.1046/j.1369-7412.2003.05316.x (from memory). Holland & Welsch (1977), Robust regression using iteratively
    reweighted least-squares, Communications in Statistics A6:813-827, doi:10.1080/03610927708827533.

    Examples
    --------
    >>> trees = [[0, 0], [10, 0], [0, 10], [10, 10], [5, 5]]
    >>> ground = HeightSurface().fit(trees, [100, 101, 100, 101, 100.5])
    >>> ground.predict([[20, 0]]).round(6).tolist()
    [102.0]
    >>> HeightSurface().fit(trees, [100, 101, None, None, None])
    Traceback (most recent call last):
    gridmap.errors.InputMissing: Only 2 trees have a height: 3 are needed to tell the fall of the ground. Give heights
    of more trees, a DEM, or the uphill bearing.
    """

    def __init__(self, *, bend: bool = True) -> None:
        self.bend = bend

    def fit(self, xy: npt.ArrayLike, elevation_m: npt.ArrayLike) -> HeightSurface:
        """Learn the ground from tree positions [m] and their heights [m] (NaN where a tree has none).

        Raises
        ------
        InputMissing
            Fewer than three heights, or all of them on one line.
        """
        places = checks.points(xy, "tree positions")
        heights = _heights(elevation_m, len(places))
        known = np.isfinite(heights)
        self._check_spread(places[known])
        at, z = places[known], heights[known]
        self._middle = at.mean(axis=0)
        self._size = float(np.sqrt(np.square(at - self._middle).sum(axis=1).mean()))
        scaled = (at - self._middle) / self._size
        self._knots, self._bending = _knots(scaled) if self.bend else (np.empty((0, 2)), np.empty((0, 0)))
        # Heights about their middle: GCV then works on metres, not on the height above the sea.
        self._level = float(np.median(z))
        self._solve(self._design(scaled), z - self._level)
        wrong = np.zeros(len(places), dtype=bool)
        wrong[known] = self._weights == 0
        self.wrong_: BoolArray = wrong
        return self

    def predict(self, xy: npt.ArrayLike) -> FloatArray:
        """Give the height of the ground [m] at map positions (n, 2) [m]."""
        scaled = (checks.points(xy) - self._middle) / self._size
        return self._level + self._design(scaled) @ self._coefficients

    def gradient(self, xy: npt.ArrayLike) -> FloatArray:
        """Give the rise per metre toward east and toward north, (n, 2), at map positions (n, 2) [m]."""
        scaled = (checks.points(xy) - self._middle) / self._size
        b = self._coefficients
        result = np.tile(b[1:3], (len(scaled), 1))
        if len(self._knots):
            apart = scaled[:, None] - self._knots[None]
            squared = np.square(apart).sum(axis=2)
            # d/dx of r^2 log r = (log r^2 + 1) x, which goes to 0 with r.
            with np.errstate(divide="ignore"):
                steep = np.where(squared > 0, np.log(squared) + 1, 0.0)
            result += np.einsum("nk,nkd,k->nd", steep, apart, self._bending @ b[3:])
        return result / self._size

    @property
    def covariance_(self) -> FloatArray:
        """Covariance of the mean gradient of a plane fit, (2, 2), toward east and north."""
        return self._covariance[1:3, 1:3] / self._size**2

    def _design(self, scaled: FloatArray) -> FloatArray:
        plane = np.column_stack([np.ones(len(scaled)), scaled])
        if not len(self._knots):
            return plane
        return np.hstack([plane, _plate(scaled, self._knots) @ self._bending])

    def _solve(self, design: FloatArray, z: FloatArray) -> None:
        """Reweight and fit until the heights left out stay the same ones."""
        penalty = np.zeros((design.shape[1],) * 2)
        if len(self._knots):
            penalty[3:, 3:] = self._bending.T @ _plate(self._knots, self._knots) @ self._bending
        weights = _huber(z - design[:, :3] @ _plane(design[:, :3], z))
        for step in range(20):
            before = weights
            fitted, self._coefficients, self.parameters_, self._covariance = _ridge(design, penalty, z, weights)
            # Three heights fit a plane without any scatter to judge them by.
            weights = (_huber if step < 5 else _bisquare)(z - fitted) if len(z) > 4 else np.ones(len(z))
            if step > 5 and np.abs(weights - before).max() < 1e-3:
                break
        self.noise_m_ = _scale(z - fitted)
        self._covariance *= max(self.noise_m_, 1e-9) ** 2
        self._weights = weights

    @staticmethod
    def _check_spread(at: FloatArray) -> None:
        remedy = "give heights of more trees, a DEM, or the uphill bearing"
        if len(at) < 3:
            what = f"only {len(at)} trees have a height" if len(at) else "no tree has a height"
            raise InputMissing(what, "3 are needed to tell the fall of the ground", remedy, missing=["tree heights"])
        long, wide = np.linalg.svd(at - at.mean(axis=0), compute_uv=False)
        if wide <= _THIN * long:
            raise InputMissing(
                "all trees with a height stand on one line", "that tells nothing about the fall across it", remedy,
                missing=["tree heights beside the line"],
            )  # fmt: skip


def _heights(elevation_m: npt.ArrayLike, number: int) -> FloatArray:
    heights = np.array(elevation_m, dtype=np.float64)
    if heights.shape != (number,):
        raise InputRefused(f"heights have shape {heights.shape}", f"there must be one for each of the {number} trees")
    heights[~np.isfinite(heights)] = np.nan
    return heights


def _plate(at: FloatArray, knots: FloatArray) -> FloatArray:
    """Return r^2 log r between positions and knots."""
    squared = np.square(at[:, None] - knots[None]).sum(axis=2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(squared > 0, 0.5 * squared * np.log(squared), 0.0)


def _knots(scaled: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spread knots among the trees, each as far as can be from those before; and the bendings that they allow."""
    number = min(_MOST_KNOTS, len(scaled) // 3)
    if len(scaled) < _LEAST_FOR_CURVES:
        return np.empty((0, 2)), np.empty((0, 0))
    chosen = [int(np.square(scaled).sum(axis=1).argmax())]
    apart = np.square(scaled - scaled[chosen[0]]).sum(axis=1)
    while len(chosen) < number and apart.max() > 1e-12:
        chosen.append(int(apart.argmax()))
        apart = np.minimum(apart, np.square(scaled - scaled[chosen[-1]]).sum(axis=1))
    knots = scaled[chosen]
    # Bendings that leave the plane alone: sum d = sum d x = sum d y = 0.
    return knots, null_space(np.column_stack([np.ones(len(knots)), knots]).T)


def _ridge(
    design: FloatArray, penalty: FloatArray, z: FloatArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray, float, FloatArray]:
    """Fit with the smoothness that generalised cross-validation chooses."""
    root = np.sqrt(weights)
    Q, R = np.linalg.qr(root[:, None] * design)
    # Demmler-Reinsch basis: in it the fit at every smoothness is a shrinking of each coordinate on its own.
    half = solve_triangular(R, np.eye(len(R)), check_finite=False)
    rough, U = eigh(half.T @ penalty @ half)
    rough = np.clip(rough, 0, None)
    rough[:3] = 0.0  # the plane is never shrunk
    part = U.T @ (Q.T @ (root * z))
    number = float((weights > 0).sum())
    outside = max(float(np.square(root * z).sum() - np.square(part).sum()), 0.0)
    # One line per smoothness, the plane first: it is kept unless something bent is better by more than rounding.
    plane = np.where(rough > 0, 0.0, 1.0)
    trials = np.logspace(6, -8, 57) / max(float(np.median(rough[3:])) if len(rough) > 3 else 1.0, 1e-30)
    kept = np.vstack([plane, 1 / (1 + np.outer(trials, rough))])
    left = np.maximum(number - _COST * kept.sum(axis=1), 1e-3)
    score = (outside + np.square((1 - kept) * part).sum(axis=1) + 1e-12) / np.square(left)
    shrink = kept[np.flatnonzero(score <= score.min() * (1 + 1e-6))[0]]
    coefficients = half @ (U @ (shrink * part))
    covariance = half @ (U * shrink**2) @ U.T @ half.T
    return design @ coefficients, coefficients, float(shrink.sum()), covariance


def _plane(design: FloatArray, z: FloatArray) -> FloatArray:
    """Fit a plane that half of the heights can't pull away (starting point)."""
    weights: FloatArray = np.ones(len(z))
    coefficients: FloatArray = np.zeros(3)
    for _ in range(20):
        root = np.sqrt(weights)
        found = np.linalg.lstsq(root[:, None] * design, root * z, rcond=None)[0]
        coefficients = np.asarray(found, dtype=np.float64)
        # Weights 1/|r|: least absolute deviations.
        weights = np.asarray(1 / np.maximum(np.abs(z - design @ coefficients), 1e-3), dtype=np.float64)
    return coefficients


def _scale(residual: FloatArray) -> float:
    """Return the scatter by the median absolute deviation; 1.4826 makes it the standard deviation of a normal one."""
    return float(1.4826 * np.median(np.abs(residual - np.median(residual))))


def _huber(residual: FloatArray) -> FloatArray:
    size = np.abs(residual) / max(_scale(residual), _LEAST_NOISE_M)
    return np.where(size <= _HUBER, 1.0, _HUBER / np.maximum(size, 1e-12))


def _bisquare(residual: FloatArray) -> FloatArray:
    size = np.abs(residual) / (_BISQUARE * max(_scale(residual), _LEAST_NOISE_M))
    return np.where(size < 1, np.square(1 - np.square(size)), 0.0)
