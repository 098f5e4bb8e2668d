"""Plainer ways to foresee a count, kindly treated, and how the pressure model compares with them."""

from __future__ import annotations

import math
from collections.abc import Hashable

import numpy as np
import pandas as pd
from scipy.spatial.distance import cdist

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.pressure._prior import usual_spacing_m
from gridmap.pressure._walk import Walk, block_names, log_effort, positions, read_walk, whole_counts
from gridmap.pressure.model import PressureModel
from gridmap.statistics import fit_negative_binomial_k, negative_binomial_log_pmf

_POWER = 2.0
# Distances count as at least this share of the usual one between beats: one count close by is not believed alone.
_NEAREST_SHARE = 0.5


def block_mean_log_density(
    xy: object, counts: object, held_xy: object, held_counts: object, *, taps: object = None, held_taps: object = None,
    block: object = None, held_block: object = None, standard_taps: float = 3,
) -> FloatArray:
    """Tell how well the plain mean of each block foresees held-out counts.

    Parameters
    ----------
    xy, counts, taps, block
        The walk, as in `PressureModel.fit`; without blocks the grove is one block.
    held_xy, held_counts, held_taps, held_block
        Trees and counts held out.
    standard_taps : float, default 3
        Taps of a standard beat.

    Returns
    -------
    ndarray of shape (t,)
        Natural logarithm of the probability of each held-out count.

    Raises
    ------
    InputRefused
        As `PressureModel.fit`.

    Notes
    -----
    Negative-binomial noise with k of most likelihood, fitted to each count against the mean of the *others* of its
    block; half an insect is added to each block's total and half a beat to its effort times one over the grove's mean,
    so that a block of zeros is not taken for certain. A block never beaten gets the grove's mean.

    Examples
    --------
    >>> block_mean_log_density([[0, 0], [9, 0]], [1, 3], [[5, 0]], [2]).round(2)
    array([-1.56])
    """
    walk, place, y, effort, names = _held(
        xy, counts, taps, block, held_xy, held_counts, held_taps, held_block, standard_taps
    )
    own = np.exp(walk.log_effort)
    grove = (walk.counts.sum() + 0.5) / (own.sum() + 0.5)
    known = walk.blocks or {}
    totals = np.bincount(walk.block, walk.counts) + 0.5
    efforts = np.bincount(walk.block, own) + 0.5 / grove
    left_out = (totals[walk.block] - walk.counts) / (efforts[walk.block] - own)
    k = fit_negative_binomial_k(walk.counts, left_out * own)
    means = totals / efforts
    if names is None:
        mean = np.full(len(place), means[0])
    else:
        mean = np.array([means[known[name]] if name in known else grove for name in names])
    return negative_binomial_log_pmf(y, mean * effort, k)


def inverse_distance_log_density(
    xy: object, counts: object, held_xy: object, held_counts: object, *, taps: object = None, held_taps: object = None,
    standard_taps: float = 3,
) -> FloatArray:
    """Tell how well the mean of near counts, weighted by inverse squared distance, foresees held-out counts.

    Parameters
    ----------
    xy, counts, taps, held_xy, held_counts, held_taps, standard_taps
        As in `block_mean_log_density`.

    Returns
    -------
    ndarray of shape (t,)
        Natural logarithm of the probability of each held-out count.

    Raises
    ------
    InputRefused
        As `PressureModel.fit`.

    Notes
    -----
    Weights 1 / distance^2 over all beats (Shepard 1968, doi:10.1145/800186.810616); negative-binomial noise with k of
    most likelihood, fitted to each count against what the *others* foretell. Two kindnesses: half an insect in all is
    spread evenly over the beats, and distances count as at least half the usual one between neighbouring beats, so
    that a zero close by is not taken for certain.

    Examples
    --------
    >>> inverse_distance_log_density([[0, 0], [9, 0]], [1, 3], [[4.5, 0]], [2]).round(2)
    array([-1.64])
    """
    walk, place, y, effort, _ = _held(xy, counts, taps, None, held_xy, held_counts, held_taps, None, standard_taps)
    own = np.exp(walk.log_effort)
    lift = 0.5 / len(walk.counts)
    least = _NEAREST_SHARE * usual_spacing_m(walk.xy)
    between = np.maximum(cdist(walk.xy, walk.xy), least) ** -_POWER
    np.fill_diagonal(between, 0.0)
    # A single count can't tell k; 1 is kinder to the method than Poisson.
    k = 1.0
    if len(walk.counts) > 1:
        left_out = (between @ (walk.counts + lift)) / (between @ own)
        k = fit_negative_binomial_k(walk.counts, left_out * own)
    weight = np.maximum(cdist(place, walk.xy), least) ** -_POWER
    mean = (weight @ (walk.counts + lift)) / (weight @ own)
    return negative_binomial_log_pmf(y, mean * effort, k)


