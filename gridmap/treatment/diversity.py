"""How many kinds of beneficials a walk found, told so that rare kinds don't decide it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from gridmap.errors import InputRefused


class GroupDiversity(NamedTuple):
    """Hill numbers: groups seen, groups as common as the usual one, groups as common as the dominant one."""

    order_0: float
    order_1: float
    order_2: float


def group_diversity(numbers: npt.ArrayLike) -> GroupDiversity:
    """Tell how many groups of beneficials there are, as effective numbers.

    Parameters
    ----------
    numbers : array_like of shape (groups,)
        Animals of each group, whole walk; ants and pests left out by the caller.

    Returns
    -------
    GroupDiversity
        Hill numbers of order 0 (groups seen), 1 (exp of Shannon's entropy) and 2 (inverse of Simpson's sum).

    Notes
    -----
    q0 = S, q1 = exp(-sum p ln p), q2 = 1 / sum p^2. Beat-sheet catch is told by group, not by species: no richness of
    species is estimated from it.

    References
    ----------
    Hill, M. O. (1973) Diversity and evenness: a unifying notation and its consequences. Ecology 54:427-432.
    doi:10.2307/1934352.

    Examples
    --------
    >>> [round(value, 2) for value in group_diversity([10, 10, 0, 5])]
    [3.0, 2.87, 2.78]
    >>> group_diversity([0, 0])
    GroupDiversity(order_0=0.0, order_1=0.0, order_2=0.0)
    """
    counts = np.asarray(numbers, dtype=np.float64).ravel()
    if (counts < 0).any() or not np.isfinite(counts).all():
        raise InputRefused(f"a group's number is {counts.min():g}", "it must be 0 or more, and finite")
    seen = counts[counts > 0]
    if not seen.size:
        return GroupDiversity(0.0, 0.0, 0.0)
    share = seen / seen.sum()
    return GroupDiversity(float(seen.size), math.exp(-float((share * np.log(share)).sum())),
                          1.0 / float((share**2).sum()))
