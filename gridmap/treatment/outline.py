"""The ground of each run: every treated tree inside, no other living tree, nothing forbidden."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from gridmap.checks import BoolArray, IntArray
from gridmap.errors import InputRefused
from gridmap.treatment.rows import Rows

Shapes = npt.NDArray[np.object_]
#: Outlines are rounded to this [m], so that rows side by side join without slivers.
GRID_M: Final = 0.001
# Nearer than this [m] no line can be drawn between a treated tree and one that is not.
_TOO_NEAR_M: Final = 0.02


def run_lines(rows: Rows, run: IntArray, forbidden: Any) -> Shapes:
    """Draw each run through its trees and half a tree spacing past both ends, in the order of positions.

    Parameters
    ----------
    rows : Rows
        Living trees.
    run : (n,) array of int
        Number of each tree's run from 0, -1 where it is not treated.
    forbidden : Geometry
        Ground that the ends are cut back from.

    Returns
    -------
    (number of runs,) array of LineString
        In the CRS of the trees [m].
    """
    half = rows.trees["tree_spacing_m"].to_numpy(dtype=np.float64) / 2.0
    lines = []
    for members in members_of(run):
        a, b = members[0], members[-1]
        before, after = rows.xy[a] - half[a] * rows.along[a], rows.xy[b] + half[b] * rows.along[b]
        lines.append(shapely.linestrings(np.vstack([before, rows.xy[members], after])))
    drawn = np.array(lines, dtype=object)
    if not len(drawn) or forbidden.is_empty:
        return drawn
    shapely.prepare(forbidden)
    for i in np.flatnonzero(shapely.intersects(forbidden, drawn)):
        parts = shapely.get_parts(shapely.difference(drawn[i], forbidden))
        tree = shapely.points(rows.xy[run == i][0])
        drawn[i] = parts[int(np.argmin(shapely.distance(parts, tree)))]
    return drawn


def run_polygons(rows: Rows, run: IntArray, lines: Shapes, forbidden: Any) -> Shapes:
    """Outline each run, half a row spacing to each side of its line, clear of other living trees and forbidden ground.

    Parameters
    ----------
    rows, run, forbidden
        As in `run_lines`.
    lines : (number of runs,) array of LineString
        From `run_lines`.

    Returns
    -------
    (number of runs,) array of Polygon or MultiPolygon

    Raises
    ------
    InputRefused
        A treated tree and one that is not stand in the same place.

    Notes
    -----
    Where rows crowd, the ground that is nearer to a tree that is not treated than to any other living tree (its Voronoi
    cell) is taken out of the run. A treated tree is never in such a cell, and the other tree always is. A part that
    holds no tree of the run is dropped.
    """
    if not len(lines):
        return lines
    first = np.array([members[0] for members in members_of(run)])
    half = rows.trees["row_spacing_m"].to_numpy(dtype=np.float64)[first] / 2.0
    ground = shapely.buffer(lines, half, cap_style="flat", join_style="mitre", mitre_limit=2.0)
    ground = _without_others(rows, run >= 0, ground)
    if not forbidden.is_empty:
        touched = shapely.intersects(forbidden, ground)
        ground[touched] = shapely.difference(ground[touched], forbidden)
    ground = shapely.set_precision(ground, GRID_M)
    many = np.flatnonzero(shapely.get_num_geometries(ground) > 1)
    for i in many:
        trees = shapely.multipoints(rows.xy[run == i])
        parts = shapely.get_parts(ground[i])
        ground[i] = shapely.union_all(parts[shapely.intersects(parts, trees)])
    return ground


def members_of(run: IntArray) -> list[IntArray]:
    """List the trees of each run, in the order of their positions."""
    order = np.argsort(run, kind="stable")
    numbers = run[order]
    ends = np.flatnonzero(np.diff(numbers)) + 1
    return [part for part in np.split(order, ends) if len(part) and run[part[0]] >= 0]


def _without_others(rows: Rows, treated: BoolArray, ground: Shapes) -> Shapes:
    """Take the cells of trees that are not treated out of the ground that they stand in."""
    others = np.flatnonzero(~treated)
    points = rows.trees.geometry.to_numpy()
    where, which = shapely.STRtree(points[others]).query(ground, predicate="intersects")
    if not where.size:
        return ground
    intruders = others[which]
    gap, nearest = (np.asarray(found) for found in cKDTree(rows.xy[treated]).query(rows.xy[intruders]))
    if gap.min() < _TOO_NEAR_M:
        worst = int(np.argmin(gap))
        pair = [_place(rows, int(intruders[worst])), _place(rows, int(np.flatnonzero(treated)[nearest[worst]]))]
        raise InputRefused(f"{pair[0]} and {pair[1]} stand {gap[worst]:.3f} m apart",
                           "only one of them is to be sprayed and no line can be drawn between them",
                           "move one of them, or add or drop one by hand")
    spots, cell_of = np.unique(np.round(rows.xy, 4), axis=0, return_inverse=True)
    around = shapely.union_all(shapely.envelope(ground)).envelope
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(spots), extend_to=around, ordered=True))
    clear = ground.copy()
    for i in np.unique(where):
        away = cells[np.unique(cell_of.ravel()[intruders[where == i]])]
        clear[i] = shapely.difference(ground[i], shapely.union_all(away))
    return clear


def _place(rows: Rows, i: int) -> str:
    tree = rows.trees.iloc[i]
    return f"{tree['block']} row {tree['row']} tree {tree['position']}"
