"""The tables that make the grove file a GeoPackage, and what keeps them true; a shared database has none of them."""

from __future__ import annotations

from collections.abc import Iterable

import pyproj
from pyproj.enums import WktVersion
from sqlalchemy import Connection, Table, text

from api.store import postgis
from api.store.geometry import Geometry
from api.store.times import now, to_text
from gridmap.errors import CRSRefused

# OGC 12-128r18, GeoPackage 1.3.1, requirement 2: "GPKG" in ASCII, and the version as 10300
APPLICATION_ID = 0x47504B47
USER_VERSION = 10300

# OGC 12-128r18, annex C, "Table Definition SQL"
_CORE = (
    """CREATE TABLE gpkg_spatial_ref_sys (
        srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
        organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT)""",
    """CREATE TABLE gpkg_contents (
        table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
        description TEXT DEFAULT '',
        last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
        min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
        CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
    """CREATE TABLE gpkg_geometry_columns (
        table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
        z TINYINT NOT NULL, m TINYINT NOT NULL,
        CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
        CONSTRAINT uk_gc_table_name UNIQUE (table_name),
        CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
        CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
)
_SRS = text("INSERT INTO gpkg_spatial_ref_sys VALUES (:name, :srs_id, :organization, :code, :definition, :description)")


def grove_crs(epsg: int) -> pyproj.CRS:
    """Return the CRS that a grove is measured in, or say why it can't be.

    Parameters
    ----------
    epsg : int
        EPSG code of a projected CRS in metres.

    Raises
    ------
    CRSRefused
        When the code is unknown, or the CRS is not projected, flat and in metres.

    Examples
    --------
    >>> grove_crs(7855).name
    'GDA2020 / MGA zone 55'
    >>> grove_crs(4326)
    Traceback (most recent call last):
    gridmap.errors.CRSRefused: CRS EPSG:4326 is WGS 84: a grove is measured in a projected CRS in metres. Take the ...
    """
    try:
        crs = pyproj.CRS.from_epsg(epsg)
    except (pyproj.exceptions.CRSError, TypeError):
        raise CRSRefused(
            f"CRS EPSG:{epsg} is unknown", None, "give the EPSG code of a projected CRS in metres"
        ) from None
    if not crs.is_projected or crs.is_compound or {axis.unit_name for axis in crs.axis_info} != {"metre"}:
        raise CRSRefused(
            f"CRS EPSG:{epsg} is {crs.name}",
            "a grove is measured in a projected CRS in metres",
            "take the projected CRS of the place on its national datum",
        )
    return crs


def lay_out(connection: Connection, crs: pyproj.CRS) -> None:
    """Make a new, empty file a GeoPackage that knows WGS 84 and the grove's CRS."""
    connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version={USER_VERSION}")
    for statement in _CORE:
        connection.exec_driver_sql(statement)
    # requirement 11 names these three rows
    for name, number in (("Undefined Cartesian SRS", -1), ("Undefined geographic SRS", 0)):
        connection.execute(
            _SRS,
            {
                "name": name,
                "srs_id": number,
                "organization": "NONE",
                "code": number,
                "definition": "undefined",
                "description": None,
            },
        )
    for known in (pyproj.CRS.from_epsg(4326), crs):
        code = known.to_epsg()
        connection.execute(
            _SRS,
            {
                "name": known.name,
                "srs_id": code,
                "organization": "EPSG",
                "code": code,
                "definition": known.to_wkt(WktVersion.WKT1_GDAL),
                "description": known.scope,
            },
        )


def register(connection: Connection, table: Table, srs_id: int) -> None:
    """Enter a table into the list of contents: as features when it has a geometry, as attributes when not."""
    if connection.dialect.name != "sqlite":
        postgis.settle(connection, table, srs_id)
        return
    column = next((column for column in table.columns if isinstance(column.type, Geometry)), None)
    kind = None if column is None else column.type.kind  # type: ignore[attr-defined]
    enter(connection, table.name, table.comment or table.name, srs_id, None if column is None else column.name, kind)


def enter(
    connection: Connection, name: str, description: str, srs_id: int, column: str | None = None, kind: str | None = None
) -> None:
    """Enter a table or a view into the list of contents."""
    if connection.dialect.name != "sqlite":
        return
    connection.execute(
        text(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
            "VALUES (:name, :type, :name, :description, :change, :srs_id)"
        ),
        {
            "name": name,
            "type": "attributes" if kind is None else "features",
            "description": description,
            "change": to_text(now()),
            "srs_id": None if kind is None else srs_id,
        },
    )
    if kind is not None:
        connection.execute(
            text("INSERT INTO gpkg_geometry_columns VALUES (:name, :column, :kind, :srs_id, 0, 0)"),
            {"name": name, "column": column, "kind": kind, "srs_id": srs_id},
        )


# A view is changed by what it looks at
_SEEN_IN = {"block": ("tree",), "place": ("tree",), "plant": ("tree",)}
_EXTENT = (
    "UPDATE gpkg_contents SET min_x=(SELECT min(ST_MinX({column})) FROM {source}), "
    "min_y=(SELECT min(ST_MinY({column})) FROM {source}), max_x=(SELECT max(ST_MaxX({column})) FROM {source}), "
    "max_y=(SELECT max(ST_MaxY({column})) FROM {source}) WHERE table_name = :name"
)
_WIDER = text(
    "UPDATE gpkg_contents SET min_x=min(coalesce(min_x, :w), :w), min_y=min(coalesce(min_y, :s), :s), "
    "max_x=max(coalesce(max_x, :e), :e), max_y=max(coalesce(max_y, :n), :n) WHERE table_name = :name"
)


def note_change(connection: Connection, tables: Iterable[str]) -> None:
    """Note the time of the last change of these tables, and of the views that look at them."""
    if connection.dialect.name != "sqlite":
        return
    names = {seen for name in tables for seen in (name, *_SEEN_IN.get(name, ()))}
    connection.execute(
        text("UPDATE gpkg_contents SET last_change=:change WHERE table_name=:name"),
        [{"change": to_text(now()), "name": name} for name in sorted(names)],
    )


def widen(connection: Connection, table: str, bounds: tuple[float, float, float, float]) -> None:
    """Let the stated extent of a table take in new shapes: west, south, east, north in the grove's CRS [m]."""
    if connection.dialect.name != "sqlite":
        return
    west, south, east, north = bounds
    names = (table, "tree") if table == "place" else (table,)
    connection.execute(_WIDER, [{"w": west, "s": south, "e": east, "n": north, "name": name} for name in names])


def measure_extent(connection: Connection, table: str) -> None:
    """Measure the stated extent of a table anew, after shapes were moved or taken out."""
    if connection.dialect.name != "sqlite":
        return
    for name in (table, "tree") if table == "place" else (table,):
        # The view's extent is that of all places: an extent may be wider than what it holds
        connection.execute(text(_EXTENT.format(column="geom", source=f'"{table}"')), {"name": name})
