"""A block drawn anew: the rows that are there carried on into new ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.ground.outlines import check_outline
from gridmap.ground.renumber import bearing_of_rows, offsets_across, whole
from gridmap.ground.rows import MOST_PLACES, _inside, row_directions

#: The end of a row is carried on by the line through so many of its last places: two or three metres of position error
#: on one tree do not turn it, and a bent row is still followed.
END_PLACES: Final = 6


@dataclass(frozen=True)
class Extension:
    """Places that new ground gets, and the numbers of those that were there.

    Parameters
    ----------
    new : GeoDataFrame
        row, position, geometry (Point) of every new place.
    row, position : (n,) arrays
        Numbers of the places that were there, in their order: as before once the block was counted.
    """

    new: gpd.GeoDataFrame
    row: IntArray
    position: IntArray


def extend_rows(
    places: gpd.GeoDataFrame,
    *,
    old: shapely.Polygon,
    new: shapely.Polygon,
    counted: bool,
    headland_m: float | None = None,
    row_bearing_deg: float | None = None,
    row_spacing_m: float | None = None,
    tree_spacing_m: float | None = None,
) -> Extension:
    """Carry the rows of a block on into the ground that a new outline adds, and lay further rows beside them.

    Parameters
    ----------
    places : GeoDataFrame
        row, position, geometry (Point) of every place of the block, gaps included; at least one.
    old, new : Polygon
        Outline so far and from now on; the grove's projected CRS [m].
    counted : bool
        Whether a count was made in the block: numbers are free until the first, and stay for life from then on.
    headland_m : float, optional
        Width kept free along the outline [m]; when left out, that which the trees leave in the old outline.
    row_bearing_deg, row_spacing_m, tree_spacing_m : float, optional
        Of the block [degrees clockwise from grid north; m]; used only where the places themselves don't show them, as
        in a block of one row.

    Returns
    -------
    Extension

    Raises
    ------
    InputMissing
        A bearing or spacing that neither the places nor the block tell.
    InputRefused, OutlineRefused
        No place; an outline that can't be used; over two million places.

    Notes
    -----
    Only new ground gets places: what lies in the old outline, headland taken off, stays as it was planted, so that a
    spot left out on purpose is left out still. A row is carried on in the direction and with the step of its last six
    places; new rows copy the outermost row at the block's own row spacing.

    Numbers: without a count the block is numbered through, row by row in the order in which rows and positions counted
    up before. With a count no number changes: trees beyond the last of a row carry its numbers on, a place between two
    others takes the number left free there, and trees before the first of a row, as well as new rows, get the next free
    row numbers, each piece from position 1. So positions of a row always follow each other on the ground.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame({"row": [1, 1], "position": [1, 2]}, geometry=gpd.points_from_xy([5, 10], [5, 5]))
    >>> old, new = shapely.box(2, 2, 13, 8), shapely.box(-3, 2, 18, 8)
    >>> found = extend_rows(trees, old=old, new=new, counted=True, row_spacing_m=6)
    >>> found.new[["row", "position"]].values.tolist(), found.row.tolist(), found.position.tolist()
    ([[1, 3], [2, 1]], [1, 1], [1, 2])
    >>> extend_rows(trees, old=old, new=old, counted=False, row_spacing_m=6).new.empty
    True
    """
    checks.columns(places, ["row", "position", "geometry"], "places")
    if not len(places):
        raise InputRefused("the block has no place", "its rows are carried on", "lay rows first")
    old, new = check_outline(old, name="the old outline"), check_outline(new, name="the new outline")
    xy = shapely.get_coordinates(places.geometry.to_numpy())
    row, position = whole(places["row"], "row"), whole(places["position"], "position")
    lattice = _Lattice(xy, row, position, row_bearing_deg, row_spacing_m, tree_spacing_m)
    headland = _headland(xy, old) if headland_m is None or headland_m != headland_m else headland_m
    found = lattice.candidates(np.asarray(new.bounds, dtype=np.float64))
    at = found[["x", "y"]].to_numpy(dtype=np.float64)
    keep = _inside(new, at, headland) & ~_inside(old, at, headland)
    found = _apart(found[keep], xy, lattice.step_m / 2)
    if counted:
        numbered, rows, positions = _carried_on(found, lattice, row, position), row, position
    else:
        numbered, rows, positions = _numbered_through(found, lattice, row, position)
    shapes = gpd.points_from_xy(numbered["x"], numbered["y"])
    frame = gpd.GeoDataFrame(numbered[["row", "position"]], geometry=shapes, crs=places.crs)
    return Extension(frame.sort_values(["row", "position"], ignore_index=True), rows, positions)


class _Lattice:
    """Rows in their order across the block, each with the step from place to place at its two ends."""

    def __init__(
        self,
        xy: FloatArray,
        row: IntArray,
        position: IntArray,
        bearing_deg: float | None,
        row_spacing_m: float | None,
        tree_spacing_m: float | None,
    ) -> None:
        bearing = bearing_of_rows(xy, row, position, otherwise_deg=bearing_deg)
        along, across = row_directions(bearing, (bearing - 90) % 360)
        self.names, index = np.unique(row, return_inverse=True)
        offset = offsets_across(xy, index, along, across)
        # Rows keep counting up the way they did; the number of a row tells which way that is
        if len(offset) > 1 and (offset - offset.mean()) @ (self.names - self.names.mean()) < 0:
            offset, across = -offset, -across
        self.order = np.argsort(offset, kind="stable")
        self.across = across
        self.rows = [_Row(xy[index == i], position[index == i]) for i in range(len(self.names))]
        steps = [entry.length_m for entry in self.rows if entry.length_m]
        self.step_m = float(np.median(steps)) if steps else _told(tree_spacing_m, "the tree spacing")
        gaps = np.diff(offset[self.order])
        gaps = gaps[gaps > self.step_m / 2]  # pieces of one row, as of two blocks that were merged, are no two rows
        self.row_m = float(np.median(gaps)) if len(gaps) else _told(row_spacing_m, "the row spacing")
        with_steps = [entry.first_step for entry in self.rows if entry.length_m]
        usual = np.mean(with_steps, axis=0) if with_steps else along * self.step_m
        for entry in self.rows:
            if not entry.length_m:
                entry.first_step = entry.last_step = usual

    def candidates(self, bounds: FloatArray) -> pd.DataFrame:
        """Return turn (order across, known rows from 0), place, x, y, far_m (from the known row), nearest first."""
        reach_m = max(float(np.hypot(bounds[2] - bounds[0], bounds[3] - bounds[1])), self.step_m)
        beside, beyond = (int(np.ceil(reach_m / spacing)) + 1 for spacing in (self.row_m, self.step_m))
        last = len(self.order) - 1
        if (2 * beside + last) * (2 * beyond + 1) > MOST_PLACES:
            raise InputRefused(f"the new outline has room for over {MOST_PLACES:,} places", "check its CRS")
        found = []
        for turn in range(-beside, last + beside + 1):
            nearest = min(max(turn, 0), last)
            model = self.rows[self.order[nearest]]
            place = np.arange(model.position[0] - beyond, model.position[-1] + beyond + 1)
            xy = model.at(place) + (turn - nearest) * self.row_m * self.across
            near = ((xy >= bounds[:2]) & (xy <= bounds[2:])).all(axis=1)
            place, xy = place[near], xy[near]
            beyond_m = np.maximum(model.position[0] - place, place - model.position[-1]).clip(0) * self.step_m
            beside_m = abs(turn - nearest) * self.row_m
            found.append(
                pd.DataFrame({"turn": turn, "place": place, "x": xy[:, 0], "y": xy[:, 1], "far_m": beyond_m + beside_m})
            )
        # Where two rows would be carried on to one spot, the nearer one is
        return pd.concat(found, ignore_index=True).sort_values("far_m", kind="stable", ignore_index=True)


class _Row:
    """The places of one row, and the lines that carry its two ends on."""

    def __init__(self, xy: FloatArray, position: IntArray) -> None:
        order = np.argsort(position)
        self.xy, self.position = xy[order], position[order]
        self.first_step, self.first = _line(self.position[:END_PLACES], self.xy[:END_PLACES], 0)
        self.last_step, self.last = _line(self.position[-END_PLACES:], self.xy[-END_PLACES:], -1)
        self.length_m = float((np.hypot(*self.first_step) + np.hypot(*self.last_step)) / 2)

    def at(self, place: IntArray) -> FloatArray:
        """Return where places of this row are or would be [m]."""
        inside = np.column_stack([np.interp(place, self.position, self.xy[:, axis]) for axis in (0, 1)])
        before, after = (place < self.position[0])[:, None], (place > self.position[-1])[:, None]
        first = self.first + (place - self.position[0])[:, None] * self.first_step
        last = self.last + (place - self.position[-1])[:, None] * self.last_step
        return np.where(before, first, np.where(after, last, inside))


def _line(position: IntArray, xy: FloatArray, end: int) -> tuple[FloatArray, FloatArray]:
    """Return the step from place to place [m] and the place at this end, by least squares."""
    if len(position) < 2:
        return np.zeros(2), xy[end]
    p = position - position.mean()
    step = p @ xy / (p @ p)
    return step, np.asarray(xy.mean(axis=0) + p[end] * step)


def _headland(xy: FloatArray, old: shapely.Polygon) -> float:
    """Return how far from the outline the trees stay that are inside it [m]."""
    points = shapely.points(xy)
    inside = points[shapely.contains(old, points)]
    return float(shapely.distance(old.boundary, inside).min()) if len(inside) else 0.0


def _apart(found: pd.DataFrame, xy: FloatArray, least_m: float) -> pd.DataFrame:
    """Leave out what stands too near to a place, or to another new one."""
    if not len(found):
        return found
    at = found[["x", "y"]].to_numpy()
    free = np.atleast_1d(cKDTree(xy).query(at)[0]) >= least_m
    for first, second in sorted(cKDTree(at).query_pairs(least_m)):
        free[second] = free[second] and not free[first]
    return found.loc[free]


def _carried_on(found: pd.DataFrame, lattice: _Lattice, row: IntArray, position: IntArray) -> pd.DataFrame:
    """Give new places numbers where no number may change: see Notes of `extend_rows`."""
    first = {name: int(position[row == name].min()) for name in lattice.names}
    names = {turn: lattice.names[index] for turn, index in enumerate(lattice.order)}
    found = found.assign(row=[names.get(turn, 0) for turn in found["turn"]], position=found["place"])
    begins = np.array([first.get(name, np.iinfo(np.int64).max) for name in found["row"]], dtype=np.int64)
    before = found["place"].to_numpy() < begins
    free = int(row.max()) + 1
    for _, piece in found[before].groupby("turn", sort=True):
        found.loc[piece.index, "row"] = free
        found.loc[piece.index, "position"] = piece["place"] - piece["place"].min() + 1
        free += 1
    return found


def _numbered_through(
    found: pd.DataFrame, lattice: _Lattice, row: IntArray, position: IntArray
) -> tuple[pd.DataFrame, IntArray, IntArray]:
    """Give all rows numbers from 1 in their order across, and the places of each from 1."""
    turn_of = np.empty(len(lattice.order), dtype=np.int64)
    turn_of[lattice.order] = np.arange(len(lattice.order))
    turns = turn_of[np.searchsorted(lattice.names, row)]
    together = pd.DataFrame(
        {"turn": np.concatenate([turns, found["turn"]]), "place": np.concatenate([position, found["place"]])}
    )
    rows = (np.unique(together["turn"], return_inverse=True)[1] + 1).astype(np.int64)
    positions = (together["place"] - together.groupby("turn")["place"].transform("min") + 1).to_numpy(dtype=np.int64)
    n = len(row)
    return found.assign(row=rows[n:], position=positions[n:]), rows[:n], positions[:n]


def _told(value: float | None, name: str) -> float:
    if value is None or value != value:
        raise InputMissing(f"{name} of the block is not known", "one row alone does not show it", missing=[name])
    return checks.number(value, name, "m", over=0)
