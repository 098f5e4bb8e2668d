"""A grove moves between file and database without loss: all tables compared, shapes as PostGIS gives them."""

from __future__ import annotations

from datetime import UTC, datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from sqlalchemy import inspect

from api.store import GroveFile, catalogue, copy_grove, copying, create_grove, migrations, open_grove, restore_grove
from api.store.address import parse
from api.store.tables import METADATA
from gridmap.errors import GroveFileError, InputRefused

# Coordinates whose last bits a text of 15 digits would lose
ODD = 1 / 3


def ids(number: int) -> str:
    return f"00000000-0000-4000-8000-{number:012d}"


@pytest.fixture
def full_grove(grove, count_frame):
    """Return a grove with something in every table that a grower fills, an undone act and a frozen zone among it."""
    counts = [f"00000000-0000-4000-8000-{number:012d}" for number in range(3)]
    frame = count_frame(grove, counts)
    grove.add_counts(frame, frame[["count"]].assign(group="spider", number=[0, 1, 2]), who="Ann")
    grove.set_setting("threshold", {"over": 2.5, "in words": "naïve – 5 µm \" ' \\ \n 海"})
    grove.add_keep_outs(
        gpd.GeoDataFrame(
            {"kind": ["water"], "setback_m": [ODD], "name": [None]},
            geometry=[shapely.box(500_000 + ODD, 5_200_000, 500_010, 5_200_010 - ODD)],
            crs=7855,
        )
    )
    grove.add_points(
        gpd.GeoDataFrame({"name": ["tank"], "kind": ["refill"]}, geometry=[shapely.Point(ODD, -ODD)], crs=7855)
    )
    grove.add_rows(
        gpd.GeoDataFrame(
            {"block": ["East"], "row": [1]}, geometry=[shapely.LineString([(0, ODD), (np.pi, np.e)])], crs=7855
        )
    )
    grove.set_terrain("dem", {"file_name": "hill.tif", "heights": 9, "geotiff": bytes(range(256)) * 5})
    shape = shapely.MultiPolygon([shapely.box(0, 0, 1 + ODD, 1), shapely.box(3, 3, 4, 4)])
    trees = grove.trees()["tree"].iloc[:2]
    zone = grove.add_zone(
        geometry=shape,
        trees=trees.to_frame().assign(run=[1, 1], why="chosen"),
        runs=gpd.GeoDataFrame(
            {"run": [1], "block": "East", "row": 1, "from_position": 1, "to_position": 2, "trees": 2, "load": None},
            geometry=[shapely.LineString([(0, 0), (ODD, 1)])],
            crs=7855,
        ),
        decision=grove.add_decision({"chosen": "a part"}),
    )
    grove.set_check_trees(zone, trees[:1])
    grove.freeze_zone(zone)
    treatment = grove.add_treatment(zone=zone, name="first", profile="other", facts={"litres": ODD})
    grove.add_entries(treatment, [{"kind": "wind", "at": datetime(2026, 3, 2, 7, tzinfo=UTC), "content": {"km": ODD}}])
    hours = pd.DataFrame({"time": pd.to_datetime(["2026-03-02T07:00Z"]), "temperature_c": [ODD]})
    grove.set_weather("station", hours, {"units": {}})
    fill_sward(grove)
    walk, tree = grove.walks()["walk"][0], grove.trees()["tree"][0]
    grove.add_plan(walk=walk, date="2026-02-03", settings={"trees": 3}, content={"share": ODD})
    beaten = {"event": ids(9), "kind": "count", "clock": 1, "at": "2026-02-03T06:30:00Z", "count": ids(8), "tree": tree,
              "taps": 3, "nymphs": 4, "adults": 1, "reason": "planned", "wet": True, "longitude": 147.0 + ODD,
              "latitude": -43.0 - ODD, "accuracy_m": ODD, "note": "naïve"}
    seen = {"event": ids(7), "kind": "sighting", "clock": 2, "at": "2026-02-03T06:31:00Z", "sighting": ids(6),
            "tree": tree, "what": "leaves stippled"}
    assert [one.answer for one in grove.take_in(walk, ids(5), [beaten, seen])] == ["stored", "stored"]
    grove.set_setting("prices", {"litre": 1})
    grove.undo(grove.acts()["act"][0])
    return grove


