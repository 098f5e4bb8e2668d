"""GeoJSON in, old and new, parsed strictly entry by entry, so that a message can name the one that is wrong."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyproj
import shapely

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange.files import MOST_LAYER_BYTES, MOST_ROWS, json_of, read_bytes, text_of
from gridmap.exchange.kinds import WANTED
from gridmap.exchange.rings import check_corners, check_file_corners


def read_geojson(path: Path) -> gpd.GeoDataFrame:
    """Read the entries of a GeoJSON file.

    Parameters
    ----------
    path : path
        A file that is there.

    Returns
    -------
    GeoDataFrame
        All properties as columns; WGS 84 longitude/latitude, or the CRS of an old member ``crs``.
        ``attrs["crs_by_rule"]`` tells whether the standard alone says the CRS.

    Raises
    ------
    FileRefused, CRSRefused, OutlineRefused
        Cut off, no GeoJSON, an entry without usable geometry, nested without end, too many corners.

    References
    ----------
    Butler et al. (2016), The GeoJSON Format, RFC 7946.

    Examples
    --------
    >>> read_geojson(Path("nowhere.geojson"))
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    text = text_of(read_bytes(path, most_bytes=MOST_LAYER_BYTES), path.name, WANTED)
    # Every corner opens a bracket of its own; counting them costs nothing beside parsing them.
    check_file_corners(text.count("[") if text.lstrip().startswith("{") else 0, path.name)
    try:
        return _entries(json_of(text, path.name), path)
    except RecursionError:
        raise FileRefused(f"file {path.name} is nested without end", "no map is", "export it again") from None


def _entries(content: Any, path: Path) -> gpd.GeoDataFrame:
    if not isinstance(content, dict) or not isinstance(content.get("type"), str):
        raise FileRefused(f"file {path.name} is JSON but no GeoJSON", "it must have a type, such as FeatureCollection")
    features = _features(content, path.name)
    if len(features) > MOST_ROWS:
        raise FileRefused(f"file {path.name} has {len(features):,} entries", "that is no grove's", "cut it down")
    records, shapes = [], []
    for number, feature in enumerate(features, start=1):
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            raise FileRefused(f"entry {number} of {path.name} is no Feature", "RFC 7946 asks for one")
        properties = feature.get("properties")
        records.append(dict(properties) if isinstance(properties, dict) else {})
        shapes.append(_shape(feature.get("geometry"), number, path.name))
    for record in records:
        record.pop("geometry", None)
    crs = _member_crs(content, path.name)
    frame = gpd.GeoDataFrame(records, geometry=shapes, crs=crs or LONLAT, index=range(len(shapes)))
    frame.attrs["crs_by_rule"] = crs is None
    return frame


def _features(content: dict[str, Any], name: str) -> list[Any]:
    """Return the features of a collection, one feature, or a bare geometry as a feature."""
    if content["type"] == "FeatureCollection":
        if not isinstance(content.get("features"), list):
            raise FileRefused(
                f"file {name} has no features", "a FeatureCollection holds a list of them", "export it again"
            )
        return list(content["features"])
    if content["type"] == "Feature":
        return [content]
    if "coordinates" in content or "geometries" in content:
        return [{"type": "Feature", "properties": {}, "geometry": content}]
    raise FileRefused(f"file {name} is of type {content['type'][:40]}", f"it must be {WANTED}")


def _shape(geometry: object, number: int, name: str) -> shapely.Geometry | None:
    if geometry is None:
        return None
    check_corners(_corners(geometry), f"entry {number} of {name}")
    try:
        shape = shapely.from_geojson(json.dumps(geometry, allow_nan=False))
        return shape if isinstance(shape, shapely.Geometry) else None
    except (shapely.errors.GEOSException, shapely.errors.ShapelyError, TypeError, ValueError) as trouble:
        reason = str(trouble).split(": ", 1)[-1][:120]
        if "JSON compliant" in str(trouble):
            reason = "a coordinate is larger than any number"
        if "json.exception" in str(trouble):
            reason = "its coordinates are not the lists of numbers that its type asks for"
        raise FileRefused(f"entry {number} of {name} has no usable geometry", reason, "draw it again") from None


def _corners(geometry: object) -> int:
    """Count the corners of a polygon or a line without making it."""
    if not isinstance(geometry, dict):
        return 0
    rings = geometry.get("coordinates")
    if geometry.get("type") == "MultiPolygon" and isinstance(rings, list):
        rings = [ring for part in rings if isinstance(part, list) for ring in part]
    elif geometry.get("type") == "LineString":
        rings = [rings]
    if not isinstance(rings, list):
        return 0
    return sum(len(ring) for ring in rings if isinstance(ring, list))


def _member_crs(content: dict[str, Any], name: str) -> pyproj.CRS | None:
    """Respect the member ``crs`` of GeoJSON 2008, which RFC 7946 took away but many programs still write."""
    if "crs" not in content:
        return None
    member = content["crs"]
    properties = member.get("properties") if isinstance(member, dict) else None
    known = isinstance(member, dict) and member.get("type") == "name" and isinstance(properties, dict)
    if not known or not isinstance(properties.get("name"), str):  # type: ignore[union-attr]  # known says it is a dict
        raise CRSRefused(
            f"file {name} has a member crs that names no CRS", "it must be of type name", "export as RFC 7946"
        )
    named = parse_crs(properties["name"])  # type: ignore[index]  # as above
    # CRS84 is WGS 84 with longitude first, as every layer here has it.
    return parse_crs(LONLAT) if named.name == "WGS 84 (CRS84)" else named