def compare(
    xy: object, counts: object, held_xy: object, held_counts: object, *, taps: object = None, held_taps: object = None,
    block: object = None, held_block: object = None, suspected: object = None, standard_taps: float = 3,
) -> pd.DataFrame:
    """Tell how well counts that were held out are foreseen by the pressure model, block means and inverse distance.

    Parameters
    ----------
    xy, counts, taps, block, suspected
        The walk, as in `PressureModel.fit`; the plainer ways know no suspicion.
    held_xy, held_counts, held_taps, held_block
        Trees and counts held out.
    standard_taps : float, default 3
        Taps of a standard beat.

    Returns
    -------
    DataFrame
        method (pressure_model, block_mean, inverse_distance), log_score_per_count (nearer to 0 is better),
        model_ahead (the pressure model's score less this one's), standard_error (of model_ahead, paired count by
        count), held_out (number of counts).

    Raises
    ------
    InputRefused
        As `PressureModel.fit`, and when nothing was held out.

    Notes
    -----
    The score is the mean natural logarithm of the probability that was given to the count that came (Good 1952,
    J. R. Stat. Soc. B 14:107-114, doi:10.1111/j.2517-6161.1952.tb00104.x). The standard error takes counts as
    independent of each other; those near each other are not quite, so it is somewhat small.

    Examples
    --------
    >>> compare([[0, 0], [9, 0]], [1, 3], [[5, 0], [6, 0]], [2, 1])["method"].tolist()
    ['pressure_model', 'block_mean', 'inverse_distance']
    """
    if len(positions(held_xy)) == 0:
        raise InputRefused("no count was held out", "a comparison needs counts that the map has not seen")
    both = {"taps": taps, "held_taps": held_taps, "standard_taps": standard_taps}
    model = PressureModel(None, standard_taps=standard_taps).fit(
        xy, counts, taps=taps, block=block, suspected=suspected
    )
    ours = model.log_predictive_density(held_xy, held_counts, taps=held_taps, block=held_block)
    scores = {
        "pressure_model": ours,
        "block_mean": block_mean_log_density(
            xy, counts, held_xy, held_counts, block=block, held_block=held_block, **both  # type: ignore[arg-type]
        ),
        "inverse_distance": inverse_distance_log_density(xy, counts, held_xy, held_counts, **both),  # type: ignore[arg-type]
    }
    lines = []
    for method, score in scores.items():
        ahead = ours - score
        error = float(ahead.std(ddof=1) / math.sqrt(len(ahead))) if len(ahead) > 1 else math.nan
        lines.append((method, float(score.mean()), float(ahead.mean()), error, len(ahead)))
    return pd.DataFrame(
        lines, columns=["method", "log_score_per_count", "model_ahead", "standard_error", "held_out"]
    )


def _held(
    xy: object, counts: object, taps: object, block: object, held_xy: object, held_counts: object, held_taps: object,
    held_block: object, standard_taps: float,
) -> tuple[Walk, FloatArray, FloatArray, FloatArray, list[Hashable] | None]:
    """Return the walk, and positions, counts, effort and blocks of what was held out."""
    walk = read_walk(xy, counts, taps, block, None, checks.number(standard_taps, "standard beat", "taps", over=0.0))
    place = positions(held_xy)
    names = None if held_block is None or walk.blocks is None else block_names(held_block, len(place))
    effort = np.exp(log_effort(held_taps, len(place), standard_taps))
    return walk, place, whole_counts(held_counts, len(place)), effort, names
