"""Rows found in surveyed tree positions: which row every tree is in, which place it has there, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.ground import _phase, _places, _waves
from gridmap.ground.rows import row_directions

FEWEST_TREES = 12
# A block agrees on rows when the mean cosine of the trees' phases is over FLOOR + SLOPE / trees^0.5 + FEW / trees^1.5
# in the stiff fit, and no other direction comes near. Measured on simulated groves and scattered trees: docs/rows.md.
FLOOR, SLOPE, FEW, LEAST_PROMINENCE = 0.25, 1.35, 10.0, 9.0
CLEAR = 0.8  # over this no scattered block comes near, however small, and the stiff fit is spared
STIFF_WINDOW = 4.0
MOST_TWICE = 0.1  # share of positions that may coincide with another: a tree or two noted twice
MOST_JUDGED = 1000  # trees in the middle of a large block; more make the verdict slower, not surer
AS_GOOD = 0.06  # two directions are told apart when their spacings differ by more than this share
NO_WORSE = 0.15  # loss of agreement that is borne for rows further apart than their trees
SAME_DIRECTION_DEG = 15.0
ODD_TREES = 0.03  # share of replants that stand off their place, for the chances only


@dataclass(frozen=True)
class RowFit:
    """What the rows of a block are like.

    Attributes
    ----------
    trees : DataFrame
        row, position, sure, and sure_row (chance that the row alone is right); indexed like the positions given.
    bearing_deg : float
        Mean bearing of the rows [degrees clockwise from grid north], 0 <= bearing < 180. Positions count up this way,
        rows count up to the right of it.
    row_spacing_m, tree_spacing_m : float
        Distance between rows (NaN where there is one row only) and between places in a row [m].
    also_bearing_deg : tuple of float
        Other bearings that would serve as well (a square planting has one): give a bearing hint to choose.
    agreement : float
        How well the trees agree on the rows, 1 (on the line) to 0.
    agreement_along : float
        The same for the places along the rows.
    """

    trees: pd.DataFrame
    bearing_deg: float
    row_spacing_m: float
    tree_spacing_m: float
    also_bearing_deg: tuple[float, ...]
    agreement: float
    agreement_along: float


def infer_rows(xy: object, bearing_hint_deg: float | None = None) -> pd.DataFrame:
    """Put every surveyed tree of one block into a row, and give it a place there.

    Parameters
    ----------
    xy : (n, 2) array, DataFrame with two columns, GeoSeries or GeoDataFrame of points
        Tree positions of one block, easting and northing; any projected CRS [m].
    bearing_hint_deg : float, optional
        Roughly which way the rows run [degrees clockwise from grid north], to 25 degrees; the opposite bearing says the
        same. Needed only to choose where two directions serve as well, or where trees stand further apart along the
        rows than the rows do.

    Returns
    -------
    DataFrame
        row (whole, from 1, across the block in order, an empty row keeps its number), position (whole, from 1 in each
        row, a gap keeps its number), sure (0 to 1: chance that both are right, as far as the scatter about rows and
        places tells). Indexed like the input. ``attrs``: bearing_deg, row_spacing_m, tree_spacing_m, also_bearing_deg.

    Raises
    ------
    InputRefused
        Fewer than 12 positions; positions without rows; a geographic CRS.

    See Also
    --------
    fit_rows : The same with everything that was found out.
    number_uphill : Row 1 the lowest, position 1 the left end looking uphill.

    Notes
    -----
    The wave vector of the rows is the shortest strong one in the spectrum of the differences of near trees (Bartlett
    1964). From node to node of a coarse grid the wave ``u(x)`` that maximises ``sum w cos(2 pi u)`` is followed round
    every bend, and made whole over the block by phase unwrapping; the row is ``u`` rounded. Along each row the places
    are the whole numbers that fit the distances best and only grow. Measured up to 10 degrees of bend to either side
    of the mean bearing, 20 where the rows are arcs.

    References
    ----------
    Bartlett MS (1964) The spectral analysis of two-dimensional point processes. Biometrika 51:299-311.
    https://doi.org/10.1093/biomet/51.3-4.299

    Examples
    --------
    Three rows of five trees, 7 m apart; one tree is missing.

    >>> xy = [(5 * place, 7 * row) for row in range(3) for place in range(5) if (row, place) != (1, 2)]
    >>> rows = infer_rows(xy)
    >>> rows[5:9][["row", "position"]].to_numpy().tolist()
    [[2, 1], [2, 2], [2, 4], [2, 5]]
    >>> round(rows.attrs["row_spacing_m"], 1), round(rows.attrs["tree_spacing_m"], 1)
    (7.0, 5.0)
    >>> infer_rows([])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: There are 0 trees: rows can't be told from fewer than 12. Number them by hand.
    """
    fit = fit_rows(xy, bearing_hint_deg)
    rows = fit.trees[["row", "position", "sure"]].copy()
    rows.attrs.update(
        bearing_deg=fit.bearing_deg, row_spacing_m=fit.row_spacing_m, tree_spacing_m=fit.tree_spacing_m,
        also_bearing_deg=fit.also_bearing_deg,
    )
    return rows


def fit_rows(xy: object, bearing_hint_deg: float | None = None) -> RowFit:
    """Find the rows of one block, and say which way they run, how far apart they are and how well the trees agree.

    Parameters
    ----------
    xy, bearing_hint_deg
        As in `infer_rows`.

    Returns
    -------
    RowFit

    Raises
    ------
    InputRefused
        As in `infer_rows`.

    Examples
    --------
    >>> square = [(6 * column, 6 * row) for row in range(6) for column in range(6)]
    >>> fit = fit_rows(square, bearing_hint_deg=0)
    >>> round(fit.bearing_deg), fit.also_bearing_deg
    (0, (90.0,))
    """
    positions, index = _positions(xy)
    hint = None if bearing_hint_deg is None else checks.bearing_deg(bearing_hint_deg, "bearing hint")
    if len(positions) < FEWEST_TREES:
        rule = f"rows can't be told from fewer than {FEWEST_TREES}"
        raise InputRefused(f"there are {len(positions)} trees", rule, "number them by hand")
    local = positions - positions.mean(axis=0)
    side = _waves.side_m(local)
    twice = len(local) - len(np.unique(local, axis=0))
    if twice > MOST_TWICE * len(local) or side == 0:
        what = f"{twice} of {len(local)} positions are there twice"
        raise InputRefused(what, "each tree must have its own", "check the columns of easting and northing")
    lone = _phase.lone_row(local)
    if lone is not None:
        return _describe(local, index, lone, side, ())
    waves = _waves.find_waves(local, side, hinted=hint is not None)
    wave = _waves.choose(waves, hint)
    if wave is None:
        raise _no_rows(len(positions), hint)
    also = _as_good(waves, wave)
    fit = _read(local, index, wave.vector, side, also)
    if fit.agreement < CLEAR and not _agree(local, wave, side):
        raise _no_rows(len(positions), hint)
    if hint is None and fit.tree_spacing_m > fit.row_spacing_m * (1 + AS_GOOD):
        # bends blur the wave of the rows more than that of the trees in them: then the two were taken for each other
        angle = np.radians(fit.bearing_deg)
        turned = _read(local, index, np.array([np.sin(angle), np.cos(angle)]) / fit.tree_spacing_m, side, also)
        if turned.agreement > fit.agreement - NO_WORSE and turned.tree_spacing_m < turned.row_spacing_m:
            return turned
    return fit


def number_uphill(rows: pd.DataFrame, bearing_deg: float, uphill_bearing_deg: float) -> pd.DataFrame:
    """Turn the numbers round so that row 1 is the lowest row and position 1 the left end looking uphill.

    Parameters
    ----------
    rows : DataFrame
        row and position as `infer_rows` gives them; other columns are passed on.
    bearing_deg : float
        The bearing that `infer_rows` found [degrees].
    uphill_bearing_deg : float
        Direction straight up the slope [degrees clockwise from grid north].

    Returns
    -------
    DataFrame
        The same with new numbers; rows within 10 degrees of straight up the slope are numbered as `generate_rows` does.

    Examples
    --------
    Rows that run east, numbered southward, on ground that rises to the north: the last row is the lowest.

    >>> rows = pd.DataFrame({"row": [1, 1, 2], "position": [1, 2, 1]})
    >>> number_uphill(rows, bearing_deg=90, uphill_bearing_deg=0).to_numpy().tolist()
    [[2, 1], [2, 2], [1, 1]]
    """
    checks.columns(rows, ["row", "position"], "rows")
    angle = np.radians(checks.bearing_deg(bearing_deg, "row bearing"))
    along, across = row_directions(bearing_deg, uphill_bearing_deg)
    result = rows.copy()
    if along @ [np.sin(angle), np.cos(angle)] < 0:
        result["position"] = rows.groupby("row")["position"].transform("max") + 1 - rows["position"]
    if across @ [np.cos(angle), -np.sin(angle)] < 0:
        result["row"] = rows["row"].max() + 1 - rows["row"]
    return result


def _read(xy: FloatArray, index: pd.Index, vector: FloatArray, side: float, also: tuple[float, ...]) -> RowFit:
    """Return the rows of the wave with this wave vector [1/m]."""
    return _describe(xy, index, _phase.follow(xy, vector, side, _phase.WINDOW).rows_at(xy), side, also)


def _describe(
    xy: FloatArray, index: pd.Index, wave: tuple[FloatArray, FloatArray, FloatArray], side: float,
    also: tuple[float, ...],
) -> RowFit:
    u, gradient, local_agreement = wave
    agreement = float(np.cos(2 * np.pi * u).mean())
    bearing = _mean_bearing_deg(gradient)
    angle = np.radians(bearing)
    if gradient.mean(axis=0) @ [np.cos(angle), -np.sin(angle)] < 0:
        u, gradient = -u, -gradient
    row: IntArray = np.round(u).astype(np.int64)
    row_spacing = float(1 / np.median(np.hypot(*gradient.T)))  # of the wave, also where a lone row has no neighbour
    along = np.array([np.sin(angle), np.cos(angle)])
    guess = side**2 / row_spacing if np.ptp(row) else np.ptp(xy @ along) / len(xy)
    places = _places.find_places(xy, row, u, gradient, along, guess)
    sure_row = _chance(u - row, local_agreement)
    sure = sure_row * _chance(places.off, np.full(len(xy), places.coherence))
    trees = pd.DataFrame(
        {"row": row - row.min() + 1, "position": places.position, "sure": sure, "sure_row": sure_row}, index=index
    )
    row_spacing = row_spacing if np.ptp(row) else float("nan")
    return RowFit(trees, bearing, row_spacing, places.tree_spacing_m, also, agreement, places.coherence)


def _chance(off: FloatArray, agreement: FloatArray) -> FloatArray:
    """Return the chance that the nearest whole number is the right one.

    Errors are normal, but for the odd tree that was planted off its place (a triangle over one step either way). A
    normal error of standard deviation s has a mean cosine of exp(-2 pi^2 s^2); that gives s.
    """
    variance = -np.log(np.clip(agreement, 0.05, 0.9999))[:, None] / (2 * np.pi**2)
    away = off[:, None] + np.arange(-3, 4)
    normal = np.exp(-(away**2) / (2 * variance)) / np.sqrt(2 * np.pi * variance)
    density = (1 - ODD_TREES) * normal + ODD_TREES * np.maximum(1 - np.abs(away), 0)
    return np.asarray(density[:, 3] / np.maximum(density.sum(axis=1), np.finfo(float).tiny), dtype=np.float64)


def _agree(xy: FloatArray, wave: _waves.Wave, side: float) -> bool:
    """Tell whether the trees agree on rows better than scattered ones do, by a fit that can't bend to each of them."""
    if wave.prominence < LEAST_PROMINENCE:
        return False
    middle = np.median(xy, axis=0)
    xy = xy[np.argsort(np.hypot(*(xy - middle).T), kind="stable")[:MOST_JUDGED]]
    u = _phase.follow(xy, wave.vector, side, STIFF_WINDOW).rows_at(xy)[0]
    return bool(np.cos(2 * np.pi * u).mean() > FLOOR + SLOPE / len(xy) ** 0.5 + FEW / len(xy) ** 1.5)


