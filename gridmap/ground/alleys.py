"""The strips between the rows: where one walks and drives."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused

# A middle line leaves the exact middle by at most this share of the alley's width, and loses the zigzag of the survey.
SMOOTH: Final = 0.05
ABREAST: Final = 0.4  # trees of two rows within this share of the tree spacing make one point of the middle line


def alleys(trees: gpd.GeoDataFrame, blocks: pd.DataFrame) -> gpd.GeoDataFrame:
    """Draw the middle of every alley, the two outside the outer rows with it.

    Parameters
    ----------
    trees : GeoDataFrame
        block, row, position, geometry (Point); the grove's projected CRS [m].
    blocks : DataFrame
        block, row_spacing_m, tree_spacing_m, row_bearing_deg (used for a lone row, and for a row of a lone tree).

    Returns
    -------
    GeoDataFrame
        block, alley (whole, from 1; alley 1 is outside the first row), lower_row, upper_row (the rows on its two sides,
        missing outside), width_m (mean distance between the two rows; of an outer alley: the same as its neighbour's),
        geometry (LineString, drawn the way positions count). Empty where there are no trees.

    Raises
    ------
    InputRefused
        A block of the trees that is not in ``blocks``.

    Notes
    -----
    The middle runs half-way between each tree and the nearest point of the row opposite, both rows drawn on straight at
    their ends and straight across a gap. Where a row has no living tree, the alley lies between the rows that have.

    Examples
    --------
    >>> places = gpd.points_from_xy([0, 5, 10, 0, 5, 10], [0, 0, 0, 7, 7, 7])
    >>> numbers = {"block": "A", "row": [1, 1, 1, 2, 2, 2], "position": [1, 2, 3, 1, 2, 3]}
    >>> trees = gpd.GeoDataFrame(numbers, geometry=places)
    >>> blocks = pd.DataFrame({"block": ["A"], "row_spacing_m": 7, "tree_spacing_m": 5, "row_bearing_deg": 90})
    >>> alleys(trees, blocks)[["alley", "geometry"]].values[1].tolist()
    [2, <LINESTRING (0 3.5, 10 3.5)>]
    >>> len(alleys(trees[:0], blocks))
    0
    """
    checks.columns(trees, ["block", "row", "position", "geometry"], "trees")
    checks.columns(blocks, ["block", "row_spacing_m", "tree_spacing_m", "row_bearing_deg"], "blocks")
    unknown = sorted(set(trees["block"]) - set(blocks["block"]))
    if unknown:
        what = f"block {unknown[0]!r} of the trees is not in the grove"
        raise InputRefused(what, "every tree stands in a known block", "import its outline first")
    settings = blocks.set_index("block")
    lines: list[tuple[object, ...]] = []
    for name, group in trees.groupby("block", sort=True):
        lines += _block(str(name), group, settings.loc[name])
    names = ["block", "alley", "lower_row", "upper_row", "width_m", "geometry"]
    frame = pd.DataFrame(lines, columns=names).astype({"alley": "int64", "lower_row": "Int64", "upper_row": "Int64"})
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=trees.crs)


def _block(name: str, trees: gpd.GeoDataFrame, setting: pd.Series) -> list[tuple[object, ...]]:
    """Return the alleys of one block, lowest first."""
    angle = np.radians(float(setting["row_bearing_deg"]))
    bearing = np.array([np.sin(angle), np.cos(angle)])
    stub = float(setting["tree_spacing_m"]) / 2 * bearing
    rows = {int(number): _row(row, stub) for number, row in trees.groupby("row", sort=True)}
    reach = 2 * float(np.hypot(*np.ptp(np.vstack(list(rows.values())), axis=0))) + float(setting["row_spacing_m"])
    drawn = {number: _drawn_on(xy, reach) for number, xy in rows.items()}
    numbers = list(rows)
    spacing = float(setting["tree_spacing_m"])
    between = [_middle(rows[a], rows[b], drawn[a], drawn[b], spacing) for a, b in pairwise(numbers)]
    half = float(setting["row_spacing_m"]) / 2
    side = _side(list(rows.values()))
    low, high = (between[0][1], between[-1][1]) if between else (2 * half, 2 * half)
    first, last = numbers[0], numbers[-1]
    result: list[tuple[object, ...]] = [
        (name, 1, None, first, low, _outer(rows[first], drawn[first], -side * low / 2))
    ]
    result += [(name, k + 2, numbers[k], numbers[k + 1], width, line) for k, (line, width) in enumerate(between)]
    return [*result, (name, len(numbers) + 1, last, None, high, _outer(rows[last], drawn[last], side * high / 2))]


def _side(rows: list[FloatArray]) -> float:
    """Tell to which side the rows count up for somebody who walks the way positions count: 1 left, -1 right."""
    if len(rows) == 1:
        return 1.0
    run = sum((xy[-1] - xy[0] for xy in rows), np.zeros(2))
    to = rows[-1].mean(axis=0) - rows[0].mean(axis=0)
    return 1.0 if run[0] * to[1] - run[1] * to[0] >= 0 else -1.0


def _row(trees: gpd.GeoDataFrame, stub: FloatArray) -> FloatArray:
    """Return the trees of a row in order; a lone tree stands for as much row as it has to itself."""
    xy = shapely.get_coordinates(trees.sort_values("position").geometry.to_numpy())
    xy = xy[np.concatenate([[True], (np.diff(xy, axis=0) != 0).any(axis=1)])]
    return xy if len(xy) > 1 else np.vstack([xy - stub, xy + stub])


def _drawn_on(xy: FloatArray, reach: float) -> shapely.LineString:
    """Return a row as a line, drawn on straight at both ends."""
    start, end = xy[1] - xy[0], xy[-1] - xy[-2]
    before = xy[0] - reach * start / np.hypot(*start)
    after = xy[-1] + reach * end / np.hypot(*end)
    return shapely.LineString(np.vstack([before, xy, after]))


def _middle(
    lower: FloatArray, upper: FloatArray, lower_line: shapely.LineString, upper_line: shapely.LineString,
    tree_spacing: float,
) -> tuple[shapely.LineString, float]:
    """Return the line half-way between two rows, and their mean distance [m]."""
    halves, widths = [], []
    for xy, other in ((lower, upper_line), (upper, lower_line)):
        points = shapely.points(xy)
        at = shapely.line_locate_point(other, points)
        opposite = shapely.get_coordinates(shapely.line_interpolate_point(other, at))
        halves.append((xy + opposite) / 2)
        widths.append(np.hypot(*(xy - opposite).T))
    middle = np.vstack(halves)
    run = shapely.line_locate_point(lower_line, shapely.points(middle))
    order = np.argsort(run, kind="stable")
    width = float(np.concatenate(widths).mean())
    return _line(_merged(middle[order], run[order], ABREAST * tree_spacing), width), width


def _merged(xy: FloatArray, run: FloatArray, within: float) -> FloatArray:
    """Return one point in place of each two that are abreast, so that survey error can't make the line turn back."""
    groups = [0]
    first = run[0]
    for here in run[1:]:
        new = here - first > within
        first = here if new else first
        groups.append(groups[-1] + int(new))
    count = np.bincount(groups)
    merged = np.column_stack([np.bincount(groups, xy[:, 0]) / count, np.bincount(groups, xy[:, 1]) / count])
    return merged if len(merged) > 1 else xy


def _outer(xy: FloatArray, drawn: shapely.LineString, distance: float) -> shapely.LineString:
    """Return the row moved sideways, left where the distance is over 0."""
    at = shapely.line_locate_point(drawn, shapely.points(xy))
    step = np.diff(shapely.get_coordinates(drawn), axis=0)
    way = step / np.hypot(*step.T)[:, None]
    middle = way[1:] + way[:-1]
    normal = np.column_stack([-middle[:, 1], middle[:, 0]]) / np.hypot(*middle.T)[:, None]
    return _line((xy + distance * normal)[np.argsort(at, kind="stable")], 2 * abs(distance))


def _line(xy: FloatArray, width: float) -> shapely.LineString:
    """Return a line through points, without the zigzag."""
    return shapely.simplify(shapely.LineString(xy), SMOOTH * width)
