"""The tables as they stand after the last migration; the same definitions serve SQLite and PostgreSQL with PostGIS."""

from __future__ import annotations

from sqlalchemy import MetaData

from api.store.migrations import MIGRATIONS

METADATA = MetaData()
for _migration in MIGRATIONS:
    _migration.define(METADATA)

GROVE = METADATA.tables["grove"]
MIGRATION = METADATA.tables["migration"]
CHANGE = METADATA.tables["change"]
OWN_WRITE = METADATA.tables["own_write"]
OUTSIDE_EDIT = METADATA.tables["outside_edit"]
BLOCK = METADATA.tables["block"]
ROW_LINE = METADATA.tables["row_line"]
PLACE = METADATA.tables["place"]
PLANT = METADATA.tables["plant"]
KEEP_OUT = METADATA.tables["keep_out"]
WALK = METADATA.tables["walk"]
COUNT = METADATA.tables["count"]
CATCH = METADATA.tables["catch"]
SETTING = METADATA.tables["setting"]
DECISION = METADATA.tables["decision"]
ZONE = METADATA.tables["zone"]
ZONE_RUN = METADATA.tables["zone_run"]
ZONE_TREE = METADATA.tables["zone_tree"]
TERRAIN = METADATA.tables["terrain"]
POINT_OF_INTEREST = METADATA.tables["point_of_interest"]
DEVICE = METADATA.tables["device"]
INVITATION = METADATA.tables["invitation"]
TREATMENT = METADATA.tables["treatment"]
TREATMENT_ENTRY = METADATA.tables["treatment_entry"]
CHECK_TREE = METADATA.tables["check_tree"]
WEATHER = METADATA.tables["weather"]
COVER_SURVEY = METADATA.tables["cover_survey"]
COVER = METADATA.tables["cover"]
SEED_CHECK = METADATA.tables["seed_check"]
SLASH = METADATA.tables["slash"]
RUNNING_GRASS = METADATA.tables["running_grass"]
WALK_PLAN = METADATA.tables["walk_plan"]
WALK_EVENT = METADATA.tables["walk_event"]
COUNT_DETAIL = METADATA.tables["count_detail"]
SIGHTING = METADATA.tables["sighting"]
