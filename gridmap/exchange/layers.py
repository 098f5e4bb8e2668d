"""A layer of outlines or trees from a file of any open format, told apart by what is in it."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import Final

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange.files import MOST_LAYER_BYTES, check_file, read_bytes
from gridmap.exchange.geojson import read_geojson
from gridmap.exchange.geopackage import read_geopackage
from gridmap.exchange.gpx import read_gpx
from gridmap.exchange.kinds import WANTED, kind_of
from gridmap.exchange.kml import read_kml
from gridmap.exchange.rings import CLOSING_GAP_M, Found, check_corners
from gridmap.exchange.shapefile import read_shapefile
from gridmap.exchange.zips import open_zip

MOST_MARKUP_BYTES: Final = 50 * 2**20


def read_layer(
    path: str | Path,
    *,
    layer: str | None = None,
    crs: object = None,
    kinds: str = "Polygon",
    closing_gap_m: float = CLOSING_GAP_M,
) -> gpd.GeoDataFrame:
    """Read a layer from a GeoJSON, GeoPackage, KML, GPX or zipped Shapefile, told apart by what is in it.

    Parameters
    ----------
    path : path
        The file, at most 100 MB, KML and GPX 50 MB. A GeoPackage is read from a copy, so that its owner's locks stay as
        they are; a zip archive is looked through before anything is unpacked (`gridmap.exchange.zips.open_zip`).
    layer : str, optional
        Layer of a GeoPackage, Shapefile of an archive (needed where several could be meant), folder of a KML file, or
        tracks, routes, waypoints of a GPX file.
    crs : optional
        CRS of a file that names none.
    kinds : str
        Polygon or Point: which layers could be meant.
    closing_gap_m : float
        How far apart the ends of a track or line may be that was walked around a block [m].

    Returns
    -------
    GeoDataFrame
        All columns, in the CRS of the file: WGS 84 longitude/latitude for KML, GPX, and GeoJSON that names no other
        (RFC 7946). ``attrs["notes"]`` lists what the grower should know of the reading.

    Raises
    ------
    FileRefused
        Not there, empty, cut off, too large, of another format, or without entries.
    OutlineRefused
        Over 100,000 corners in an outline or 500,000 in a file; a walk that is not closed.
    CRSRefused
        A CRS that is missing, unknown or contradicts ``crs``.

    Examples
    --------
    >>> read_layer("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    named = None if crs is None else parse_crs(crs)
    kind = kind_of(path)
    if kind == "GeoPackage":
        frame = read_geopackage(path, layer=layer, kinds=kinds)
    elif kind == "zip":
        frame = _zip(path, layer, kinds, closing_gap_m)
    elif kind in ("KML", "GPX"):
        content = read_bytes(path, most_bytes=MOST_MARKUP_BYTES)
        reader = read_kml if kind == "KML" else read_gpx
        frame = _of_found(reader(content, path.name, kinds=kinds, layer=layer, closing_gap_m=closing_gap_m))
    elif kind == "CSV":
        raise FileRefused(f"file {path.name} is a table", "a layer holds a shape each", "export it as GeoJSON")
    else:
        frame = read_geojson(path)
    if len(frame) == 0:
        raise FileRefused(f"file {path.name} has no entries", _looked_for(kind, kinds), "export it again")
    _check_shapes(frame, path.name)
    return _with_crs(frame, named, path.name)


def _check_shapes(frame: gpd.GeoDataFrame, name: str) -> None:
    """Refuse shapes of too many corners, and corners that are nowhere."""
    shapes = frame.geometry.to_numpy()
    for number, corners in enumerate(shapely.get_num_coordinates(shapes), start=1):
        check_corners(int(corners), f"entry {number} of {name}")
    xy, entries = shapely.get_coordinates(shapes, return_index=True)
    lost = entries[~np.isfinite(xy).all(axis=1)]
    if len(lost):
        what = f"entry {lost[0] + 1} of {name} has a corner without a position"
        raise FileRefused(what, "every coordinate must be a finite number", "draw it again")


def _looked_for(kind: str, kinds: str) -> str:
    """Say what was not found, in the words of the format."""
    if kind == "GPX":
        return "there is no waypoint in it" if kinds == "Point" else "there is no track or route in it"
    if kind == "KML":
        return "there is no point in it" if kinds == "Point" else "there is no polygon or line in it"
    return "there is nothing to take in"


def _of_found(found: Found) -> gpd.GeoDataFrame:
    """Make a frame of what was parsed here; KML and GPX are in WGS 84 by their standards."""
    frame = gpd.GeoDataFrame(found.records, geometry=found.shapes, crs=LONLAT, index=range(len(found.shapes)))
    frame.attrs["notes"] = found.notes
    return frame


def _zip(path: Path, layer: str | None, kinds: str, closing_gap_m: float) -> gpd.GeoDataFrame:
    """Read the Shapefile in an archive, or the KML file in it (which such an archive is made for as well)."""
    with open_zip(path) as archive:
        marks = [name for name in archive.names if name.lower().endswith(".kml")]
        if marks and not any(name.lower().endswith(".shp") for name in archive.names):
            main = next((name for name in marks if PurePosixPath(name).name.lower() == "doc.kml"), marks[0])
            content = archive.read(main, most_bytes=MOST_MARKUP_BYTES)
            return _of_found(read_kml(content, path.name, kinds=kinds, layer=layer, closing_gap_m=closing_gap_m))
        frame = read_shapefile(archive, layer=layer, kinds=kinds)
        frame.attrs["ten_letters"] = True
        return frame


def _with_crs(frame: gpd.GeoDataFrame, named: pyproj.CRS | None, name: str) -> gpd.GeoDataFrame:
    """Join the CRS of the file with that which the grower named."""
    if frame.crs is None and named is None:
        raise CRSRefused(
            f"file {name} names no CRS", "without it nobody knows where it is", "name it, for instance EPSG:7855"
        )
    if frame.crs is None or frame.attrs.pop("crs_by_rule", False):
        return frame if named is None else frame.set_crs(named, allow_override=True)
    if named is not None and not frame.crs.equals(named, ignore_axis_order=True):
        raise CRSRefused(
            f"file {name} is in {frame.crs.name}", f"not in {named.name}", "leave the CRS away, or mend the file"
        )
    return frame


__all__ = ["MOST_MARKUP_BYTES", "WANTED", "read_layer"]
