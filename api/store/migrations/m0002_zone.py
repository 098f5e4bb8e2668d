"""Migration 2: decisions as they were made, and zones with their versions, runs and trees."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Connection,
    Double,
    ForeignKey,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from api.store import geopackage, outside
from api.store.geometry import Geometry
from api.store.migrations import m0001_grove
from api.store.times import UTCTime

NUMBER = 2
WHAT = "decisions, zones, their runs and trees"

# A zone that was printed or sprayed stays as it was, whichever program asks
_FREEZE = {
    "zone": "OLD.frozen = 1",
    "zone_run": "(SELECT frozen FROM zone WHERE uuid = OLD.zone_uuid) = 1",
    "zone_tree": "(SELECT frozen FROM zone WHERE uuid = OLD.zone_uuid) = 1",
}


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made."""
    decision = Table(
        "decision",
        metadata,
        *_identity(),
        Column("walk_uuid", Text, ForeignKey("walk.uuid")),
        Column("made", Text, nullable=False),
        Column("created", UTCTime, nullable=False),
        comment="Decisions as they were made (JSON)",
    )
    zone = Table(
        "zone",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False),
        Column("version", Integer, CheckConstraint("version > 0"), nullable=False),
        Column("replaces", Text, ForeignKey("zone.uuid"), unique=True),
        Column("frozen", Integer, CheckConstraint("frozen IN (0, 1)"), nullable=False),
        Column("walk_uuid", Text, ForeignKey("walk.uuid")),
        Column("decision_uuid", Text, ForeignKey("decision.uuid")),
        Column("settings", Text, nullable=False),
        Column("summary", Text, nullable=False),
        Column("loads", Text, nullable=False),
        Column("created", UTCTime, nullable=False),
        Column("geom", Geometry("MULTIPOLYGON"), nullable=False),
        UniqueConstraint("name", "version"),
        comment="Zones to treat; a frozen one was printed or sprayed",
    )
    zone_run = Table(
        "zone_run",
        metadata,
        *_identity(),
        Column("zone_uuid", Text, ForeignKey("zone.uuid"), nullable=False),
        Column("run", Integer, nullable=False),
        Column("block", Text, nullable=False),
        Column("row", Integer, nullable=False),
        Column("from_position", Integer, nullable=False),
        Column("to_position", Integer, nullable=False),
        Column("side", Text),
        Column("trees", Integer, nullable=False),
        Column("length_m", Double),
        Column("litres", Double),
        Column("load", Integer),
        Column("geom", Geometry("LINESTRING")),
        UniqueConstraint("zone_uuid", "run"),
        comment="Runs of the zones: lengths of row treated without stopping",
    )
    zone_tree = Table(
        "zone_tree",
        metadata,
        *_identity(),
        Column("zone_uuid", Text, ForeignKey("zone.uuid"), nullable=False),
        Column("plant_uuid", Text, ForeignKey("plant.uuid"), nullable=False),
        Column("run", Integer),
        Column("why", Text, CheckConstraint("why IN ('chosen', 'margin', 'added', 'dropped')"), nullable=False),
        UniqueConstraint("zone_uuid", "plant_uuid"),
        comment="Trees of the zones, and why each is in it or was taken out",
    )
    return [decision, zone, zone_run, zone_tree]


def _identity() -> list[Column[object]]:
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 1."""
    metadata = MetaData()
    m0001_grove.define(metadata)
    tables = define(metadata)
    for table in tables:
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
        outside.watch(connection, table.name)
    for name, frozen in _FREEZE.items():
        for edit in ("UPDATE", "DELETE"):
            outside.refuse(
                connection, f"frozen_{name}_{edit.lower()}", f"BEFORE {edit} ON {name}", frozen, "this zone is frozen"
            )
    for name in ("zone_run", "zone_tree"):
        frozen = "(SELECT frozen FROM zone WHERE uuid = NEW.zone_uuid) = 1"
        outside.refuse(connection, f"frozen_{name}_insert", f"BEFORE INSERT ON {name}", frozen, "this zone is frozen")