def fill_sward(grove) -> None:
    """Put something into every table of the sward."""
    survey = grove.add_cover_survey("2025-09-06", about={"index": "naïve"})
    point = [shapely.Point(ODD, -ODD)]
    share = {"grass": ODD / 10, "grass_cover": ODD / 10, "standard_error": ODD / 10, "weight": ODD, "noted": {"a": ODD}}
    look = {"survey": survey, "block": "East", "row": 1, "method": "points", **share}
    grove.add_cover(gpd.GeoDataFrame([look], geometry=point, crs=7855))
    part = {"date": ["2026-01-12"], "block": ["East"]}
    grove.add_seed_checks(pd.DataFrame({**part, "heads": [40], "shed": [3]}))
    grove.add_slashes(pd.DataFrame({**part, "left_rows": [[2, 4]]}))
    patch = {"patch": ["gate"], "date": ["2026-01-12"], "area_m2": [ODD]}
    grove.add_running_grasses(gpd.GeoDataFrame(patch, geometry=point, crs=7855))


def digests(where) -> dict[str, str]:
    """Return every table's rows, as one number each."""
    with open_grove(where, read_only=True) as grove, grove._reading() as connection:
        return {table.name: copying.digest(connection, table) for table in copying.tables_of(migrations.LATEST)}


def test_there_and_back_again_every_table_is_the_same(full_grove, database, tmp_path, geopackage_faults):
    there, rows = copy_grove(full_grove.path, database)
    back, _ = copy_grove(there, tmp_path / "back.gpkg")
    told = digests(full_grove.path)
    assert set(told) == set(METADATA.tables) - {"own_write"}
    # Were a table empty, its equality would say nothing
    assert {name for name, count in rows.items() if count == 0} <= {"outside_edit", "device", "invitation"}
    assert digests(there) == told
    assert digests(back) == told
    assert geopackage_faults(back) == []
    with GroveFile.open(back) as one, open_grove(there) as other:
        assert one.grove == other.grove == full_grove.grove
        assert one.history(None).equals(full_grove.history(None))
        assert other.history(None).equals(full_grove.history(None))
        for store in (one, other):
            assert store.trees().equals(full_grove.trees())
            assert store.zone().frozen
            # It lives on: the next row gets the next number, and what was frozen stays so
            last = max(store.versions("count").values())
            store.set_setting("later", {"over": 1})
            assert max(store.versions("setting").values()) > last
            with pytest.raises(InputRefused, match="is frozen"):
                store.change_zone(store.zone().uuid, summary={})
            store.undo(store.acts()["act"][0])


def test_postgis_itself_gives_every_shape_to_the_last_bit(full_grove, database, database_connection):
    # PostGIS as the outside reader: ST_AsBinary and ST_SRID are its own (OGC 06-104r4, Simple Features SQL)
    there, _ = copy_grove(full_grove.path, database)
    schema = catalogue.find(there).schema_name
    seen = 0
    with full_grove._reading() as source, database_connection(there.url) as connection:
        for table in METADATA.sorted_tables:
            if "geom" not in table.columns:
                continue
            found = connection.execute(
                f'SELECT id, ST_AsBinary(geom, \'NDR\'), ST_SRID(geom) FROM "{schema}"."{table.name}" ORDER BY id'
            ).fetchall()
            held = source.execute(table.select().order_by(table.c.id)).mappings().all()
            assert [(row[0], bytes(row[1])) for row in found] == [
                (row["id"], shapely.to_wkb(row["geom"], byte_order=1)) for row in held
            ]
            assert {row[2] for row in found} <= {7855}
            seen += len(found)
        listed = connection.execute(
            "SELECT f_table_name, type, srid FROM geometry_columns WHERE f_table_schema = %s", [schema]
        ).fetchall()
    assert seen > 28
    assert ("place", "POINT", 7855) in listed
    assert ("zone", "MULTIPOLYGON", 7855) in listed
    assert ("tree", "POINT", 7855) in listed