def _as_good(waves: list[_waves.Wave], chosen: _waves.Wave) -> tuple[float, ...]:
    """Return the bearings of other waves as strong, whose rows would be as far apart."""
    return tuple(
        round(other.bearing_deg, 1) % 180
        for other in waves
        if other.power >= _waves.COUNTS_AS_PEAK * chosen.power
        and abs(other.spacing_m / chosen.spacing_m - 1) <= AS_GOOD
        and _waves.turn_deg(other.bearing_deg, chosen.bearing_deg) > SAME_DIRECTION_DEG
    )


def _mean_bearing_deg(gradient: FloatArray) -> float:
    """Return the mean bearing of the rows, 0 <= bearing < 180, by doubled angles; they run square to the gradient."""
    doubled = np.exp(2j * np.arctan2(-gradient[:, 1], gradient[:, 0])).mean()
    return round(float(np.degrees(np.angle(doubled) / 2)) % 180, 6) % 180


def _positions(xy: object) -> tuple[FloatArray, pd.Index]:
    if isinstance(xy, (gpd.GeoSeries, gpd.GeoDataFrame)):
        if xy.crs is not None and xy.crs.is_geographic:
            what = f"positions are in {xy.crs.name}, in degrees"
            raise InputRefused(what, "rows are found in metres", "transform them to the grove's projected CRS")
        return checks.points(np.column_stack([xy.geometry.x, xy.geometry.y])), xy.index
    positions = checks.points(xy)
    return positions, xy.index if isinstance(xy, pd.DataFrame) else pd.RangeIndex(len(positions))


def _no_rows(number: int, hint: float | None) -> InputRefused:
    near = "" if hint is None else f" near a bearing of {hint:g} degrees"
    rule = "near trees don't line up any better than scattered ones do"
    remedy = "check that they are of one block and in metres, give a bearing hint, or number the trees by hand"
    return InputRefused(f"no rows were found in these {number} trees{near}", rule, remedy)
