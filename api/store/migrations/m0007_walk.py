"""Migration 7: planned walks, what phones recorded event by event, more about a count, sightings without one."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Connection, Double, ForeignKey, Index, Integer, MetaData, Table, Text

from api.store import geopackage, outside
from api.store.migrations import m0001_grove
from api.store.times import UTCTime

NUMBER = 7
WHAT = "planned walks, recorded events, more about a count, sightings"


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made.

    The ledger of events is no part of the history that can be undone: an event that arrives again after an undo is
    known, and stores nothing a second time.
    """
    plan = Table(
        "walk_plan",
        metadata,
        *_identity(),
        Column("walk_uuid", Text, nullable=False),
        Column("date", Text, nullable=False),
        Column("name", Text),
        Column("made", UTCTime, nullable=False),
        Column("settings", Text, nullable=False),
        Column("content", Text, nullable=False),
        comment="Planned walks: trees in walking order with their verdict tables (JSON), as they were planned",
    )
    event = Table(
        "walk_event",
        metadata,
        *_identity(),
        Column("walk_uuid", Text, nullable=False, index=True),
        Column("subject_uuid", Text, nullable=False, index=True),
        Column("kind", Text, nullable=False),
        Column("clock", Integer, CheckConstraint("clock >= 0"), nullable=False),
        Column("device", Text, nullable=False),
        Column("answer", Text, CheckConstraint("answer IN ('stored', 'overtaken')"), nullable=False),
        Column("received", UTCTime, nullable=False),
        Column("content", Text, nullable=False),
        Index("walk_event_of_clock", "walk_uuid", "clock"),
        comment="Everything that phones recorded, each event once, in the order of arrival (JSON)",
    )
    detail = Table(
        "count_detail",
        metadata,
        *_identity(),
        Column("count_uuid", Text, ForeignKey("count.uuid"), nullable=False, unique=True),
        Column("wet", Integer, CheckConstraint("wet IN (0, 1)")),
        Column("windy", Integer, CheckConstraint("windy IN (0, 1)")),
        Column("longitude", Double),
        Column("latitude", Double),
        Column("note", Text),
        comment="More about a count: wet, windy, where the phone was (WGS 84), a note",
    )
    sighting = Table(
        "sighting",
        metadata,
        *_identity(),
        Column("walk_uuid", Text, ForeignKey("walk.uuid"), nullable=False, index=True),
        Column("plant_uuid", Text, ForeignKey("plant.uuid")),
        Column("time", UTCTime),
        Column("what", Text, nullable=False),
        Column("note", Text),
        Column("longitude", Double),
        Column("latitude", Double),
        Column("accuracy_m", Double, CheckConstraint("accuracy_m >= 0")),
        Column("observer", Text),
        comment="Seen on a walk, not counted",
    )
    return [plan, event, detail, sighting]


def _identity() -> list[Column[object]]:
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 6."""
    metadata = MetaData()
    m0001_grove.define(metadata)
    for table in define(metadata):
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
        if table.name != "walk_event":
            outside.watch(connection, table.name)
