"""A layer of outlines or trees: GeoJSON, old and new, and GeoPackage."""

from __future__ import annotations

import contextlib
import json
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pyogrio
import pyogrio.errors
import pyproj
import shapely

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange.files import (
    MOST_LAYER_BYTES,
    MOST_ROWS,
    SQLITE,
    check_file,
    json_of,
    read_bytes,
    start_of,
    text_of,
)

WANTED: Final = "GeoJSON or GeoPackage"
_GEOPACKAGE_IDS: Final = (b"GPKG", b"GP10", b"GP11")
# Written beside a database while it is open; without them a copy may lack what was last written.
_SIDE_FILES: Final = ("-journal", "-wal")


def read_layer(
    path: str | Path, *, layer: str | None = None, crs: object = None, kinds: str = "Polygon"
) -> gpd.GeoDataFrame:
    """Read a layer from a GeoJSON or GeoPackage file, told apart by what is in it.

    Parameters
    ----------
    path : path
        The file, at most 100 MB. A GeoPackage is read from a copy, so that its owner's locks stay as they are.
    layer : str, optional
        Layer of a GeoPackage; needed where several could be meant.
    crs : optional
        CRS of a file that names none.
    kinds : str
        Polygon or Point: which layers could be meant.

    Returns
    -------
    GeoDataFrame
        All columns, in the CRS of the file: WGS 84 longitude/latitude for GeoJSON that names no other (RFC 7946).

    Raises
    ------
    FileRefused
        Not there, empty, cut off, too large, of another format, or without entries.
    CRSRefused
        A CRS that is missing, unknown or contradicts ``crs``.

    References
    ----------
    Butler et al. (2016), The GeoJSON Format, RFC 7946. OGC 12-128r18, GeoPackage Encoding Standard 1.3.

    Examples
    --------
    >>> read_layer("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    start = start_of(path)
    named = None if crs is None else parse_crs(crs)
    frame = _geopackage(path, start, layer, kinds) if start.startswith(SQLITE) else _geojson(path)
    if len(frame) == 0:
        raise FileRefused(f"file {path.name} has no entries", "there is nothing to take in", "export it again")
    return _with_crs(frame, named, path.name)


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


def _geopackage(path: Path, start: bytes, layer: str | None, kinds: str) -> gpd.GeoDataFrame:
    """Read a layer from a copy: GDAL on a file that this process writes would drop the locks on it."""
    if start[68:72] not in _GEOPACKAGE_IDS:
        raise FileRefused(f"file {path.name} is a database but no GeoPackage", f"it must be {WANTED}")
    with _copy(path) as copy:
        chosen = _choose({str(key): kind for key, kind in pyogrio.list_layers(copy)}, layer, kinds, path.name)
        frame = pyogrio.read_dataframe(copy, layer=chosen, max_features=MOST_ROWS + 1)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise FileRefused(f"layer {chosen} of {path.name} holds no shapes", f"it must hold a {kinds} each")
    if len(frame) > MOST_ROWS:
        raise FileRefused(
            f"layer {chosen} of {path.name} has over {MOST_ROWS:,} entries", "that is no grove's", "cut it down"
        )
    if (frame.crs is not None and frame.crs.type_name == "Engineering CRS") or "undefined" in str(
        getattr(frame.crs, "name", "")
    ).lower():
        return frame.set_crs(None, allow_override=True)
    return frame


def layer_names(path: Path) -> list[str]:
    """List the layers of a GeoPackage, read from a copy."""
    with _copy(path) as copy:
        return [str(name) for name, _ in pyogrio.list_layers(copy)]


@contextlib.contextmanager
def _copy(path: Path) -> Iterator[Path]:
    """Give a copy to GDAL, and say in one line what it finds wrong with it."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        copy = Path(folder) / "copy.gpkg"
        shutil.copyfile(path, copy)
        for side in _SIDE_FILES:
            if path.with_name(path.name + side).exists():
                shutil.copyfile(path.with_name(path.name + side), copy.with_name(copy.name + side))
        try:
            yield copy
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as trouble:
            rule = str(trouble).replace(str(copy), path.name)[:200]
            raise FileRefused(f"file {path.name} is damaged or cut off", rule, "copy it again") from None


def _choose(layers: dict[str, Any], layer: str | None, kinds: str, name: str) -> str:
    """Take the layer that was named, or the only one that could be meant."""
    if layer is not None:
        if layer not in layers:
            raise FileRefused(f"file {name} has no layer {layer!r}", f"it has {', '.join(layers) or 'none'}")
        return layer
    fitting = [
        key
        for key, kind in layers.items()
        if kind is not None and (kinds in str(kind) or str(kind) in ("Unknown", "GeometryCollection"))
    ]
    if not fitting:
        held = ", ".join(f"{key} ({kind or 'no shapes'})" for key, kind in layers.items()) or "none"
        raise FileRefused(f"file {name} has no {kinds} layer", f"its layers are: {held}")
    if len(fitting) > 1:
        raise FileRefused(
            f"file {name} has {len(fitting)} {kinds} layers", f"they are {', '.join(fitting)}", "name the layer"
        )
    return fitting[0]


def _geojson(path: Path) -> gpd.GeoDataFrame:
    """Parse GeoJSON strictly, entry by entry, so that a message can name the one that is wrong."""
    content = json_of(text_of(read_bytes(path, most_bytes=MOST_LAYER_BYTES), path.name, WANTED), path.name)
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
    try:
        return shapely.from_geojson(json.dumps(geometry))
    except (shapely.errors.GEOSException, shapely.errors.ShapelyError, TypeError, ValueError) as trouble:
        reason = str(trouble).split(": ", 1)[-1][:120]
        if "json.exception" in str(trouble):
            reason = "its coordinates are not the lists of numbers that its type asks for"
        raise FileRefused(f"entry {number} of {name} has no usable geometry", reason, "draw it again") from None


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
