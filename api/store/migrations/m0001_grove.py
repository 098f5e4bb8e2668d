"""Migration 1: the grove, its ground, its plants, walks and counts, settings, and the history of all of them."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Connection,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from api.store import geopackage, outside
from api.store.geometry import Geometry
from api.store.times import UTCTime

NUMBER = 1
WHAT = "grove, ground, plants, walks, counts, settings and their history"

# A view keeps the declared types of plain columns only, so the block's canopy stands beside the tree's own
_TREE_VIEW = """
CREATE VIEW tree AS
SELECT plant.id AS id, plant.uuid AS tree, place.uuid AS place, block.name AS block, place."row" AS "row",
       place.position AS position, plant.status AS status, plant.planted AS planted, place.elevation_m AS elevation_m,
       place.upslope_m AS upslope_m, plant.canopy_height_m AS canopy_height_m, plant.canopy_width_m AS canopy_width_m,
       block.canopy_height_m AS block_canopy_height_m, block.canopy_width_m AS block_canopy_width_m, place.geom AS geom
FROM plant JOIN place ON plant.place_uuid = place.uuid JOIN block ON place.block_uuid = block.uuid
WHERE plant.status = 'alive' ORDER BY plant.id
"""


def _identity() -> list[Column[object]]:
    """Return the integer key that a GeoPackage asks for, and the UUID that the row is known by everywhere."""
    return [Column("id", Integer, primary_key=True), Column("uuid", Text, nullable=False, unique=True)]


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions, in the order in which they can be made."""
    return [*_keeping(metadata), *_ground(metadata), *_walks(metadata)]


def _keeping(metadata: MetaData) -> list[Table]:
    """Return the grove itself, and what keeps the books: migrations, history, own writes, edits from outside."""
    grove = Table(
        "grove",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False),
        Column("region", Text),
        Column("time_zone", Text, nullable=False),
        Column("season_start", Text, nullable=False),
        Column("currency", Text, nullable=False),
        Column("crs_authority", Text, nullable=False),
        Column("crs_code", Integer, nullable=False),
        Column("datum", Text, nullable=False),
        Column("uphill_bearing_deg", Double),
        Column("invented", Integer, CheckConstraint("invented IN (0, 1)"), nullable=False),
        Column("created", UTCTime, nullable=False),
        comment="The grove: one line",
    )
    migration = Table(
        "migration",
        metadata,
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("what", Text, nullable=False),
        Column("applied", UTCTime, nullable=False),
        Column("program", Text, nullable=False),
        comment="Changes of this file's layout, in order",
    )
    change = Table(
        "change",
        metadata,
        Column("id", Integer, primary_key=True),
        Column("act", Text, nullable=False),
        Column("who", Text, nullable=False),
        Column("at", UTCTime, nullable=False),
        Column("what", Text, nullable=False),
        Column("table_name", Text, nullable=False),
        Column("row_uuid", Text, nullable=False),
        Column("before", Text),
        Column("after", Text),
        Index("change_of_row", "table_name", "row_uuid"),
        Index("change_of_act", "act"),
        comment="History: who changed what, when, from what to what (JSON)",
    )
    own_write = Table(
        "own_write",
        metadata,
        Column("id", Integer, CheckConstraint("id = 1"), primary_key=True, autoincrement=False),
        Column("writing", Integer, nullable=False),
        comment="1 inside a transaction of gridmap, 0 for everybody else",
    )
    outside_edit = Table(
        "outside_edit",
        metadata,
        Column("id", Integer, primary_key=True),
        Column("table_name", Text, nullable=False),
        Column("row_uuid", Text, nullable=False),
        Column("edit", Text, nullable=False),
        Column("at", UTCTime, nullable=False),
        comment="Edits by other programs that are not yet in the history",
    )
    return [grove, migration, change, own_write, outside_edit]


