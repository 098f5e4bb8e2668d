"""Rows that follow a drawn line: parallel to one (contour planting), or fanned between two."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.ground import rows as straight
from gridmap.ground.outlines import check_outline
from gridmap.ground.rows import MOST_PLACES, row_directions

# No row bends tighter than this many row spacings (our own choice: it takes the kinks out of a line drawn with few
# points, and a tractor could not follow them anyway).
LEAST_RADIUS: Final = 1.0
ARC_SEGMENTS: Final = 32  # per quarter circle: a chord leaves its arc by 0.03 % of the radius
SPLINTER_M: Final = 0.01  # steps of a millimetre, which the offsetting leaves behind, go
FAN_POINTS: Final = 400


def generate_contour_rows(
    outline: shapely.Polygon,
    line: shapely.LineString,
    *,
    row_spacing_m: float,
    tree_spacing_m: float,
    headland_m: float,
    uphill_bearing_deg: float,
    crs: object = None,
) -> gpd.GeoDataFrame:
    """Lay rows parallel to a drawn line into a block, on both sides of it, and number them.

    Parameters
    ----------
    outline : Polygon
        The block, holes allowed; the grove's projected CRS [m].
    line : LineString
        The row to follow, in or beside the block, same CRS [m]; it is drawn on straight where it ends inside the block.
    row_spacing_m, tree_spacing_m : float
        Distance between rows, and between trees along the curve [m], over 0.
    headland_m : float
        Width kept free along the whole outline [m], 0 or more.
    uphill_bearing_deg : float
        Direction straight up the slope [degrees clockwise from grid north].
    crs : optional
        CRS of the outline, passed on to the frame.

    Returns
    -------
    GeoDataFrame
        row, position, geometry (Point), numbered as by `generate_rows`.

    Raises
    ------
    InputRefused
        A line that crosses itself, or would when drawn on; a spacing that is no number over 0; no room for a tree.

    Notes
    -----
    Row k is the curve at k row spacings from the line (offset curve with round joins). On the inner side of a bend a
    curve further off than the bend's radius would have a corner; every row is rounded to a radius of at least one row
    spacing, so just there two rows stand a little closer or further apart. Trees stand at equal arc lengths, counted
    from the foot of the line's middle, so that places of neighbouring rows are beside each other there. A broken row
    keeps its number, and its positions count the places that are not there.

    Examples
    --------
    >>> block = shapely.box(0, 0, 60, 40)
    >>> line = shapely.LineString([(0, 15), (30, 20), (60, 15)])
    >>> setting = {"row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 4, "uphill_bearing_deg": 0}
    >>> trees = generate_contour_rows(block, line, **setting)
    >>> trees.groupby("row").size().to_dict()
    {1: 5, 2: 11, 3: 11, 4: 11, 5: 11}
    >>> generate_contour_rows(block, shapely.LineString(), **setting)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: The line to follow is empty: it must have two points or more. Draw it along one row.
    """
    outline = check_outline(outline)
    row_spacing = checks.number(row_spacing_m, "row spacing", "m", over=0)
    guide = _guide(line, outline, LEAST_RADIUS * row_spacing)
    middle = guide.project(line.interpolate(0.5, normalized=True))
    foot, normal = _point(guide, middle), _normal(guide, middle)
    inward = shapely.get_coordinates(outline.exterior)
    reach = int(np.ceil(shapely.distance(shapely.points(inward), guide).max() / row_spacing))
    curves, starts = [], []
    for number in range(-reach, reach + 1):
        curve = _rounded(_offset(guide, number * row_spacing), LEAST_RADIUS * row_spacing)
        if curve.is_empty:
            continue
        curves.append(curve)
        starts.append(curve.project(shapely.Point(foot + number * row_spacing * normal)))
    return _plant(curves, starts, outline, tree_spacing_m, headland_m, uphill_bearing_deg, crs)


def generate_fan_rows(
    outline: shapely.Polygon,
    first: shapely.LineString,
    last: shapely.LineString,
    *,
    row_spacing_m: float,
    tree_spacing_m: float,
    headland_m: float,
    uphill_bearing_deg: float,
    crs: object = None,
) -> gpd.GeoDataFrame:
    """Lay rows that fan out between two drawn lines, both of them rows, and number them.

    Parameters
    ----------
    outline, tree_spacing_m, headland_m, uphill_bearing_deg, crs
        As in `generate_contour_rows`.
    first, last : LineString
        The two outer rows, drawn the same way or opposite; the grove's projected CRS [m].
    row_spacing_m : float
        Distance between rows halfway along them [m], kept as nearly as a whole number of rows allows.

    Returns
    -------
    GeoDataFrame
        row, position, geometry (Point), numbered as by `generate_rows`.

    Raises
    ------
    InputRefused
        Lines that cross, a spacing that is no number over 0, no room for a tree.

    Examples
    --------
    >>> block = shapely.box(0, 0, 60, 40)
    >>> low, high = shapely.LineString([(0, 5), (60, 5)]), shapely.LineString([(0, 17), (60, 35)])
    >>> setting = {"row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 4, "uphill_bearing_deg": 0}
    >>> generate_fan_rows(block, low, high, **setting).groupby("row").size().to_dict()
    {1: 11, 2: 11, 3: 11, 4: 11}
    """
    outline = check_outline(outline)
    row_spacing = checks.number(row_spacing_m, "row spacing", "m", over=0)
    for one in (first, last):
        _check_line(one)
    if first.crosses(last):
        raise InputRefused("the two lines of the fan cross", "rows don't cross", "draw them apart")
    share = np.linspace(0, 1, FAN_POINTS)
    low = shapely.get_coordinates(shapely.line_interpolate_point(first, share, normalized=True))
    high = shapely.get_coordinates(shapely.line_interpolate_point(last, share, normalized=True))
    if (low[-1] - low[0]) @ (high[-1] - high[0]) < 0:
        high = high[::-1]
    half = FAN_POINTS // 2
    gaps = max(int(np.rint(np.hypot(*(high[half] - low[half])) / row_spacing)), 1)
    curves = [shapely.LineString(low + (high - low) * number / gaps) for number in range(gaps + 1)]
    starts = [curve.project(shapely.Point(curve.coords[half])) for curve in curves]
    return _plant(curves, starts, outline, tree_spacing_m, headland_m, uphill_bearing_deg, crs)


def _plant(
    curves: list[shapely.LineString], starts: list[float], outline: shapely.Polygon, tree_spacing_m: float,
    headland_m: float, uphill_bearing_deg: float, crs: object,
) -> gpd.GeoDataFrame:
    """Set trees at equal arc lengths on the curves (in order, drawn the same way), and number those inside."""
    tree_spacing = checks.number(tree_spacing_m, "tree spacing", "m", over=0)
    headland = checks.number(headland_m, "headland", "m", least=0)
    if sum(curve.length for curve in curves) / tree_spacing > MOST_PLACES:
        what = f"a tree spacing of {tree_spacing:g} m gives over {MOST_PLACES:,} places"
        raise InputRefused(what, "no grove has so many", "check the spacings and the CRS")
    xy, row, place = [], [], []
    for number, (curve, start) in enumerate(zip(curves, starts, strict=True)):
        count = np.arange(-np.floor(start / tree_spacing), np.floor((curve.length - start) / tree_spacing) + 1)
        xy.append(shapely.get_coordinates(shapely.line_interpolate_point(curve, start + count * tree_spacing)))
        row.append(np.full(len(count), number))
        place.append(count.astype(np.int64))
    points, rows, places = np.concatenate(xy), np.concatenate(row), np.concatenate(place)
    inside = straight._inside(outline, points, headland)
    if not inside.any():
        rule = "the curves have no place inside the outline and its headland"
        remedy = "take smaller spacings, or draw the line in the block"
        raise InputRefused("the block has no room for a tree", rule, remedy)
    points, rows, places = points[inside], rows[inside], places[inside]
    along, across = _directions(curves, int(np.median(rows)), outline, uphill_bearing_deg)
    rows, places = rows * across, places * along
    rows, places = straight._number(rows - rows.min(), places - places.min())
    order = np.lexsort([places, rows])
    geometry = gpd.points_from_xy(*points[order].T)
    return gpd.GeoDataFrame({"row": rows[order], "position": places[order]}, geometry=geometry, crs=crs)


def _directions(
    curves: list[shapely.LineString], at: int, outline: shapely.Polygon, uphill_bearing_deg: float
) -> tuple[int, int]:
    """Tell whether positions and rows count up with the curves (1) or against them (-1), by a row in the middle."""
    crossing = shapely.get_coordinates(shapely.intersection(curves[at], outline.envelope))
    run = np.sort(shapely.line_locate_point(curves[at], shapely.points(crossing)))[[0, -1]]
    ends = shapely.get_coordinates(shapely.line_interpolate_point(curves[at], run))
    chord = ends[1] - ends[0]
    bearing = float(np.degrees(np.arctan2(chord[0], chord[1])) % 360)
    along, across = row_directions(bearing, uphill_bearing_deg)
    beside = at + 1 if at + 1 < len(curves) else at - 1
    middle = curves[at].interpolate(float(run.mean()))
    other = curves[beside].interpolate(curves[beside].project(middle)) if len(curves) > 1 else middle
    up = (np.array([other.x, other.y]) - [middle.x, middle.y]) * np.sign(beside - at)
    return (1 if chord @ along >= 0 else -1), (1 if up @ across >= 0 else -1)


def _guide(line: shapely.LineString, outline: shapely.Polygon, radius: float) -> shapely.LineString:
    """Return the drawn line, rounded and drawn on straight at both ends until it has passed the block."""
    _check_line(line)
    xy = shapely.get_coordinates(shapely.remove_repeated_points(line))
    reach = 2 * float(np.hypot(*np.ptp(np.vstack([xy, shapely.get_coordinates(outline)]), axis=0)))
    ends = [xy[0] + reach * _unit(xy[0] - xy[1]), xy[-1] + reach * _unit(xy[-1] - xy[-2])]
    longer = shapely.LineString(np.vstack([ends[0], xy, ends[1]]))
    if not longer.is_simple:
        raise InputRefused(
            "the line to follow would cross itself when its ends are drawn on", "rows don't cross",
            "draw its ends out of the block, apart from each other",
        )
    # Points on a straight stretch say nothing, and the offset of a line that has them may lose its end
    rounded = _rounded(shapely.simplify(longer, 1e-6), radius)
    lost = shapely.distance(shapely.points(ends), rounded).max() > radius
    return longer if lost else rounded


def _check_line(line: shapely.LineString) -> None:
    if not isinstance(line, shapely.LineString):
        what = f"the line to follow is a {type(line).__name__}"
        raise InputRefused(what, "it must be one line", "draw it along one row")
    if line.is_empty or line.length == 0:
        raise InputRefused("the line to follow is empty", "it must have two points or more", "draw it along one row")
    if not line.is_simple:
        raise InputRefused("the line to follow crosses itself", "rows don't cross", "draw it again without the loop")


def _offset(line: shapely.LineString, distance: float) -> shapely.LineString:
    """Return the curve at a distance to the left of a line (right where negative), drawn the same way."""
    if distance == 0 or line.is_empty:
        return line
    curve = shapely.offset_curve(line, distance, quad_segs=ARC_SEGMENTS, join_style="round")
    if curve.is_empty:
        return shapely.LineString()
    parts = shapely.get_parts(curve)  # where a bend swallows a piece of the curve, the longest piece is the row
    longest = parts[int(np.argmax(shapely.length(parts)))]
    xy, along = shapely.get_coordinates(longest), shapely.get_coordinates(line)
    return longest if (xy[-1] - xy[0]) @ (along[-1] - along[0]) >= 0 else shapely.reverse(longest)


def _rounded(line: shapely.LineString, radius: float) -> shapely.LineString:
    """Round every bend to at least this radius: off to one side, back past the line, and home (opening and closing)."""
    rounded = _offset(_offset(_offset(line, radius), -2 * radius), radius)
    return shapely.simplify(rounded, SPLINTER_M)


def _point(line: shapely.LineString, distance: float) -> FloatArray:
    return shapely.get_coordinates(line.interpolate(distance))[0]


def _normal(line: shapely.LineString, distance: float) -> FloatArray:
    """Return the unit vector to the left of a line at a distance along it."""
    step = 1e-3 * line.length
    way = _unit(_point(line, min(distance + step, line.length)) - _point(line, max(distance - step, 0.0)))
    return np.array([-way[1], way[0]])


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.hypot(*vector), dtype=np.float64)