def test_the_schema_has_exactly_the_tables_and_columns_that_are_defined(database):
    made = create_grove(database, name="A", crs_epsg=7855, time_zone="UTC", season_start="01-01", currency="EUR")
    with made._reading() as connection:
        schema = made._backend.kept.schema_name
        inspector = inspect(connection)
        assert set(inspector.get_table_names(schema)) == set(METADATA.tables)
        for table in METADATA.sorted_tables:
            rows = connection.exec_driver_sql(
                "SELECT column_name, is_nullable = 'YES' FROM information_schema.columns "
                f"WHERE table_schema = current_schema() AND table_name = '{table.name}'"
            ).all()
            found = {row[0]: row[1] for row in rows}
            assert found == {column.name: column.nullable for column in table.columns}, table.name
        # Texts are ordered letter by letter, as in the file
        odd = connection.exec_driver_sql(
            "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = current_schema() "
            "AND data_type = 'text' AND collation_name IS DISTINCT FROM 'C' AND table_name NOT IN "
            "('own_write', 'outside_edit', 'tree')"
        ).all()
    assert odd == []


def test_a_copy_never_replaces_anything(full_grove, database, tmp_path):
    copy_grove(full_grove.path, database)
    with pytest.raises(GroveFileError, match=r"Grove 'Test grove' is in .* already: a copy never replaces a grove"):
        copy_grove(full_grove.path, database)
    (tmp_path / "letters.gpkg").write_text("letters")
    with pytest.raises(GroveFileError, match=r"There is a file letters.gpkg already"):
        copy_grove(database, tmp_path / "letters.gpkg")
    with pytest.raises(InputRefused, match="names grove 'West', the grove is called 'Test grove'"):
        copy_grove(full_grove.path, f"{database}#West")
    assert (tmp_path / "letters.gpkg").read_text() == "letters"
    assert [grove.name for grove in catalogue.listed(parse(database))] == ["Test grove"]


def test_what_does_not_arrive_as_it_was_is_not_kept(full_grove, database, monkeypatch):
    told = copying.digest
    monkeypatch.setattr(copying, "digest", lambda connection, table: told(connection, table) + connection.dialect.name)
    with pytest.raises(GroveFileError, match="did not arrive as it was: nothing was kept of the copy"):
        copy_grove(full_grove.path, database)
    assert catalogue.listed(parse(database)) == []


@pytest.mark.parametrize("kept", ["file", "database"])
def test_a_restored_grove_is_as_it_was_and_the_state_before_is_set_aside(full_grove, database, tmp_path, kept):
    where = full_grove.path if kept == "file" else copy_grove(full_grove.path, database)[0]
    with open_grove(where) as store:
        copy = store.backup(tmp_path / "copy.gpkg")
        before = digests(where)
        # Another connection keeps reading while the content is replaced
        store.set_setting("after the copy", {"over": 1})
        aside = restore_grove(copy, where)
        assert "after the copy" not in store.settings()
        assert digests(where) == before
        store.set_setting("and on", {"over": 1})
    if kept == "file":
        assert aside.name == "grove.before-restore.gpkg"
        with GroveFile.open(aside) as earlier:
            assert "after the copy" in earlier.settings()
    else:
        assert aside.endswith("_before_restore")


def test_a_damaged_file_is_set_aside_and_the_copy_takes_its_place(full_grove, tmp_path):
    copy = full_grove.backup(tmp_path / "copy.gpkg")
    data = bytearray(full_grove.path.read_bytes())
    data[8192:16384] = b"\xff" * 8192
    full_grove.path.write_bytes(data)
    aside = restore_grove(copy, full_grove.path)
    assert aside.name == "grove.damaged.gpkg"
    assert aside.read_bytes() == bytes(data)
    assert digests(full_grove.path) == digests(copy)


def test_a_copy_goes_under_a_new_name_and_never_over_another_grove(full_grove, new_grove, tmp_path):
    copy = full_grove.backup(tmp_path / "copy.gpkg")
    assert restore_grove(copy, tmp_path / "new.gpkg") is None
    other = new_grove("other.gpkg", name="Other")
    with pytest.raises(GroveFileError, match=r"other.gpkg holds another grove than copy.gpkg"):
        restore_grove(copy, other.path)
    with pytest.raises(GroveFileError, match="is the grove file itself"):
        restore_grove(copy, copy)
    assert other.grove.name == "Other"


def test_a_file_that_another_program_broke_is_refused_and_nothing_is_kept(full_grove, database, other_program):
    with other_program(full_grove) as other:
        # Foreign keys are off unless a program asks for them
        other.execute("DELETE FROM place WHERE id = 1")
    with pytest.raises(InputRefused, match="can't hold this: it names an entry that is not there"):
        copy_grove(full_grove.path, database)
    assert catalogue.listed(parse(database)) == []
