"""Where things are: the grove's projected CRS, and the way of everything into it with the datum handled."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyproj
import shapely
from pyproj.exceptions import CRSError
from pyproj.transformer import Transformer

from gridmap import checks
from gridmap.datum import REFUSED_M, Move, apart_from_wgs84_m, datum, flat, lonlat_bounds, lonlat_of, way
from gridmap.errors import CRSRefused

LONLAT: Final = 4326
FAR_M: Final = 50_000.0
# Rough outlines of where a national datum is used (own drawing, longitude/latitude). Beside the line either answer is
# within about 2 m of the other, and the grower can override it.
_AUSTRALIA: Final = shapely.from_wkt(
    "MULTIPOLYGON (((112.5 -44, 112.5 -13, 129 -10.9, 141 -10.6, 142 -9.2, 144.3 -9.2, 145.5 -12, 154.5 -13, 154.5 -44,"
    " 112.5 -44)), ((158.9 -31.9, 159.4 -31.9, 159.4 -31.3, 158.9 -31.3, 158.9 -31.9)),"  # Lord Howe Island
    " ((167.8 -29.2, 168.1 -29.2, 168.1 -28.9, 167.8 -28.9, 167.8 -29.2)))"  # Norfolk Island
)
_EUROPE: Final = shapely.from_wkt(
    "MULTIPOLYGON (((-11 72, -11 35.9, -5.9 35.93, -5.3 35.97, -1.5 36.5, 3 38, 8 38.2, 11.3 37.6, 11.6 36.6, 12 35.3,"
    " 16 35, 23 34.3, 27.5 34.8, 28.4 35.8, 28.3 36.5, 27.4 36.6, 27.38 36.95, 27.1 37.6, 26.2 38.2, 26.18 38.7,"
    " 26.65 39, 26.6 39.4, 26 39.6, 26 40.6, 26.3 41.7, 28 42, 30 43.5, 29.8 45.2, 28.2 45.5, 26 48, 22.2 48.2,"
    " 24.2 50.9, 23.6 52.5, 24 53.9, 26.8 55, 28.2 56, 28.2 59.5, 31.6 62.9, 29 69.8, 31.2 70.5, 31 72, -11 72)),"
    " ((32.2 34.5, 34.7 34.5, 34.7 35.8, 32.2 35.8, 32.2 34.5)))"  # Cyprus
)
# The second part is Hawaii.
_NORTH_AMERICA: Final = shapely.from_wkt(
    "MULTIPOLYGON (((-125.5 32.5, -117.1 32.53, -114.8 32.5, -111.07 31.33, -108.2 31.33, -108.2 31.78, -106.5 31.78,"
    " -103.2 28.98, -101.4 29.77, -99.5 27.5, -97.1 25.9, -83 24.2, -79 24.9, -66 40, -52 46, -52 60, -60 75, -141 75,"
    " -169 72, -169 52, -135 50, -125.5 32.5)), ((-161 18.5, -154.5 18.5, -154.5 22.5, -161 22.5, -161 18.5)))"
)


def choose_crs(longitude_deg: float, latitude_deg: float) -> int:
    """Choose the projected CRS that a grove at this place is stored in.

    Parameters
    ----------
    longitude_deg, latitude_deg : float
        A position in the grove [degrees], WGS 84.

    Returns
    -------
    int
        EPSG code, metres: GDA2020 / MGA zone in Australia, ETRS89 / UTM in Europe, NAD83 / UTM in North America, else
        WGS 84 / UTM.

    Raises
    ------
    InputRefused
        When a number is missing or outside -180..180 and -80..84 (UTM ends there).

    Examples
    --------
    >>> choose_crs(145.5, -36.4), choose_crs(-4.0, 37.8), choose_crs(-122.1, 39.5), choose_crs(-70.9, -33.6)
    (7855, 25830, 26910, 32719)
    """
    longitude = checks.number(longitude_deg, "longitude", "degrees", least=-180, most=180)
    order = "give longitude first, then latitude"
    latitude = checks.number(latitude_deg, "latitude", "degrees", least=-80, most=84, remedy=order)
    zone = min(int((longitude + 180) // 6) + 1, 60)
    place = shapely.Point(longitude, latitude)
    # EPSG numbers its zones in step with the UTM zone: 7800 + zone, 25800 + zone, 26900 + zone, 32600 or 32700 + zone.
    if _AUSTRALIA.intersects(place):
        return 7800 + zone
    if _EUROPE.intersects(place):
        return 25800 + zone
    if _NORTH_AMERICA.intersects(place):
        return 26900 + zone
    return (32600 if latitude >= 0 else 32700) + zone


def choose_crs_for(frame: gpd.GeoDataFrame) -> int:
    """Choose the projected CRS of a grove from the first thing that was imported into it.

    Examples
    --------
    >>> choose_crs_for(gpd.GeoDataFrame(geometry=[shapely.Point(145.5, -36.4)], crs=4326))
    7855
    """
    source = _source(frame)
    _check_numbers(frame, source)
    west, south, east, north = lonlat_bounds(source, frame.total_bounds)
    return choose_crs((west + east) / 2, (south + north) / 2)


def grove_crs(value: object) -> int:
    """Check the grower's own choice of the grove's CRS.

    Parameters
    ----------
    value : int or str
        An EPSG code, as 7855 or "EPSG:7855".

    Returns
    -------
    int
        The EPSG code of a projected CRS in metres on a datum within about 2 m of WGS 84.

    Raises
    ------
    CRSRefused
        When it is none of that.

    Examples
    --------
    >>> grove_crs("EPSG:7855")
    7855
    >>> grove_crs(4326)
    Traceback (most recent call last):
    gridmap.errors.CRSRefused: CRS WGS 84 is in degrees: a grove needs a projected CRS in metres. Choose for instance
    a UTM or MGA zone.
    """
    crs = parse_crs(value)
    code = crs.to_epsg()
    remedy = "choose for instance a UTM or MGA zone"
    if not crs.is_projected:
        raise CRSRefused(f"CRS {crs.name} is in degrees", "a grove needs a projected CRS in metres", remedy)
    if code is None:
        raise CRSRefused(f"CRS {crs.name} has no EPSG number", "the grove file stores one", remedy)
    axes = crs.axis_info[:2]
    if {axis.direction for axis in axes} != {"east", "north"} or any(axis.unit_conversion_factor != 1 for axis in axes):
        what = f"CRS {crs.name} counts in {axes[0].unit_name} to the {axes[0].direction} and {axes[1].direction}"
        raise CRSRefused(what, "a grove needs metres to the east and north", remedy)
    if crs.to_epsg() == 3857:
        raise CRSRefused(f"CRS {crs.name} stretches distances", "its metre is 0.6 to 0.9 m where olives grow", remedy)
    if apart_from_wgs84_m(crs) > REFUSED_M:
        what = f"CRS {crs.name} is on the datum {datum(crs)}"
        raise CRSRefused(what, "that lies too far from WGS 84, which phones give", remedy)
    return int(code)


def parse_crs(value: object) -> pyproj.CRS:
    """Read a CRS that the grower or a file named.

    Examples
    --------
    >>> parse_crs("EPSG:28355").name
    'GDA94 / MGA zone 55'
    """
    try:
        return pyproj.CRS.from_user_input(value)
    except (CRSError, TypeError, ValueError):
        named = str(value)[:80]
        raise CRSRefused(f"CRS {named!r} is not known", "it must be an EPSG number such as EPSG:7855") from None


def to_grove(
    frame: gpd.GeoDataFrame, crs_epsg: int, *, near: npt.ArrayLike | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Bring positions or outlines into the grove's CRS, so that old and new datum land on each other.

    Parameters
    ----------
    frame : GeoDataFrame
        Any CRS known to EPSG, every geometry there.
    crs_epsg : int
        EPSG code of the grove, projected, metres.
    near : (4,) array, optional
        West, south, east, north [m] of what the grove already has, in its CRS: what lies over 50 km from it is refused.
        Not a number, as the bounds of nothing are, counts as not given.

    Returns
    -------
    frame : GeoDataFrame
        The same rows in the grove's CRS, without heights.
    notes : list of str
        What the grower should know about the shift (WGS 84 taken as the grove's datum; one known to decimetres only).

    Raises
    ------
    CRSRefused
        No CRS, coordinates swapped, in another unit, missing or far away; a shift that PROJ can't do within 5 m without
        a grid that is not here. PROJ's shift by nothing ("ballpark") is never used.

    Notes
    -----
    GDA94 to GDA2020 is the seven-parameter similarity transformation of the GDA2020 Technical Manual (EPSG operation
    8048, 0.01 m). WGS 84, as a phone or RFC 7946 means it, is taken as the current national datum of the place (GDA2020
    where the grove is on GDA94).

    References
    ----------
    ICSM (2020), Geocentric Datum of Australia 2020 Technical Manual, section 3.1. Butler et al. (2016), RFC 7946.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame(geometry=[shapely.Point(300_000, 5_900_000)], crs=28355)
    >>> moved, notes = to_grove(trees, 7855)
    >>> float(round(moved.geometry.x[0] - 300_000, 1)), float(round(moved.geometry.y[0] - 5_900_000, 1)), notes
    (0.5, 1.5, [])
    >>> len(to_grove(trees.head(0), 7855)[0])
    0
    """
    target = pyproj.CRS.from_epsg(crs_epsg)
    source = _source(frame)
    if len(frame) == 0:
        return frame.to_crs(target), []
    _check_numbers(frame, source)
    if near is not None and not np.isfinite(np.asarray(near, dtype=np.float64)).all():
        near = None
    move, notes = way(source, target, tuple(lonlat_bounds(source, frame.total_bounds)))
    geometry = shapely.force_2d(frame.geometry.to_numpy())
    moved = shapely.transform(geometry, move, interleaved=False)
    _check_near(moved, geometry, move, source, target, near)
    result = frame.set_geometry(gpd.GeoSeries(moved, index=frame.index, crs=target), crs=target)
    return result, notes


