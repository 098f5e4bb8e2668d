"""Migration 6: cover surveys and what they found, seed-head checks, slashes, running grasses."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Connection, Double, ForeignKey, Integer, MetaData, Table, Text

from api.store import geopackage, outside
from api.store.geometry import Geometry
from api.store.migrations import m0001_grove
from api.store.times import UTCTime

NUMBER = 6
WHAT = "cover surveys, seed-head checks, slashes, running grasses"

_SHARES = ("grass", "dead_grass", "litter", "rock", "bare", "grass_cover", "ground_cover")


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made."""
    return [*_cover(metadata), *_slashing(metadata)]


def _cover(metadata: MetaData) -> list[Table]:
    """Return surveys and the cover that they found."""
    survey = Table(
        "cover_survey",
        metadata,
        *_identity(),
        Column("date", Text, nullable=False),
        Column("name", Text),
        Column("observer", Text),
        Column("note", Text),
        Column("about", Text, nullable=False),
        comment="Cover surveys; about (JSON) is a picture's index, threshold and shift, or the grass as drawn",
    )
    cover = Table(
        "cover",
        metadata,
        *_identity(),
        Column("survey_uuid", Text, ForeignKey("cover_survey.uuid"), nullable=False, index=True),
        Column("block_uuid", Text, ForeignKey("block.uuid"), nullable=False),
        Column("row", Integer, CheckConstraint('"row" > 0'), nullable=False),
        Column("position", Integer, CheckConstraint("position > 0")),
        Column("upslope_m", Double),
        Column("time", UTCTime),
        Column("method", Text, nullable=False),
        *(Column(name, Double, CheckConstraint(f"{name} >= 0 AND {name} <= 1.000001")) for name in _SHARES),
        Column("standard_error", Double, CheckConstraint("standard_error >= 0"), nullable=False),
        Column("weight", Double, CheckConstraint("weight > 0"), nullable=False),
        Column("noted", Text, nullable=False),
        Column("observer", Text),
        Column("geom", Geometry("POINT"), nullable=False),
        comment="Cover as measured: shares of the floor, with method and error; noted (JSON) is what was written down",
    )
    return [survey, cover]


def _slashing(metadata: MetaData) -> list[Table]:
    """Return seed-head checks, slashes and running grasses."""
    part = ("block_uuid", "from_row", "to_row")
    check = Table(
        "seed_check",
        metadata,
        *_identity(),
        Column("date", Text, nullable=False),
        Column(part[0], Text, ForeignKey("block.uuid"), nullable=False),
        Column(part[1], Integer),
        Column(part[2], Integer),
        Column("grass", Text),
        Column("heads", Integer, CheckConstraint("heads > 0"), nullable=False),
        Column("shed", Integer, CheckConstraint("shed >= 0 AND shed <= heads"), nullable=False),
        Column("observer", Text),
        Column("note", Text),
        comment="Seed heads looked at and how many had shed; grass is empty where the grower was unsure",
    )
    slash = Table(
        "slash",
        metadata,
        *_identity(),
        Column("date", Text, nullable=False),
        Column(part[0], Text, ForeignKey("block.uuid"), nullable=False),
        Column(part[1], Integer),
        Column(part[2], Integer),
        Column("height_cm", Double, CheckConstraint("height_cm > 0")),
        Column("left_rows", Text, nullable=False),
        Column("observer", Text),
        Column("note", Text),
        comment="Log of slashing; left_rows (JSON) are the rows left standing as refuge",
    )
    running = Table(
        "running_grass",
        metadata,
        *_identity(),
        Column("patch", Text, nullable=False),
        Column("grass", Text),
        Column("date", Text, nullable=False),
        Column("area_m2", Double, CheckConstraint("area_m2 >= 0"), nullable=False),
        Column("climbs", Integer, CheckConstraint("climbs IN (0, 1)"), nullable=False),
        Column("note", Text),
        Column("geom", Geometry("POINT"), nullable=False),
        comment="Patches of running grass as seen, with the area paced round",
    )
    return [check, slash, running]


def _identity() -> list[Column[object]]:
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 5."""
    metadata = MetaData()
    m0001_grove.define(metadata)
    for table in define(metadata):
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
        outside.watch(connection, table.name)
