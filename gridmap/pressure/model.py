"""The pressure model: counts of some trees in, expected count of every tree with its doubt out."""

from __future__ import annotations

import math
from typing import Self

import numpy as np
import pandas as pd
from scipy.special import ndtr

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._draw import draw_log_counts
from gridmap.pressure._fit import fit_walk, grid_weights
from gridmap.pressure._predict import Gathered, block_index, evaluate, gather
from gridmap.pressure._prior import MEAN_PER_BEAT
from gridmap.pressure._walk import Walk, block_names, log_effort, positions, read_walk, whole_counts
from gridmap.statistics import negative_binomial_log_normal_log_pmf, normal_mixture_quantiles

COLUMNS = (
    "mean_per_beat", "median_per_beat", "low_50", "high_50", "low_80", "high_80", "low_90", "high_90", "chance_over",
    "informed",
)
_LEVELS = (0.5, 0.25, 0.75, 0.1, 0.9, 0.05, 0.95)


class PressureModel:
    """Tell what a standard beat of every tree would be expected to drop, how sure that is, and the chance it is over.

    Parameters
    ----------
    threshold : float or None
        The grower's action threshold [insects per standard beat], over 0; none is built in. None leaves ``chance_over``
        missing. It moves chances only, never a mean or a limit.
    standard_taps : float, default 3
        Taps of a standard beat; a beat of other taps counts in proportion.
    tree_share : float, default 0
        Share (0 to 1) of the unevenness between beats that belongs to the tree and would be met again on a second beat.
        One count a tree can't tell it; repeat beats can.
    past_mean_per_beat : float, optional
        Mean per standard beat of the grower's past walks, where there are any: where the common mean is looked for
        first. Without it, 2 per standard beat. Either way some ten trees overrule it, and it must never be derived
        from the threshold.

    Attributes
    ----------
    hyper_ : DataFrame
        Every grid point that was tried: range_m, spread, k, log_evidence, weight.
    spacing_factor_ : float
        How wide the walk was spaced, as a multiple of 15 m; ranges are scaled by it.
    blocks_ : tuple
        The blocks that were beaten; empty where no block was told.

    Raises
    ------
    InputRefused
        For a threshold, taps or share outside its limits.

    Notes
    -----
    y_i ~ NB(effort_i exp(eta_i), k), eta ~ N(m0, K), K_ij = sigma^2 exp(-2 d_ij / rho) + tau^2 [same block] + s_mu^2.
    Laplace approximation with second-order correction of evidence and mean; range, sigma and k averaged over a grid.
    The page ``docs/pressure-model.md`` tells it in plain words, with what it can't know.

    References
    ----------
    Rasmussen, C. E. and Williams, C. K. I. (2006) Gaussian Processes for Machine Learning. MIT Press, algorithm 3.1.
    Fuglstad, G.-A. and others (2019) J. Am. Stat. Assoc. 114:445-452. doi:10.1080/01621459.2017.1415907.

    Examples
    --------
    >>> model = PressureModel(threshold=5)
    >>> walked = model.fit([[0, 0], [0, 6], [60, 0], [60, 6]], [9, 14, 0, 1], block=["east", "east", "west", "west"])
    >>> trees = walked.predict([[0, 3], [60, 3]], block=["east", "west"])
    >>> (trees["chance_over"] > 0.5).tolist()
    [True, False]
    >>> model.predict([], block=[]).shape
    (0, 10)
    >>> PressureModel(5).fit([], [])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: The walk holds no count: pressure needs at least one beaten tree. Beat a tree first.
    """

    hyper_: pd.DataFrame
    spacing_factor_: float
    blocks_: tuple[object, ...]

    def __init__(
        self, threshold: float | None, *, standard_taps: float = 3, tree_share: float = 0.0,
        past_mean_per_beat: float | None = None,
    ) -> None:
        remedy = "give the count per standard beat at which you would spray"
        self.threshold = None if threshold is None else checks.number(
            threshold, "action threshold", "per standard beat", over=0.0, remedy=remedy
        )
        self.standard_taps = checks.number(standard_taps, "standard beat", "taps", over=0.0)
        self.tree_share = checks.number(tree_share, "tree share", least=0.0, most=1.0)
        self.past_mean_per_beat = None if past_mean_per_beat is None else checks.number(
            past_mean_per_beat, "past mean", "per standard beat", over=0.0
        )
        self._walk: Walk | None = None

    def fit(
        self, xy: object, counts: object, taps: object = None, block: object = None, suspected: object = None
    ) -> Self:
        """Take in a walk: which trees were beaten, and what fell.

        Parameters
        ----------
        xy : array_like of shape (n, 2), or points
            Beaten trees, any projected CRS in metres; a tree beaten twice stands twice.
        counts : array_like of shape (n,)
            Insects counted, whole numbers.
        taps : array_like of shape (n,) or float, optional
            Taps of each beat; standard beats without it.
        block : sequence of shape (n,), optional
            Block of each tree, any hashable; without it there is no block term.
        suspected : array_like of shape (n,) of bool, optional
            True where the tree was beaten because it looked bad. Such beats share an offset of their own, estimated,
            so that they tell of their neighbourhood and don't lift the whole map.

        Returns
        -------
        PressureModel
            Itself.

        Raises
        ------
        InputRefused
            No count at all, a count or taps that can't be, lengths that differ, over 2,000 beats.
        """
        walk = read_walk(xy, counts, taps, block, suspected, self.standard_taps)
        fitted = fit_walk(walk, self._log_mean)
        self._walk, self._fitted = walk, fitted
        self._gathered = self._gather(by_size=False)
        self.hyper_ = pd.DataFrame({
            "range_m": fitted.tried.range_m, "spread": fitted.tried.spread, "k": fitted.tried.size,
            "log_evidence": fitted.log_evidence, "weight": grid_weights(fitted.tried, fitted.log_evidence),
        })
        self.spacing_factor_ = fitted.spacing_factor
        self.blocks_ = tuple(walk.blocks or ())
        return self

    def predict(self, xy: object, block: object = None) -> pd.DataFrame:
        """Tell each tree's expected count per standard beat with its limits, and the chance that it is over.

        Parameters
        ----------
        xy : array_like of shape (t, 2), or points
            Trees, same CRS as the walk.
        block : sequence of shape (t,), optional
            Block of each tree; needed when the walk told blocks.

        Returns
        -------
        DataFrame
            mean_per_beat, median_per_beat, low_50, high_50, low_80, high_80, low_90, high_90 [insects per standard
            beat], chance_over (0 to 1, missing without a threshold) and informed (0: the walk taught nothing of this
            tree's own place, 1: everything), indexed like ``xy`` if it has an index. The mean lies over the upper
            50 % limit for one tree in ten; show the median with its limits, and cost with the mean.
        """
        walk, place, number = self._trees(xy, block)
        curves = evaluate(walk, self._gathered, place, number)
        sd = np.sqrt(curves.variance)
        limits = np.exp(normal_mixture_quantiles(curves.weight, curves.mean, sd, _LEVELS))
        mean = curves.weight @ np.exp(curves.mean + 0.5 * curves.variance)
        over = np.full(len(place), np.nan)
        if self.threshold is not None:
            over = np.clip(curves.weight @ ndtr((curves.mean - math.log(self.threshold)) / sd), 0.0, 1.0)
        values = np.column_stack([mean, *limits, over, curves.informed])
        return pd.DataFrame(values, columns=list(COLUMNS), index=_index_of(xy))

    def draw(self, xy: object, block: object = None, n: int = 200, seed: int = 0) -> FloatArray:
        """Tell n ways the whole grove could be, given the walk, for limits of blocks, rows and costs.

        Parameters
        ----------
        xy, block
            As in `predict`.
        n : int, default 200
            Number of joint draws.
        seed : int, default 0
            Same seed, same trees: same draws.

        Returns
        -------
        ndarray of shape (n, t)
            Expected count of each tree per standard beat [insects].

        Examples
        --------
        >>> PressureModel(None).fit([[0, 0]], [3]).draw([[0, 0], [5, 0]], n=4).shape
        (4, 2)
        """
        walk, place, number = self._trees(xy, block)
        times = int(checks.number(n, "number of draws", least=1))
        rng = np.random.default_rng(seed)
        logs, point = draw_log_counts(walk, self._fitted, place, number, self._log_mean, times, rng)
        if self.tree_share > 0:
            share = self._share_variance()[point][:, None]
            logs += np.sqrt(share) * rng.standard_normal(logs.shape) - 0.5 * share
        return np.exp(logs)

    def log_predictive_density(
        self, xy: object, counts: object, taps: object = None, block: object = None
    ) -> FloatArray:
        """Tell how well the map foresees counts that it has not seen.

        Parameters
        ----------
        xy, block
            As in `predict`.
        counts : array_like of shape (t,)
            Counts held out [insects].
        taps : array_like of shape (t,) or float, optional
            Their taps; standard beats without it.

        Returns
        -------
        ndarray of shape (t,)
            Log probability of each count under the negative binomial, averaged over all that is not known. It does
            not depend on ``tree_share``, which only says how the unevenness of one beat divides.
        """
        walk, place, number = self._trees(xy, block)
        y = whole_counts(counts, len(place))
        effort = log_effort(taps, len(place), self.standard_taps)
        by_size = self._gather(by_size=True)
        curves = evaluate(walk, by_size, place, number)
        each = negative_binomial_log_normal_log_pmf(y, curves.mean + effort, curves.variance, curves.size[:, None])
        return np.asarray(np.logaddexp.reduce(each + np.log(curves.weight)[:, None], axis=0))

    @property
    def _log_mean(self) -> float:
        return math.log(MEAN_PER_BEAT if self.past_mean_per_beat is None else self.past_mean_per_beat)

    def _share_variance(self) -> FloatArray:
        """Return phi log(1 + 1/k) of each grid point: gamma unevenness of size k as a log-normal of the same spread."""
        return np.asarray(self.tree_share * np.log1p(1.0 / self._fitted.points.size))

    def _gather(self, *, by_size: bool) -> list[Gathered]:
        # A count's own unevenness already holds the tree's share, so predictive counts get none on top.
        share = np.zeros(len(self._fitted.points)) if by_size else self._share_variance()
        fitted = self._fitted
        return gather(
            self._fitted_walk(), fitted.points, fitted.posterior, fitted.weight, log_mean=self._log_mean,
            shift=-0.5 * share, extra=share, by_size=by_size,
        )

    def _fitted_walk(self) -> Walk:
        if self._walk is None:
            raise InputRefused("the model has seen no walk", "a map needs counts", "call fit with a walk first")
        return self._walk

    def _trees(self, xy: object, block: object) -> tuple[Walk, FloatArray, IntArray]:
        """Return the walk, and positions and block numbers of the trees asked for."""
        walk, place = self._fitted_walk(), positions(xy)
        if walk.blocks is not None and block is None:
            raise InputRefused("the trees come without blocks, but the walk told them", "give the block of each tree")
        names = None if block is None else block_names(block, len(place))
        return walk, place, block_index(walk, names, len(place))


def _index_of(xy: object) -> pd.Index | None:
    """Return the index of a frame or series; a plain sequence has none."""
    index = getattr(xy, "index", None)
    return index if isinstance(index, pd.Index) else None
