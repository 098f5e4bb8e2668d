"""The pressure model: counts of some trees in, expected count of every tree with its doubt out."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import replace
from typing import Self

import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._asking import Asking
from gridmap.pressure._fit import fit_walk, grid_weights
from gridmap.pressure._predict import COLUMNS, summarise
from gridmap.pressure._prior import MEAN_PER_BEAT, SD_MEAN, TREE_SHARE
from gridmap.pressure._tree_share import estimate_tree_share
from gridmap.pressure._walk import log_effort, positions, read_walk, whole_counts
from gridmap.pressure.past import PastLevel
from gridmap.pressure.where_next import pick_apart, worth_of_knowing
from gridmap.statistics import negative_binomial_log_normal_log_pmf


class PressureModel(Asking):
    """Tell what a standard beat of every tree would be expected to drop, how sure that is, and the chance it is over.

    Parameters
    ----------
    threshold : float or None
        The grower's action threshold [insects per standard beat], over 0; none is built in. None leaves ``chance_over``
        missing. It moves chances only, never a mean or a limit.
    standard_taps : float, default 3
        Taps of a standard beat; a beat of other taps counts in proportion.
    tree_share : float, optional
        Share phi (0 to 1) of the unevenness between beats that belongs to the tree and would be met again on a second
        beat. One count a tree can't tell it: without repeat beats of some trees on one visit it is taken for 0.25, with
        them it is estimated.
    past_mean_per_beat : float, optional
        Mean per standard beat that the grower goes by, where the common mean is looked for first. Without it, 2 per
        standard beat. Either way some ten trees overrule it, and it must never be derived from the threshold.
    past_level : PastLevel, optional
        The same from the grove's own past walks, with its doubt (`past_level`). Not of visits that `fit` is given too.

    Attributes
    ----------
    hyper_ : DataFrame
        Every grid point that was tried: range_m, spread, k, log_evidence, weight.
    spacing_factor_ : float
        How wide the walk was spaced, as a multiple of 15 m; ranges are scaled by it.
    blocks_ : tuple
        The blocks that were beaten; empty where no block was told.
    visits_ : tuple
        The visits, the oldest first; empty where no visit was told.
    tree_share_ : float
        The share that was used: what was given, estimated, or 0.25.

    Raises
    ------
    InputRefused
        For a threshold, taps or share outside its limits, or two levels.

    Notes
    -----
    y_i ~ NB(effort_i exp(eta_i), k), eta ~ N(m0, K), K_ij = sigma^2 exp(-2 d_ij / rho) + tau^2 [same block] + s_mu^2.
    With several visits d_ij becomes d_ij + c |visits apart|, and c is averaged over too. Over 300 beats, each tree is
    told by the two hundred beats about it.
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
    visits_: tuple[object, ...]

    def __init__(
        self, threshold: float | None, *, standard_taps: float = 3, tree_share: float | None = None,
        past_mean_per_beat: float | None = None, past_level: PastLevel | None = None,
    ) -> None:
        remedy = "give the count per standard beat at which you would spray"
        self.threshold = None if threshold is None else checks.number(
            threshold, "action threshold", "per standard beat", over=0.0, remedy=remedy
        )
        self.standard_taps = checks.number(standard_taps, "standard beat", "taps", over=0.0)
        self.tree_share = None if tree_share is None else checks.number(
            tree_share, "tree share", least=0.0, most=1.0
        )
        self.past_mean_per_beat = None if past_mean_per_beat is None else checks.number(
            past_mean_per_beat, "past mean", "per standard beat", over=0.0
        )
        if past_level is not None and past_mean_per_beat is not None:
            raise InputRefused("a past mean and a past level were both given", "there is one level", "leave one out")
        self.past_level = past_level
        self._fitted = None

    def fit(
        self, xy: object, counts: object, taps: object = None, block: object = None, suspected: object = None,
        visit: object = None, treated: object = None,
    ) -> Self:
        """Take in a walk, or the last few: which trees were beaten, and what fell.

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
        visit : sequence of shape (n,), optional
            Visit of each beat: dates, numbers or words whose order is that of time. What an older visit found counts
            for less, by as much as the counts themselves say. Without it all beats are of one visit.
        treated : sequence of shape (n,), optional
            Name of the last treatment that the tree had had before that visit, among those between the visits given;
            None, False or 0 for none (True serves where there is one). A treatment breaks the link: counts from before
            it say nothing of a treated tree's own place after it, and treated trees have a level of their own.

        Returns
        -------
        PressureModel
            Itself.

        Raises
        ------
        InputRefused
            No count at all, a count or taps that can't be, lengths that differ, visits without an order, over 100,000
            beats.

        Examples
        --------
        >>> model = PressureModel(5).fit([[0, 0], [9, 0], [0, 0]], [12, 8, 0],
        ...     visit=["2026-02-01", "2026-02-01", "2026-03-01"], treated=[False, False, True])
        >>> model.predict([[9, 0]], treated=[True])["median_per_beat"].item() < 3
        True
        """
        walk = read_walk(xy, counts, taps, block, suspected, self.standard_taps, visit, treated)
        level = self.past_level
        if level is None:
            level = PastLevel(MEAN_PER_BEAT if self.past_mean_per_beat is None else self.past_mean_per_beat, SD_MEAN, 0)
        fitted = self._fitted = fit_walk(replace(walk, sd_mean=level.sd_log), math.log(level.median_per_beat))
        self.hyper_ = pd.DataFrame({
            "range_m": fitted.tried.range_m, "spread": fitted.tried.spread, "k": fitted.tried.size,
            "log_evidence": fitted.log_evidence, "weight": grid_weights(fitted.tried, fitted.log_evidence),
        })
        self.spacing_factor_ = fitted.spacing_factor
        if fitted.tried.visit_m is not None:
            self.hyper_.insert(3, "visit_m", fitted.tried.visit_m)
        self.blocks_ = tuple(walk.blocks or ())
        self.visits_ = () if visit is None else walk.visits
        if self.tree_share is None:
            found = estimate_tree_share(fitted)
            self.tree_share_ = TREE_SHARE if found is None else found
        else:
            self.tree_share_ = self.tree_share
        return self

    def predict(
        self, xy: object, block: object = None, visit: Hashable = None, treated: object = None
    ) -> pd.DataFrame:
        """Tell each tree's expected count per standard beat with its limits, and the chance that it is over.

        Parameters
        ----------
        xy : array_like of shape (t, 2), or points
            Trees, same CRS as the walk.
        block : sequence of shape (t,), optional
            Block of each tree; needed when the walk told blocks.
        visit : hashable, optional
            One of the visits; the latest without it.
        treated : sequence of shape (t,), optional
            Last treatment of each tree before that visit; needed when `fit` was told treatments.

        Returns
        -------
        DataFrame
            mean_per_beat, median_per_beat, low_50, high_50, low_80, high_80, low_90, high_90 [insects per standard
            beat], chance_over (0 to 1, missing without a threshold) and informed (0: the walk taught nothing of this
            tree's own place, 1: everything), indexed like ``xy`` if it has an index. The mean lies over the upper
            50 % limit for one tree in ten; show the median with its limits, and cost with the mean.
        """
        asked = self._asked(xy, block, visit, treated)
        values = np.full((len(asked.xy), len(COLUMNS)), np.nan)
        for rows, curves in self._curves(asked):
            values[rows] = summarise(curves, self.threshold)
        return pd.DataFrame(values, columns=list(COLUMNS), index=_index_of(xy))

    def draw(
        self, xy: object, block: object = None, n: int = 200, seed: int = 0, visit: Hashable = None,
        treated: object = None,
    ) -> FloatArray:
        """Tell n ways the whole grove could be, given the walk, for limits of blocks, rows and costs.

        Parameters
        ----------
        xy, block, visit, treated
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
        times = int(checks.number(n, "number of draws", least=1))
        return self._draw(self._asked(xy, block, visit, treated), times, seed)

    def log_predictive_density(
        self, xy: object, counts: object, taps: object = None, block: object = None, visit: Hashable = None,
        treated: object = None,
    ) -> FloatArray:
        """Tell how well the map foresees counts that it has not seen.

        Parameters
        ----------
        xy, block, visit, treated
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
        asked = self._asked(xy, block, visit, treated)
        y = whole_counts(counts, len(asked.xy))
        effort = log_effort(taps, len(y), self.standard_taps)
        result = np.empty(len(y))
        for rows, curves in self._curves(asked, by_size=True):
            each = negative_binomial_log_normal_log_pmf(
                y[rows], curves.mean + effort[rows], curves.variance, curves.size[:, None]
            )
            result[rows] = np.logaddexp.reduce(each + np.log(curves.weight)[:, None], axis=0)
        return result

    def next_trees(
        self, xy: object, block: object = None, n: int = 20, cost_ratio: float = 4.0, treated: object = None
    ) -> IntArray:
        """Tell which trees to beat next, the most worth first: where a count would most likely change the decision.

        Parameters
        ----------
        xy, block, treated
            Trees that could be beaten, as in `predict`.
        n : int, default 20
            How many.
        cost_ratio : float, default 4
            Loss from a tree over the threshold that is left, over the cost of spraying one tree; over 1.

        Returns
        -------
        ndarray of shape (min(n, t),)
            Row numbers of ``xy``.

        Raises
        ------
        InputRefused
            Without a threshold, or with a ratio that is not over 1.

        Notes
        -----
        Worth is greatest where the chance of being over is 1 / cost_ratio; it is thinned by
        1 - exp(-(d / 15 m)^2) about trees that were beaten on the latest visit and those already chosen.

        Examples
        --------
        >>> model = PressureModel(5).fit([[0, 0], [200, 0]], [30, 0])
        >>> model.next_trees([[2, 0], [100, 0], [198, 0]], n=1).tolist()
        [1]
        >>> model.next_trees([]).tolist()
        []
        """
        if self.threshold is None:
            raise InputRefused("no threshold was given", "the next trees are those where it decides", "give yours")
        number = int(checks.number(n, "number of trees", least=1))
        chance = self.predict(xy, block, treated=treated)["chance_over"].to_numpy()
        walk = self._of_walk().walk
        beaten = walk.xy[walk.visit == len(walk.visits) - 1]
        return pick_apart(positions(xy), worth_of_knowing(chance, cost_ratio), beaten, number)


def _index_of(xy: object) -> pd.Index | None:
    """Return the index of a frame or series; a plain sequence has none."""
    index = getattr(xy, "index", None)
    return index if isinstance(index, pd.Index) else None
