"""Migration 5: treatments and their records, trees left as a check, weather tables."""

from __future__ import annotations

from sqlalchemy import Column, Connection, ForeignKey, Integer, MetaData, Table, Text, UniqueConstraint

from api.store import geopackage, outside
from api.store.migrations import m0001_grove, m0002_zone
from api.store.times import UTCTime

NUMBER = 5
WHAT = "treatments, their records, check trees and weather tables"


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made.

    Treatments and their entries are no part of the history that can be undone: a record is corrected by an entry that
    names the one it corrects, and nothing is ever changed or deleted.
    """
    treatment = Table(
        "treatment",
        metadata,
        *_identity(),
        Column("zone_uuid", Text, ForeignKey("zone.uuid"), nullable=False),
        Column("name", Text, nullable=False),
        Column("profile", Text, nullable=False),
        Column("facts", Text, nullable=False),
        Column("created", UTCTime, nullable=False),
        comment="Treatments; the facts (JSON) are sprayer, label and profile as they stood",
    )
    entry = Table(
        "treatment_entry",
        metadata,
        *_identity(),
        Column("treatment_uuid", Text, ForeignKey("treatment.uuid"), nullable=False),
        Column("kind", Text, nullable=False),
        Column("at", UTCTime, nullable=False),
        Column("content", Text, nullable=False),
        Column("corrects", Text, ForeignKey("treatment_entry.uuid")),
        Column("who", Text, nullable=False),
        Column("created", UTCTime, nullable=False),
        comment="What was written down of a treatment, one line after the other; nothing is changed or deleted",
    )
    check_tree = Table(
        "check_tree",
        metadata,
        *_identity(),
        Column("zone_uuid", Text, ForeignKey("zone.uuid"), nullable=False),
        Column("plant_uuid", Text, ForeignKey("plant.uuid"), nullable=False),
        UniqueConstraint("zone_uuid", "plant_uuid"),
        comment="Trees of a zone that stay unsprayed, so that its effect can be told",
    )
    weather = Table(
        "weather",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False, unique=True),
        Column("told", Text, nullable=False),
        Column("hours", Text, nullable=False),
        Column("read", UTCTime, nullable=False),
        comment="Weather tables of stations and forecasts, hour by hour (JSON)",
    )
    return [treatment, entry, check_tree, weather]


def _identity() -> list[Column[object]]:
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 4."""
    metadata = MetaData()
    m0001_grove.define(metadata)
    m0002_zone.define(metadata)
    for table in define(metadata):
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
        if table.name in ("check_tree", "weather"):
            outside.watch(connection, table.name)
        else:
            for edit in ("UPDATE", "DELETE"):
                outside.refuse(
                    connection, f"kept_{table.name}_{edit.lower()}", f"BEFORE {edit} ON {table.name}", "1 = 1",
                    "a record is corrected by a new entry",
                )
