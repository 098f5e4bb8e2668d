"""Geometry as a column: the GeoPackage header and well-known binary on SQLite, extended well-known binary on PostGIS.

The column's type is written POINT, POLYGON, ... in the file, as the GeoPackage standard asks, so that a desktop GIS
finds it. The SRID travels on the geometry itself (`shapely.set_srid`), since one set of table definitions serves groves
in any CRS.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from sqlalchemy.engine import Dialect
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.types import UserDefinedType

from gridmap.errors import FileRefused

# GeoPackage Encoding Standard 1.3.1 (OGC 12-128r18), clause 2.1.3: magic, version, flags, SRS id; envelope sizes
_MAGIC = b"GP"
_LITTLE_ENDIAN, _ENVELOPE_XY, _EMPTY = 0b000001, 0b000010, 0b010000
_ENVELOPE_DOUBLES = {0: 0, 1: 4, 2: 6, 3: 6, 4: 8}
KINDS = ("POINT", "LINESTRING", "POLYGON", "MULTIPOLYGON")


def to_geopackage(geometry: BaseGeometry) -> bytes:
    """Return a geometry as the file holds it.

    Parameters
    ----------
    geometry : shapely geometry
        In any CRS, its SRID set with `shapely.set_srid`. Heights are left out: they have a column of their own.

    Returns
    -------
    bytes
        Header (with the envelope, but for points and empty shapes) and ISO well-known binary, little-endian.

    References
    ----------
    OGC 12-128r18, GeoPackage Encoding Standard 1.3.1, clause 2.1.3 "Geometry Encoding".

    Examples
    --------
    >>> blob = to_geopackage(shapely.set_srid(shapely.Point(1.0, 2.0), 7855))
    >>> blob[:2], len(blob), from_geopackage(blob)
    (b'GP', 29, <POINT (1 2)>)
    """
    flat = shapely.force_2d(geometry)
    flags = _LITTLE_ENDIAN
    envelope = b""
    if flat.is_empty:
        flags |= _EMPTY
    elif flat.geom_type != "Point":
        flags |= _ENVELOPE_XY
        west, south, east, north = flat.bounds
        envelope = struct.pack("<4d", west, east, south, north)
    header = struct.pack("<2sBBi", _MAGIC, 0, flags, int(shapely.get_srid(geometry)))
    return header + envelope + shapely.to_wkb(flat, byte_order=1, flavor="iso", include_srid=False)


def from_geopackage(blob: bytes) -> BaseGeometry:
    """Return the geometry of one GeoPackage value; coordinates come back to the last bit."""
    return shapely.from_wkb(_well_known_binary(blob))


def _well_known_binary(blob: bytes) -> bytes:
    """Return what follows the header, of whatever envelope another program wrote."""
    if len(blob) < 8 or blob[:2] != _MAGIC:
        raise FileRefused("a shape in the grove file is not a GeoPackage geometry", None, "restore it from a backup")
    doubles = _ENVELOPE_DOUBLES.get((blob[3] >> 1) & 0b111)
    if doubles is None:
        raise FileRefused("a shape in the grove file has a damaged header", None, "restore it from a backup")
    return bytes(blob[8 + 8 * doubles :])


def _bound(index: int) -> Callable[[bytes | None], float | None]:
    def bound(blob: bytes | None) -> float | None:
        if blob is None:
            return None
        value = float(shapely.bounds(from_geopackage(blob))[index])
        return None if np.isnan(value) else value

    return bound


def _is_empty(blob: bytes | None) -> int | None:
    return None if blob is None else int(from_geopackage(blob).is_empty)


# What the triggers of a spatial index call (OGC 12-128r18, annex F.3, "RTree Spatial Indexes"); SQLite has none of them
INDEX_FUNCTIONS: dict[str, Callable[[bytes | None], float | int | None]] = {
    "ST_IsEmpty": _is_empty,
    "ST_MinX": _bound(0),
    "ST_MinY": _bound(1),
    "ST_MaxX": _bound(2),
    "ST_MaxY": _bound(3),
}


class Geometry(UserDefinedType[BaseGeometry]):
    """A geometry column of one kind: POINT, LINESTRING, POLYGON or MULTIPOLYGON, in the grove's projected CRS [m]."""

    cache_ok = True

    def __init__(self, kind: str) -> None:
        self.kind = kind

    def get_col_spec(self, **_: Any) -> str:
        """Return the type's name in the file."""
        return self.kind

    def bind_processor(self, dialect: Dialect) -> Callable[[BaseGeometry | None], bytes | str | None]:
        """Return what turns a geometry into the database's value."""
        if dialect.name == "sqlite":
            return lambda value: None if value is None else to_geopackage(value)
        return lambda value: (
            None if value is None else shapely.to_wkb(shapely.force_2d(value), hex=True, include_srid=True)
        )

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], BaseGeometry | None]:
        """Return what turns the database's value into a geometry."""
        read = from_geopackage if dialect.name == "sqlite" else shapely.from_wkb
        return lambda value: None if value is None else read(value)


@compiles(Geometry, "postgresql")
def _postgis_type(type_: Geometry, compiler: object, **_: Any) -> str:
    return f"geometry({type_.kind})"