def to_lonlat(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give positions or outlines of the grove as longitude and latitude, as RFC 7946, KML and GPX want them.

    Parameters
    ----------
    frame : GeoDataFrame
        In the grove's CRS.

    Returns
    -------
    GeoDataFrame
        In WGS 84 (EPSG:4326), longitude first; the grove's current datum is taken as WGS 84, as on the way in.

    Examples
    --------
    >>> place = to_lonlat(gpd.GeoDataFrame(geometry=[shapely.Point(500_000, 5_900_000)], crs=7855)).geometry.iloc[0]
    >>> round(place.x, 6), round(place.y, 3)
    (147.0, -37.046)
    """
    source, target = _source(frame), pyproj.CRS.from_epsg(LONLAT)
    if len(frame) == 0:
        return frame.to_crs(target)
    move, _ = way(source, target, tuple(lonlat_bounds(source, frame.total_bounds)))
    moved = shapely.transform(shapely.force_2d(frame.geometry.to_numpy()), move, interleaved=False)
    return frame.set_geometry(gpd.GeoSeries(moved, index=frame.index, crs=target), crs=target)


def _source(frame: gpd.GeoDataFrame) -> pyproj.CRS:
    """Return the frame's CRS in two dimensions."""
    if frame.crs is None:
        rule = "without it nobody knows where they are"
        raise CRSRefused("the coordinates have no CRS", rule, "name it, for instance EPSG:7855")
    return flat(frame.crs)


def _check_numbers(frame: gpd.GeoDataFrame, source: pyproj.CRS) -> None:
    """Refuse missing or impossible coordinates before PROJ sees them."""
    geometry = frame.geometry
    absent = (geometry.isna() | geometry.is_empty).to_numpy()
    xy, entries = shapely.get_coordinates(geometry.to_numpy(), return_index=True)
    lost = np.flatnonzero(absent) if absent.any() else entries[~np.isfinite(xy).all(axis=1)]
    if len(lost):
        entry = int(lost[0]) + 1
        raise CRSRefused(f"entry {entry} has no position", "every one needs finite coordinates")
    x, y = np.abs(xy).max(axis=0)
    if source.is_geographic and (x > 360 or y > 360):
        what = f"coordinates such as {xy[0, 0]:g}, {xy[0, 1]:g} are no degrees"
        rule = f"{source.name} is longitude and latitude"
        raise CRSRefused(what, rule, "they look like metres: name their projected CRS")
    if source.is_geographic and y > 90:
        swap = "longitude and latitude look swapped: give longitude first" if x <= 90 else None
        given = xy[np.abs(xy[:, 1]).argmax(), 1]
        raise CRSRefused(f"latitude is {given:g} degrees", "it must be between -90 and 90", swap)
    if source.is_projected and x <= 180 and y <= 90 and not _starts_at_its_origin(source):
        what = f"coordinates such as {xy[0, 0]:g}, {xy[0, 1]:g} are no metres of {source.name}"
        raise CRSRefused(what, "they look like degrees", "name their CRS, for instance EPSG:4326")


def _starts_at_its_origin(source: pyproj.CRS) -> bool:
    """Tell whether small numbers are to be expected: a local grid has no false easting and northing."""
    way_there = source.coordinate_operation
    offsets = [] if way_there is None else [part.value for part in way_there.params if part.name.startswith("False")]
    return bool(offsets) and not any(offsets)


def _check_near(
    moved: npt.NDArray[np.object_],
    given: npt.NDArray[np.object_],
    move: Move,
    source: pyproj.CRS,
    target: pyproj.CRS,
    near: npt.ArrayLike | None,
) -> None:
    """Refuse what lies far from the grove, and say so where swapping the two numbers would bring it there."""
    distance_m = _distance_m(moved, target, near)
    if np.isfinite(distance_m) and distance_m <= FAR_M:
        return
    swapped = _distance_m(shapely.transform(given, lambda x, y: move(y, x), interleaved=False), target, near)
    names = "longitude and latitude" if source.is_geographic else "easting and northing"
    remedy = "check the coordinates and their CRS"
    if np.isfinite(swapped) and swapped <= FAR_M:
        remedy = f"{names} look swapped: swap them"
    where = "the grove" if near is not None else f"where {target.name} is used"
    far = f"{distance_m / 1000:,.0f} km from" if np.isfinite(distance_m) else "far from"
    raise CRSRefused(f"the coordinates lie {far} {where}", f"over {FAR_M / 1000:g} km is refused", remedy)


def _distance_m(moved: npt.NDArray[np.object_], target: pyproj.CRS, near: npt.ArrayLike | None) -> float:
    """Return how far [m] the farthest vertex lies outside the bounds, or outside the CRS's zone widened by 500 km."""
    xy = shapely.get_coordinates(moved)
    if not np.isfinite(xy).all():
        return float("inf")
    if near is not None:
        west, south, east, north = np.asarray(near, dtype=np.float64)
    else:
        used = target.area_of_use
        if used is None or not target.is_projected:
            return 0.0
        way = Transformer.from_crs(lonlat_of(target), target, always_xy=True)
        west, south, east, north = np.asarray(way.transform_bounds(*used.bounds)) + np.array([-1, -1, 1, 1]) * 500_000.0
    outside = np.maximum.reduce([west - xy[:, 0], xy[:, 0] - east, south - xy[:, 1], xy[:, 1] - north])
    return float(max(outside.max(), 0.0))
