"""Check trees: how many must stay unsprayed for a treatment to be proved, and which."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from gridmap.checks import number
from gridmap.errors import InputRefused


def check_trees_needed(
    mean_before: float, k: float, treated_trees: int, *, efficacy_percent: float, power: float = 0.8,
    level: float = 0.95, most: int = 200,
) -> int | None:
    """Tell how many check trees must stay unsprayed for a fall of a given size to be proved.

    Parameters
    ----------
    mean_before : float
        Expected count of a tree in the zone before the treatment [per beat].
    k : float
        Over-dispersion of the counts (size of the negative binomial).
    treated_trees : int
        Sprayed trees that are counted before and after.
    efficacy_percent : float
        Fall that is hoped for [percent].
    power : float
        Chance of proving it when it is there.
    level : float
        Confidence of the limits.
    most : int
        Most check trees that are thought of.

    Returns
    -------
    int or None
        Check trees, two at least; None where even ``most`` are too few (count more sprayed trees).

    Notes
    -----
    The z test of ln R with the variance of `efficacy_of_counts`: |ln R| >= (z_level + z_power) SE.

    Examples
    --------
    >>> check_trees_needed(8, 1.0, 20, efficacy_percent=85)
    8
    >>> check_trees_needed(0.2, 0.3, 5, efficacy_percent=50) is None
    True
    """
    mean = number(mean_before, "count before", "per beat", over=0)
    size = number(k, "k", over=0)
    share = number(efficacy_percent, "efficacy", "percent", over=0, most=99.9) / 100.0
    sprayed = int(number(treated_trees, "sprayed trees", least=1))
    reach = float(ndtri(0.5 + 0.5 * level) + ndtri(number(power, "power", over=0, most=0.999)))
    treated_variance = (1.0 / mean + 1.0 / (mean * (1.0 - share)) + 2.0 / size) / sprayed
    left = (math.log(1.0 - share) / reach) ** 2 - treated_variance
    if left <= 0:
        return None
    needed = math.ceil((2.0 / mean + 2.0 / size) / left)
    return max(needed, 2) if needed <= most else None


def power_of(
    mean_before: float, k: float, treated_trees: int, check_trees: int, *, efficacy_percent: float, level: float = 0.95
) -> float:
    """Tell the chance that a fall of a given size is proved with the check trees that were left.

    Parameters
    ----------
    mean_before, k, treated_trees, efficacy_percent, level
        As in `check_trees_needed`.
    check_trees : int
        Trees left unsprayed.

    Returns
    -------
    float
        Chance, 0 to 1.

    Examples
    --------
    >>> round(power_of(8, 1.0, 20, 6, efficacy_percent=85), 2)
    0.75
    """
    share = number(efficacy_percent, "efficacy", "percent", over=0, most=99.9) / 100.0
    mean, size = number(mean_before, "count before", "per beat", over=0), number(k, "k", over=0)
    sprayed = int(number(treated_trees, "sprayed trees", least=1))
    checks = int(number(check_trees, "check trees", least=1))
    variance = ((1.0 / mean + 1.0 / (mean * (1.0 - share)) + 2.0 / size) / sprayed
                + (2.0 / mean + 2.0 / size) / checks)
    return float(ndtr(-math.log(1.0 - share) / math.sqrt(variance) - ndtri(0.5 + 0.5 * level)))


def propose_check_trees(
    xy: npt.ArrayLike, expected: npt.ArrayLike, n: int, *, seed: int = 0
) -> npt.NDArray[np.int64]:
    """Name the trees to leave unsprayed: spread over the zone and over its light and heavy trees alike.

    Parameters
    ----------
    xy : array_like of shape (trees, 2)
        Trees of the zone, projected CRS [m].
    expected : array_like of shape (trees,)
        Expected count of each [per beat].
    n : int
        Check trees wanted.
    seed : int
        The same seed names the same trees.

    Returns
    -------
    ndarray of shape (n,)
        Indices of the chosen trees, in order.

    Notes
    -----
    Trees are ranked by what is expected and cut into ``n`` layers of one size; out of each layer the tree farthest from
    those already chosen is taken, the first at random. The check trees so have the zone's own mix of pressure
    (Henderson and Tilton's ratio needs the two groups to be alike in all but the spray).

    Examples
    --------
    >>> propose_check_trees([[0, 0], [5, 0], [10, 0], [15, 0]], [1, 9, 2, 8], 2).size
    2
    >>> propose_check_trees([], [], 0).size
    0
    """
    places = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    counts = np.asarray(expected, dtype=np.float64)
    wanted = int(number(n, "check trees", least=0))
    if wanted > max(len(places) - 1, 0):
        raise InputRefused(f"{wanted} check trees were asked for in a zone of {len(places)} trees",
                           "one tree at least must be sprayed", "ask for fewer")
    if not wanted:
        return np.empty(0, dtype=np.int64)
    random = np.random.default_rng(seed)
    # A little noise ranks trees of one expectation in no order of place.
    rank = np.lexsort((random.random(len(counts)), counts))
    layers = np.array_split(rank, wanted)
    chosen: list[int] = []
    for at in random.permutation(wanted):
        layer = layers[at]
        if chosen:
            gap = np.linalg.norm(places[layer][:, None] - places[chosen][None], axis=2).min(axis=1)
            chosen.append(int(layer[int(gap.argmax())]))
        else:
            chosen.append(int(random.choice(layer)))
    return np.sort(np.asarray(chosen, dtype=np.int64))
