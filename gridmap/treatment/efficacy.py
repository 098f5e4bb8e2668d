"""Did it work: counts before and after, on trees that were sprayed and on check trees that were not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from scipy.special import ndtri

from gridmap.checks import FloatArray, number
from gridmap.errors import InputRefused
from gridmap.statistics import MOST_K, fit_negative_binomial_k

#: What stands beside a figure that has no check trees: a fall in counts has other causes too.
WITHOUT_CHECK_TREES: Final = "change, not efficacy: no check trees were left unsprayed"
# Half an insect in place of none: the logarithm of the ratio and its variance stay finite (Haldane 1955,
# Annals of Human Genetics 20:309-311).
_INSTEAD_OF_NONE = 0.5


class Efficacy(NamedTuple):
    """A percentage with its limits; below 0 where the pest grew faster on the sprayed trees."""

    percent: float
    low: float
    high: float


@dataclass(frozen=True)
class Counted:
    """Counts of one group of trees at one visit.

    Parameters
    ----------
    counts : tuple of float
        Insects on each tree, at standard taps.

    Examples
    --------
    >>> Counted((4, 0, 7)).total, Counted((4, 0, 7)).trees
    (11.0, 3)
    """

    counts: tuple[float, ...]

    @property
    def total(self) -> float:
        """Insects on all of its trees."""
        return float(sum(self.counts))

    @property
    def trees(self) -> int:
        """Trees counted."""
        return len(self.counts)


def abbott(treated_after: float, control_after: float) -> float:
    """Tell the share of insects a treatment took, against check trees that began alike (Abbott's formula).

    Parameters
    ----------
    treated_after, control_after : float
        Live insects for each tree after the treatment, on sprayed and on check trees.

    Returns
    -------
    float
        [percent].

    Notes
    -----
    100 (1 - Ta / Ca). It holds only where both groups had the same count before; `henderson_tilton` needs no such luck.

    References
    ----------
    Abbott, W. S. (1925) A method of computing the effectiveness of an insecticide. Journal of Economic Entomology
    18:265-267. doi:10.1093/jee/18.2.265a.

    Examples
    --------
    >>> abbott(20, 100)
    80.0
    """
    treated = number(treated_after, "count of sprayed trees", "insects", least=0)
    control = number(control_after, "count of check trees", "insects", over=0,
                     remedy="no insect on any check tree says nothing about the treatment")
    return 100.0 * (1.0 - treated / control)


def abbott_from_mortality(treated_dead: float, control_dead: float) -> float:
    """Tell the share that a treatment killed of those which would have lived, from shares that died.

    Parameters
    ----------
    treated_dead, control_dead : float
        Share that died, sprayed and not, 0 to 1; of the check trees under 1.

    Returns
    -------
    float
        Share, 0 to 1 (negative where fewer died of the sprayed ones).

    Notes
    -----
    (pt - pc) / (1 - pc), Abbott (1925).

    Examples
    --------
    >>> round(abbott_from_mortality(26 / 40, 1 / 40), 7)
    0.6410256
    """
    treated = number(treated_dead, "share dead of the sprayed", least=0, most=1)
    control = number(control_dead, "share dead of the check trees", least=0, most=1)
    if control == 1.0:
        raise InputRefused("share dead of the check trees is 1", "it must be under 1",
                           "where all died unsprayed nothing can be said")
    return (treated - control) / (1.0 - control)


def henderson_tilton(
    treated_before: float, treated_after: float, control_before: float, control_after: float, *, level: float = 0.95
) -> Efficacy:
    """Tell how much a treatment took, from total counts before and after on sprayed and on check trees.

    Parameters
    ----------
    treated_before, treated_after : float
        Insects counted on the sprayed trees, before and after.
    control_before, control_after : float
        Insects counted on the check trees, before and after. Each group the same trees and taps both times.
    level : float
        Chance that the limits hold.

    Returns
    -------
    Efficacy
        percent, low, high.

    Raises
    ------
    InputRefused
        A negative count; no insect before on either group, or none after on the check trees and none on the sprayed.

    Notes
    -----
    100 (1 - R) with R = (Ta Cb) / (Tb Ca). The limits take totals for Poisson counts:
    var(ln R) = 1/Ta + 1/Cb + 1/Tb + 1/Ca, half an insect in place of none. Insects sit in clusters, so that these
    limits are too narrow: where the trees' own counts are known use `efficacy_of_counts`.

    References
    ----------
    Henderson, C. F. and Tilton, E. W. (1955) Tests with acaricides against the brown wheat mite. Journal of Economic
    Entomology 48:157-161. doi:10.1093/jee/48.2.157.

    Examples
    --------
    >>> [round(value, 2) for value in henderson_tilton(50, 5, 40, 60)]
    [93.33, 81.83, 97.55]
    >>> henderson_tilton(0, 0, 40, 60)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: No insect was counted before on the sprayed trees: there is nothing a treatment could
    take.
    """
    totals = [number(value, name, "insects", least=0) for value, name in (
        (treated_before, "count before of the sprayed trees"), (treated_after, "count after of the sprayed trees"),
        (control_before, "count before of the check trees"), (control_after, "count after of the check trees"))]
    _anything_to_take(totals[0], totals[2])
    tb, ta, cb, ca = (value if value > 0 else _INSTEAD_OF_NONE for value in totals)
    ratio = (ta * cb) / (tb * ca)
    shown = 0.0 if totals[1] == 0 else ratio
    return _with_limits(shown, ratio, math.sqrt(1.0 / ta + 1.0 / cb + 1.0 / tb + 1.0 / ca), level)


def efficacy_of_counts(
    treated_before: Counted, treated_after: Counted, control_before: Counted, control_after: Counted, *,
    level: float = 0.95,
) -> Efficacy:
    """Tell how much a treatment took, from each tree's own count: limits that know insects sit in clusters.

    Parameters
    ----------
    treated_before, treated_after, control_before, control_after : Counted
        The trees' counts; the groups need not be of one size.
    level : float
        Chance that the limits hold.

    Returns
    -------
    Efficacy
        percent, low, high: never narrower than those of `henderson_tilton` for the same means.

    Notes
    -----
    R from the means of the four groups; var(ln mean) = (1/m + 1/k) / n for each, with one k of most likelihood for
    all four (over-dispersion of single groups of a few trees can't be told apart).

    Examples
    --------
    >>> groups = [Counted(c) for c in ((9, 0, 22, 19), (0, 1, 0, 4), (3, 30, 2, 5), (8, 41, 3, 8))]
    >>> wide, narrow = efficacy_of_counts(*groups), henderson_tilton(*(g.total for g in groups))
    >>> round(wide.percent) == round(narrow.percent), wide.high - wide.low > narrow.high - narrow.low
    (True, True)
    """
    groups = (treated_before, treated_after, control_before, control_after)
    for group, name in zip(groups, ("sprayed trees before", "sprayed trees after", "check trees before",
                                    "check trees after"), strict=True):
        if not group.trees:
            raise InputRefused(f"no tree was counted of the {name}", "each group needs one at least")
        if min(group.counts) < 0 or not all(map(math.isfinite, group.counts)):
            raise InputRefused(f"a count of the {name} is {min(group.counts):g}", "it must be 0 or more, and finite")
    _anything_to_take(treated_before.total, control_before.total)
    k = common_k(groups)
    means = [max(group.total, _INSTEAD_OF_NONE) / group.trees for group in groups]
    ratio = (means[1] * means[2]) / (means[0] * means[3])
    variance = sum((1.0 / mean + 1.0 / k) / group.trees for mean, group in zip(means, groups, strict=True))
    return _with_limits(0.0 if treated_after.total == 0 else ratio, ratio, math.sqrt(variance), level)


def change_of_counts(before: Counted, after: Counted, *, level: float = 0.95) -> Efficacy:
    """Tell by how much counts fell where no check tree was left: a change, not efficacy.

    Parameters
    ----------
    before, after : Counted
        The trees' counts.
    level : float
        Chance that the limits hold.

    Returns
    -------
    Efficacy
        percent fallen (below 0 where counts rose), low, high.

    Notes
    -----
    100 (1 - after / before), limits as in `efficacy_of_counts`. Weather, enemies and the insect's own stages change
    counts too; only check trees can tell.

    Examples
    --------
    >>> round(change_of_counts(Counted((8, 6, 10)), Counted((2, 1, 3))).percent)
    75
    """
    if not before.trees or not after.trees:
        raise InputRefused("no tree was counted before, or none after", "each visit needs one at least")
    if before.total == 0:
        raise InputRefused("no insect was counted before", "there is nothing that could have fallen")
    k = common_k((before, after))
    means = [max(group.total, _INSTEAD_OF_NONE) / group.trees for group in (before, after)]
    variance = sum((1.0 / mean + 1.0 / k) / group.trees for mean, group in zip(means, (before, after), strict=True))
    ratio = means[1] / means[0]
    return _with_limits(0.0 if after.total == 0 else ratio, ratio, math.sqrt(variance), level)


def common_k(groups: tuple[Counted, ...]) -> float:
    """Tell how unevenly insects sit on the trees, one k for all groups with each its own mean.

    Examples
    --------
    >>> common_k((Counted((0, 0)), Counted((0,)))) >= 1e6
    True
    """
    filled = [group for group in groups if group.total > 0]
    if not filled:
        return MOST_K
    counts: FloatArray = np.concatenate([group.counts for group in filled])
    means = np.concatenate([np.full(group.trees, group.total / group.trees) for group in filled])
    return fit_negative_binomial_k(counts, means)


def _anything_to_take(treated_before: float, control_before: float) -> None:
    """Refuse groups that had no insect before."""
    if treated_before == 0:
        raise InputRefused("no insect was counted before on the sprayed trees",
                           "there is nothing a treatment could take")
    if control_before == 0:
        raise InputRefused("no insect was counted before on the check trees",
                           "they can't show what would have come without the treatment")


def _with_limits(shown: float, ratio: float, se: float, level: float) -> Efficacy:
    """Return 100 (1 - R) with limits that are even on the log scale."""
    z = float(ndtri(0.5 + 0.5 * number(level, "level", over=0, most=0.999)))
    return Efficacy(100.0 * (1.0 - shown), 100.0 * (1.0 - ratio * math.exp(z * se)),
                    100.0 * (1.0 - ratio * math.exp(-z * se)))
