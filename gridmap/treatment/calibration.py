"""Is the sprayer what the grower thinks it is: nozzle catch, travel speed, hand-gun, wet-to-run-off test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gridmap.checks import number
from gridmap.errors import InputRefused

#: A nozzle more than this share off the mean of its kind is named (common practice, no source).
NOZZLE_OFF: Final = 0.10
_SECONDS_PER_MINUTE = 60.0


@dataclass(frozen=True)
class NozzleTest:
    """What a catch test found.

    Parameters
    ----------
    flow_l_per_min : float
        All nozzles together [L/min].
    mean_l_per_min : float
        One nozzle's mean [L/min].
    by_nozzle : tuple of (name, L/min, share off the mean)
        Each nozzle, in the order given.
    outliers : tuple of str
        Nozzles more than a tenth off the mean.
    remarks : tuple of str
        In words, what to mend.
    """

    flow_l_per_min: float
    mean_l_per_min: float
    by_nozzle: tuple[tuple[str, float, float], ...]
    outliers: tuple[str, ...]
    remarks: tuple[str, ...]


def nozzle_test(caught_l: Mapping[str, float], seconds: float) -> NozzleTest:
    """Tell what the nozzles put out together, and name those that are worn or blocked.

    Parameters
    ----------
    caught_l : mapping of str to float
        Litres caught from each nozzle, by its name [L].
    seconds : float
        How long each was caught [s].

    Returns
    -------
    NozzleTest

    Raises
    ------
    InputRefused
        No nozzle, a catch under 0, no time.

    Notes
    -----
    L/min = litres x 60 / seconds. Off the mean by more than a tenth: common practice, no source. Nozzles of two sizes
    are tested size by size.

    Examples
    --------
    >>> found = nozzle_test({"left 1": 0.51, "left 2": 0.50, "right 1": 0.50, "right 2": 0.62}, 30)
    >>> round(found.flow_l_per_min, 2), found.outliers
    (4.26, ('right 2',))
    >>> found.remarks[0]
    'Nozzle right 2 gives 1.24 L/min, 16 % over the mean of 1.06: worn; change it and test again.'
    """
    if not caught_l:
        raise InputRefused("no nozzle was caught", "a catch test needs one at least")
    time = number(seconds, "time of the catch", "s", over=0)
    flow = {name: number(litres, f"catch of nozzle {name}", "L", least=0) * _SECONDS_PER_MINUTE / time
            for name, litres in caught_l.items()}
    mean = float(np.mean(list(flow.values())))
    if mean == 0:
        raise InputRefused("nothing was caught from any nozzle", "one at least must run", "open the nozzles and repeat")
    rows = tuple((name, value, value / mean - 1.0) for name, value in flow.items())
    out = tuple(name for name, _, off in rows if abs(off) > NOZZLE_OFF)
    remarks = tuple(
        f"Nozzle {name} gives {value:.2f} L/min, {abs(off):.0%} {'over' if off > 0 else 'under'} the mean of "
        f"{mean:.2f}: {'worn; change it' if off > 0 else 'blocked; clean it'} and test again.".replace("%", " %")
        for name, value, off in rows if abs(off) > NOZZLE_OFF)
    return NozzleTest(float(sum(flow.values())), mean, rows, out, remarks)


def speed_km_per_h(metres: float, seconds: float | Sequence[float]) -> float:
    """Tell the travel speed from a timed distance: 3.6 x metres / seconds.

    Parameters
    ----------
    metres : float
        Distance [m].
    seconds : float or sequence of float
        Time for it; of several passes the mean is taken [s].

    Returns
    -------
    float
        [km/h].

    Examples
    --------
    A hundred metres in 60 s is 360 / 60 = 6 km/h:

    >>> speed_km_per_h(100, [59, 61])
    6.0
    """
    times = [seconds] if isinstance(seconds, (int, float, str)) else list(seconds)
    if not times:
        raise InputRefused("no time was given", "a timed distance needs one pass at least")
    mean = sum(number(time, "time", "s", over=0) for time in times) / len(times)
    return 3.6 * number(metres, "distance", "m", over=0) / mean


def gun_litres_per_tree(flow_l_per_min: float, seconds_per_tree: float | Sequence[float]) -> float:
    """Tell what a tree gets from a hand-gun that stands open for a time: L/min x seconds / 60.

    Parameters
    ----------
    flow_l_per_min : float
        Flow of the gun from a timed catch [L/min].
    seconds_per_tree : float or sequence of float
        How long the gun is open on a tree; of several trees the mean [s].

    Returns
    -------
    float
        [L per tree].

    Examples
    --------
    Penn State Extension: 0.08 gal a tree at 0.30 gal/min takes 16 s.

    >>> round(gun_litres_per_tree(0.30, 16), 2)
    0.08
    """
    times = [seconds_per_tree] if isinstance(seconds_per_tree, (int, float, str)) else list(seconds_per_tree)
    if not times:
        raise InputRefused("no time was given", "time the gun on one tree at least")
    mean = sum(number(time, "seconds per tree", "s", over=0) for time in times) / len(times)
    return number(flow_l_per_min, "flow of the gun", "L/min", over=0) * mean / _SECONDS_PER_MINUTE


@dataclass(frozen=True)
class RunOffTest:
    """Litres to run-off on a few trees of known canopy, and the coefficient that they give.

    Parameters
    ----------
    litres_per_tree : float
        Mean [L per tree].
    litres_per_m3 : float
        Litres over canopy volume, all trees together [L/m3].
    spread : float
        Standard deviation of the trees' own coefficients over their mean.
    trees : int
    remark : str
        What it is good for.
    """

    litres_per_tree: float
    litres_per_m3: float
    spread: float
    trees: int
    remark: str


def run_off_test(litres: Sequence[float], canopy_m3: Sequence[float]) -> RunOffTest:
    """Tell the grower's own wetting coefficient from trees that were wetted to run-off with water.

    Parameters
    ----------
    litres : sequence of float
        Water that each tree took until it ran off [L].
    canopy_m3 : sequence of float
        Canopy volume of each, as box or as ellipsoid [m3]; the coefficient holds for that shape only.

    Returns
    -------
    RunOffTest

    Notes
    -----
    c = sum of litres / sum of volumes: large trees, which take most of the tank, weigh most. Run-off is judged by eye;
    10 to 15 % is good enough where the sprayer is set up well (a vine dilute-volume guide, "Determining dilute water
    volumes").

    Examples
    --------
    >>> found = run_off_test([6.0, 9.0, 7.5], [24.0, 38.0, 29.0])
    >>> round(found.litres_per_tree, 1), round(found.litres_per_m3, 3)
    (7.5, 0.247)
    """
    if len(litres) != len(canopy_m3) or not litres:
        raise InputRefused(f"{len(litres)} trees have litres and {len(canopy_m3)} a canopy volume",
                           "each tree needs both, and one tree is the least")
    taken = np.array([number(value, "litres to run-off", "L", over=0) for value in litres])
    volume = np.array([number(value, "canopy volume", "m3", over=0) for value in canopy_m3])
    each = taken / volume
    spread = float(each.std(ddof=1) / each.mean()) if len(each) > 1 else float("nan")
    few = len(each) < 3
    remark = ("Three trees at least tell more: one tree's shape and the eye's judgement are in this figure." if few
              else f"Your trees differ by {spread:.0%} about their mean.".replace("%", " %"))
    return RunOffTest(float(taken.mean()), float(taken.sum() / volume.sum()), spread, len(each), remark)


def unit_canopy_rows_per_ha(height_m: float, width_m: float, row_spacing_m: float) -> float:
    """Tell how many unit canopy rows stand on a hectare: h x w x 100 / row spacing.

    Parameters
    ----------
    height_m, width_m, row_spacing_m : float
        Canopy height and width, distance between rows [m].

    Returns
    -------
    float
        Unit canopy rows per hectare; one is a canopy 1 m high and 1 m wide along 100 m of row.

    References
    ----------
    Furness, G. O., Magarey, P. A., Miller, P. H. and Drew, H. J. (1998) Fruit tree and vine sprayer calibration based
    on canopy size and length of row: unit canopy row method. Crop Protection 17:639-644.
    doi:10.1016/S0261-2194(98)00071-2.

    Examples
    --------
    >>> unit_canopy_rows_per_ha(1, 1, 100)  # one 100 m row a hectare
    1.0
    """
    return (number(height_m, "canopy height", "m", over=0) * number(width_m, "canopy width", "m", over=0) * 100.0
            / number(row_spacing_m, "row spacing", "m", over=0))
