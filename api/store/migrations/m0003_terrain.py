"""Migration 3: where the heights come from, with a small copy of them, and points such as gates and refill points."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Connection,
    Double,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from api.store import geopackage, outside
from api.store.geometry import Geometry
from api.store.times import UTCTime

NUMBER = 3
WHAT = "terrain, gates and refill points"


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made."""
    terrain = Table(
        "terrain",
        metadata,
        *_identity(),
        Column("source", Text, CheckConstraint("source IN ('dem', 'heights')"), nullable=False),
        Column("file_name", Text),
        Column("file_sha256", Text),
        Column("crs", Text),
        Column("vertical_unit", Text),
        Column("cell_width_m", Double, CheckConstraint("cell_width_m > 0")),
        Column("cell_height_m", Double, CheckConstraint("cell_height_m > 0")),
        Column("heights", Integer, CheckConstraint("heights >= 0")),
        Column("read", UTCTime, nullable=False),
        Column("geotiff", LargeBinary),
        UniqueConstraint("source"),
        comment="Where heights come from; a small copy of the DEM around the grove (GeoTIFF, metres)",
    )
    point = Table(
        "point_of_interest",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False, unique=True),
        Column("kind", Text, CheckConstraint("kind IN ('gate', 'refill', 'other')"), nullable=False),
        Column("geom", Geometry("POINT"), nullable=False),
        comment="Gates, refill points and other points",
    )
    return [terrain, point]


def _identity() -> list[Column[object]]:
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 2."""
    for table in define(MetaData()):
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
        outside.watch(connection, table.name)
