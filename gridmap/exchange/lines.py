"""One drawn line in: the row that a contour planting follows."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange.files import MOST_TABLE_BYTES, SQLITE, json_of, read_bytes, start_of, text_of
from gridmap.exchange.geopackage import read_geopackage


def read_line(path: str | Path, *, layer: str | None = None, crs: object = None) -> gpd.GeoDataFrame:
    """Read the line that rows shall follow.

    Parameters
    ----------
    path : path
        GeoJSON or GeoPackage with one line; a line in several parts that meet is joined.
    layer : str, optional
        Layer of a GeoPackage.
    crs : optional
        CRS of a file that names none.

    Returns
    -------
    GeoDataFrame
        One line, in the CRS of the file (GeoJSON: WGS 84 longitude/latitude, RFC 7946).

    Raises
    ------
    FileRefused
        Not there, of another format, or not one line.
    CRSRefused
        A GeoPackage without a CRS.

    Examples
    --------
    >>> read_line("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    content = read_bytes(path, most_bytes=MOST_TABLE_BYTES)
    if start_of(path).startswith(SQLITE):
        frame = read_geopackage(path, layer=layer, kinds="LineString")
        source = frame.crs if frame.crs is not None else None if crs is None else parse_crs(crs)
        if source is None:
            raise CRSRefused(f"file {path.name} names no CRS", "without it nobody knows where it is", "name it")
        shapes = list(frame.geometry)
    else:
        shapes = _geojson(text_of(content, path.name, "GeoJSON"), path.name)
        source = parse_crs(LONLAT if crs is None else crs)
    return gpd.GeoDataFrame(geometry=[_one_line(shapes, path.name)], crs=source)


def _geojson(text: str, name: str) -> list[BaseGeometry]:
    """Return the geometries of a GeoJSON text, whatever of its objects it is."""
    held = json_of(text, name)
    kind = held.get("type") if isinstance(held, dict) else None
    features = held.get("features", []) if kind == "FeatureCollection" else [held]
    geometries = [
        part.get("geometry") if isinstance(part, dict) and part.get("type") == "Feature" else part for part in features
    ]
    try:
        return [shapely.from_geojson(json.dumps(geometry)) for geometry in geometries if geometry]
    except (shapely.errors.GEOSException, TypeError, ValueError):
        raise FileRefused(f"file {name} is no GeoJSON", "it must hold a line", "draw it and export it again") from None


def _one_line(shapes: list[BaseGeometry], name: str) -> shapely.LineString:
    """Return the one line of a file."""
    lines = [part for shape in shapes for part in shapely.get_parts(shape) if isinstance(part, shapely.LineString)]
    joined = shapely.line_merge(shapely.MultiLineString(lines)) if lines else None
    if not isinstance(joined, shapely.LineString) or joined.is_empty:
        found = "no line" if not lines else f"{len(lines)} lines that do not meet"
        raise FileRefused(f"file {name} holds {found}", "rows follow one line", "draw one line along one row")
    return joined