def _ground(metadata: MetaData) -> list[Table]:
    """Return blocks, rows, places, the plants in them, and keep-outs."""
    block = Table(
        "block",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False, unique=True),
        Column("row_bearing_deg", Double),
        Column("row_spacing_m", Double, CheckConstraint("row_spacing_m > 0")),
        Column("tree_spacing_m", Double, CheckConstraint("tree_spacing_m > 0")),
        Column("headland_m", Double, CheckConstraint("headland_m >= 0")),
        Column("uphill_bearing_deg", Double),
        Column("canopy_height_m", Double, CheckConstraint("canopy_height_m > 0")),
        Column("canopy_width_m", Double, CheckConstraint("canopy_width_m > 0")),
        Column("geom", Geometry("POLYGON"), nullable=False),
        comment="Outlines of the blocks",
    )
    row_line = Table(
        "row_line",
        metadata,
        *_identity(),
        Column("block_uuid", Text, ForeignKey("block.uuid"), nullable=False),
        Column("row", Integer, nullable=False),
        Column("geom", Geometry("LINESTRING"), nullable=False),
        UniqueConstraint("block_uuid", "row"),
        comment="Rows, from their first place to their last",
    )
    place = Table(
        "place",
        metadata,
        *_identity(),
        Column("block_uuid", Text, ForeignKey("block.uuid"), nullable=False),
        Column("row", Integer, nullable=False),
        Column("position", Integer, nullable=False),
        Column("elevation_m", Double),
        Column("upslope_m", Double),
        Column("geom", Geometry("POINT"), nullable=False),
        UniqueConstraint("block_uuid", "row", "position"),
        comment="Places for a tree, gaps included; the label is for life",
    )
    plant = Table(
        "plant",
        metadata,
        *_identity(),
        Column("place_uuid", Text, ForeignKey("place.uuid"), nullable=False),
        Column("status", Text, CheckConstraint("status IN ('alive', 'gone')"), nullable=False),
        Column("planted", Text),
        Column("gone_on", Text),
        Column("canopy_height_m", Double, CheckConstraint("canopy_height_m > 0")),
        Column("canopy_width_m", Double, CheckConstraint("canopy_width_m > 0")),
        comment="Plants: what stands, or stood, in a place",
    )
    # After a replant the old plant stays with its counts; only one may be alive
    alive = text("status = 'alive'")
    Index("one_living_plant", plant.c.place_uuid, unique=True, sqlite_where=alive, postgresql_where=alive)
    keep_out = Table(
        "keep_out",
        metadata,
        *_identity(),
        Column("name", Text),
        Column(
            "kind",
            Text,
            CheckConstraint("kind IN ('water', 'hive', 'dwelling', 'neighbour', 'bush', 'other')"),
            nullable=False,
        ),
        Column("setback_m", Double, CheckConstraint("setback_m >= 0"), nullable=False),
        Column("geom", Geometry("POLYGON"), nullable=False),
        comment="What must never be sprayed",
    )
    return [block, row_line, place, plant, keep_out]


def _walks(metadata: MetaData) -> list[Table]:
    """Return walks, counts, catch, and the settings that the grower typed."""
    walk = Table(
        "walk",
        metadata,
        *_identity(),
        Column("date", Text, nullable=False),
        Column("name", Text),
        Column("observer", Text),
        Column("note", Text),
        comment="Monitoring rounds; the date is the grove's own",
    )
    count = Table(
        "count",
        metadata,
        *_identity(),
        Column("walk_uuid", Text, ForeignKey("walk.uuid"), nullable=False, index=True),
        Column("plant_uuid", Text, ForeignKey("plant.uuid"), nullable=False, index=True),
        Column("time", UTCTime),
        Column("taps", Integer, CheckConstraint("taps > 0"), nullable=False),
        Column("nymphs", Integer, CheckConstraint("nymphs >= 0")),
        Column("adults", Integer, CheckConstraint("adults >= 0")),
        Column("wing_buds", Text, CheckConstraint("wing_buds IN ('none', 'some', 'most')")),
        Column("reason", Text, CheckConstraint("reason IN ('planned', 'extra', 'suspected')"), nullable=False),
        Column("accuracy_m", Double, CheckConstraint("accuracy_m >= 0")),
        Column("observer", Text),
        comment="Counts from a beat sheet, each on one plant",
    )
    catch = Table(
        "catch",
        metadata,
        *_identity(),
        Column("count_uuid", Text, ForeignKey("count.uuid"), nullable=False),
        Column("group", Text, nullable=False),
        Column("number", Integer, CheckConstraint("number >= 0"), nullable=False),
        UniqueConstraint("count_uuid", "group"),
        comment="What else lay on the sheet, by group",
    )
    setting = Table(
        "setting",
        metadata,
        *_identity(),
        Column("name", Text, nullable=False, unique=True),
        Column("value", Text, nullable=False),
        Column("since", UTCTime, nullable=False),
        comment="The grower's own figures, as typed (JSON)",
    )
    return [walk, count, catch, setting]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file that is a GeoPackage already."""
    metadata = MetaData()
    tables = define(metadata)
    metadata.create_all(connection, tables, checkfirst=False)
    connection.execute(metadata.tables["own_write"].insert().values(id=1, writing=0))
    for table in tables:
        if table.name not in ("own_write", "outside_edit"):
            geopackage.register(connection, table, srs_id)
        if "uuid" in table.columns:
            outside.watch(connection, table.name)
    connection.execute(text(_TREE_VIEW))
    geopackage.enter(connection, "tree", "Living trees: block, row, position, canopy", srs_id, "geom", "POINT")
