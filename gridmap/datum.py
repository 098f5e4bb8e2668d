"""The way from one CRS to another: PROJ's best that needs no grid from outside, and never its shift by nothing."""

from __future__ import annotations

import functools
import warnings
from collections.abc import Callable
from typing import Final

import numpy as np
import pyproj
import pyproj.network
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import ProjError
from pyproj.transformer import Transformer, TransformerGroup

from gridmap.checks import FloatArray
from gridmap.errors import CRSRefused

# gridmap opens no socket: grids are never fetched while a grove is read.
pyproj.network.set_network_enabled(active=False)

# A shift known worse than this puts a tree on its neighbour (spacings start at about 1.5 m in hedgerows; common
# practice, no source): it is told from the first and refused from the second on.
TOLD_M: Final = 0.5
REFUSED_M: Final = 5.0

_GDA94: Final = "Geocentric Datum of Australia 1994"
_GDA2020_LONLAT: Final = 7844
_WGS84_LONLAT: Final = 4326
# Realisations of one datum that differ by decimetres up to about 1 m, and that PROJ can tell apart with grids only.
_FAMILIES: Final = ("NAD83", "North American Datum 1983", "European Terrestrial Reference")

Move = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
Bounds = tuple[float, ...]


def way(source: pyproj.CRS, target: pyproj.CRS, area: Bounds) -> tuple[Move, list[str]]:
    """Find the way from one CRS to the other, and what the grower should know about it.

    Parameters
    ----------
    source, target : CRS
        In two dimensions (see `flat`).
    area : (4,) tuple
        West, south, east, north [degrees] of what is to be moved.

    Returns
    -------
    move : callable
        Takes and gives x and y (longitude and latitude, or easting and northing).
    notes : list of str
        WGS 84 taken as the other's current national datum; a shift known to decimetres only.

    Raises
    ------
    CRSRefused
        When PROJ has no way that is good to 5 m without a grid that is not here.

    Examples
    --------
    >>> move, notes = way(pyproj.CRS(28355), pyproj.CRS(7855), (144.7, -37.1, 144.8, -37.0))
    >>> x, y = move(300_000.0, 5_900_000.0)
    >>> round(x - 300_000, 1), round(y - 5_900_000, 1), notes
    (0.5, 1.5, [])
    """
    source_wgs84, target_wgs84 = is_wgs84(source), is_wgs84(target)
    notes: list[str] = []
    if source_wgs84 and not target_wgs84:
        pairs = [(source, lonlat_of(source)), (_current_lonlat(target), target)]
        current = _current_lonlat(target).name
        notes.append(f"WGS 84 positions were taken as {current}, the current datum of the grove's place")
    elif target_wgs84 and not source_wgs84:
        pairs = [(source, _current_lonlat(source)), (lonlat_of(target), target)]
    elif source_wgs84 and target_wgs84:
        pairs = [(source, lonlat_of(source)), (lonlat_of(target), target)]
    else:
        pairs = [(source, target)]
    steps: list[Transformer] = []
    for start, end in pairs:
        found, told = _transformers(start.to_wkt(), end.to_wkt(), area)
        steps.extend(found)
        notes.extend(told)

    def move(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        for step in steps:
            x, y = step.transform(x, y)
        return x, y

    return move, notes


@functools.lru_cache(maxsize=64)
def _transformers(start_wkt: str, end_wkt: str, area: Bounds) -> tuple[tuple[Transformer, ...], tuple[str, ...]]:
    """Return PROJ's best way that needs no grid from outside, never its ballpark; and what to tell about it."""
    start, end = pyproj.CRS.from_wkt(start_wkt), pyproj.CRS.from_wkt(end_wkt)
    remedy = f"transform the file to {end.name} with a national service or a GIS first"
    best = _best(start, end, area)
    if best is not None:
        if best.accuracy > REFUSED_M:
            what = f"{start.name} can be brought to {end.name} to {best.accuracy:g} m only"
            raise CRSRefused(what, f"over {REFUSED_M:g} m a tree lands on its neighbour", remedy)
        told = f"{start.name} was brought to {end.name} by {best.description}, good to {best.accuracy:g} m"
        return (best,), (told,) if best.accuracy > TOLD_M else ()
    if _family(start) and _family(start) == _family(end):
        first, last = _best(start, lonlat_of(start), area), _best(lonlat_of(end), end, area)
        if first is not None and last is not None:
            told = f"{lonlat_of(start).name} was taken as {lonlat_of(end).name}; the two can differ by about a metre"
            return (first, last), (told,)
    rule = "PROJ has no way for it without a grid that is not on this machine"
    raise CRSRefused(f"{start.name} can't be brought to {end.name} here", rule, remedy)


def _best(start: pyproj.CRS, end: pyproj.CRS, area: Bounds) -> Transformer | None:
    place = AreaOfInterest(*area)
    with warnings.catch_warnings():
        # pyproj warns where a better way needs a grid that is not here; `_transformers` tells the accuracy instead.
        warnings.simplefilter("ignore", UserWarning)
        try:
            group = TransformerGroup(
                start,
                end,
                always_xy=True,
                allow_ballpark=False,
                area_of_interest=place,  # type: ignore[arg-type]  # pyproj's stub names its private twin of the class
            )
        except ProjError:
            return None
    return next((way for way in group.transformers if way.accuracy >= 0), None)


def flat(crs: pyproj.CRS) -> pyproj.CRS:
    """Return the horizontal part of a CRS."""
    if crs.sub_crs_list and not crs.is_bound:
        crs = crs.sub_crs_list[0]
    return crs.to_2d()


def lonlat_of(crs: pyproj.CRS) -> pyproj.CRS:
    """Return longitude and latitude on the datum of a CRS."""
    base = crs if crs.is_geographic else crs.geodetic_crs
    if base is None:
        raise CRSRefused(
            f"CRS {crs.name} is tied to no datum", "nobody knows where on the earth it lies", "name an EPSG number"
        )
    return base.to_2d()


def _current_lonlat(crs: pyproj.CRS) -> pyproj.CRS:
    """Return longitude/latitude on the datum that a position taken today is on."""
    return pyproj.CRS.from_epsg(_GDA2020_LONLAT) if datum(crs) == _GDA94 else lonlat_of(crs)


def datum(crs: pyproj.CRS) -> str:
    """Return the name of the datum of a CRS."""
    frame = lonlat_of(crs).datum
    return "" if frame is None else str(frame.name)


def is_wgs84(crs: pyproj.CRS) -> bool:
    """Tell whether a CRS is on WGS 84, in any of its realisations."""
    return datum(crs).startswith("World Geodetic System 1984")


def _family(crs: pyproj.CRS) -> str | None:
    """Return NAD83 or ETRS89 for one of their realisations."""
    name = next((known for known in _FAMILIES if datum(crs).startswith(known)), None)
    return "NAD83" if name == "North American Datum 1983" else name


def apart_from_wgs84_m(crs: pyproj.CRS) -> float:
    """Return how far a datum lies from WGS 84 [m], by PROJ's best way without a grid; infinite without one."""
    if is_wgs84(crs) or _family(crs):
        return 0.0
    west, south, east, north = crs.area_of_use.bounds if crs.area_of_use else (-180.0, -80.0, 180.0, 84.0)
    way = _best(lonlat_of(crs), pyproj.CRS.from_epsg(_WGS84_LONLAT), (west, south, east, north))
    if way is None:
        return float("inf")
    longitude, latitude = (west + east) / 2, (south + north) / 2
    moved = way.transform(longitude, latitude)
    return float(pyproj.Geod(ellps="WGS84").inv(longitude, latitude, *moved)[2])


def lonlat_bounds(source: pyproj.CRS, bounds: FloatArray) -> Bounds:
    """Return west, south, east, north [degrees] on the source's own datum; they only choose among PROJ's ways."""
    if source.is_geographic:
        west, south, east, north = (float(value) for value in bounds)
    else:
        plain = Transformer.from_crs(source, lonlat_of(source), always_xy=True)
        west, south, east, north = plain.transform_bounds(*bounds)
    if not np.isfinite([west, south, east, north]).all():
        what = f"coordinates around {bounds[0]:g}, {bounds[1]:g} lie outside {source.name}"
        raise CRSRefused(what, remedy="check the CRS that the file names")
    return tuple(round(value, 1) for value in (west, south, east, north))
