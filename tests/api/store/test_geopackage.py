"""The grove file against the outside: the official checker, GDAL, and the tables of the standard."""

from __future__ import annotations

import sqlite3
import sys

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from osgeo_utils.samples import validate_gpkg

from api.store.engine import connect
from api.store.geopackage import grove_crs
from gridmap.errors import CRSRefused


def check(path) -> list[tuple[object, str]]:
    """Run the compliance checker that comes with GDAL's Python utilities; it is pure Python and needs no bindings."""
    return validate_gpkg.check(str(path), abort_at_first_error=False, extra_checks=True, warning_as_error=True)


def add_zone(store) -> str:
    tree = store.trees()["tree"]
    runs = gpd.GeoDataFrame(
        {
            "run": [1],
            "block": ["East"],
            "row": [1],
            "from_position": [1],
            "to_position": [3],
            "trees": [3],
            "litres": [12.5],
        },
        geometry=[shapely.LineString([(500_008, 5_200_008), (500_024, 5_200_008)])],
        crs=store.crs,
    )
    return store.add_zone(
        geometry=shapely.box(500_000, 5_200_000, 500_030, 5_200_012),
        runs=runs,
        trees=[{"tree": tree[0], "run": 1, "why": "chosen"}, {"tree": tree[1], "run": 1, "why": "margin"}],
    )


def test_the_official_checker_finds_nothing(grove, count_frame):
    # osgeo_utils.samples.validate_gpkg (E. Rouault, GDAL), which tests the requirements of OGC 12-128
    grove.add_keep_outs(
        gpd.GeoDataFrame({"kind": ["water"], "setback_m": [20.0]}, geometry=[shapely.box(0, 0, 9, 9)], crs=7855)
    )
    grove.add_rows(
        gpd.GeoDataFrame({"block": ["East"], "row": [1]}, geometry=[shapely.LineString([(0, 0), (9, 0)])], crs=7855)
    )
    counts = ["00000000-0000-4000-8000-000000000001"]
    grove.add_counts(count_frame(grove, counts), None)
    grove.set_setting("threshold", {"over": 2.0})
    add_zone(grove)
    assert check(grove.path) == []


def test_an_empty_grove_passes_too(new_grove):
    assert check(new_grove().path) == []


def test_the_header_says_geopackage_1_3(new_grove):
    # OGC 12-128r18, requirement 2: "GPKG" at byte 68 and 10300 at byte 60 (SQLite database file format, 1.3)
    header = new_grove().path.read_bytes()[:100]
    assert header[68:72] == b"GPKG"
    assert int.from_bytes(header[60:64], "big") == 10300


def test_gdal_reads_layers_types_and_crs(grove):
    add_zone(grove)
    layers = dict(pyogrio.list_layers(grove.path))
    assert {
        "block": "Polygon",
        "place": "Point",
        "tree": "Point",
        "zone": "MultiPolygon",
        "zone_run": "LineString",
        "keep_out": "Polygon",
        "row_line": "LineString",
    }.items() <= layers.items()
    for layer, kind in layers.items():
        if kind is not None:
            assert pyproj.CRS.from_user_input(pyogrio.read_info(grove.path, layer=layer)["crs"]) == grove.crs
    trees = gpd.read_file(grove.path, layer="tree").sort_values(["row", "position"], ignore_index=True)
    own = grove.trees()
    assert list(trees[["block", "row", "position"]].itertuples(index=False)) == list(
        own[["block", "row", "position"]].itertuples(index=False)
    )
    assert trees.geometry.geom_equals_exact(own.geometry, 0).all()
    assert (trees["tree"] == own["tree"]).all()


def test_stated_extents_are_what_gdal_measures(grove):
    add_zone(grove)
    connection = sqlite3.connect(grove.path)
    stated = {
        row[0]: row[1:]
        for row in connection.execute("SELECT table_name, min_x, min_y, max_x, max_y FROM gpkg_contents")
    }
    connection.close()
    for layer in ("block", "place", "tree", "zone", "zone_run"):
        assert stated[layer] == tuple(
            pyogrio.read_bounds(grove.path, layer=layer)[1].T.reshape(-1, 4).min(axis=0)[:2]
        ) + tuple(pyogrio.read_bounds(grove.path, layer=layer)[1].max(axis=1)[2:])
    assert stated["keep_out"] == (None, None, None, None)


def test_an_undone_import_takes_its_extent_with_it(new_grove, block_frame):
    store = new_grove()
    store.add_blocks(block_frame())
    store.undo(store.acts()["act"][0])
    connection = sqlite3.connect(store.path)
    found = connection.execute("SELECT min_x, max_y FROM gpkg_contents WHERE table_name='block'").fetchone()
    connection.close()
    assert found == (None, None)


def test_the_time_of_the_last_change_moves(grove, count_frame):
    def changed() -> str:
        connection = sqlite3.connect(grove.path)
        (value,) = connection.execute("SELECT last_change FROM gpkg_contents WHERE table_name='count'").fetchone()
        connection.close()
        return str(value)

    before = changed()
    grove.add_counts(count_frame(grove, ["00000000-0000-4000-8000-000000000001"]))
    assert changed() > before


def test_the_crs_is_described_by_its_real_definition(new_grove):
    store = new_grove()
    connection = sqlite3.connect(store.path)
    rows = connection.execute("SELECT srs_id, definition FROM gpkg_spatial_ref_sys WHERE srs_id > 0").fetchall()
    connection.close()
    assert {code for code, _ in rows} == {4326, 7855}
    for code, definition in rows:
        assert pyproj.CRS.from_wkt(definition).equals(pyproj.CRS.from_epsg(code), ignore_axis_order=True)


@pytest.mark.parametrize(
    ("epsg", "said"),
    [
        (4326, "EPSG:4326 is WGS 84: a grove is measured in a projected CRS in metres"),
        (2264, "a grove is measured in a projected CRS in metres"),  # US survey feet
        (5555, "a grove is measured in a projected CRS in metres"),  # with heights
        (999_999, "EPSG:999999 is unknown"),
    ],
)
def test_a_crs_that_is_no_plane_in_metres_is_refused(epsg, said):
    with pytest.raises(CRSRefused, match=said):
        grove_crs(epsg)


# OGC 12-128r18, annex F.3 "RTree Spatial Indexes": <t> is the table, <c> its geometry, <i> its key
_FILLED = "(NEW.<c> NOTNULL AND NOT ST_IsEmpty(NEW.<c>))"
_EMPTIED = "(NEW.<c> ISNULL OR ST_IsEmpty(NEW.<c>))"
_PUT = """INSERT OR REPLACE INTO rtree_<t>_<c> VALUES
  (NEW.<i>, ST_MinX(NEW.<c>), ST_MaxX(NEW.<c>), ST_MinY(NEW.<c>), ST_MaxY(NEW.<c>));"""
_INDEX = f"""
CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
  definition TEXT NOT NULL, scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
INSERT INTO gpkg_extensions VALUES
  ('<t>', '<c>', 'gpkg_rtree_index', 'http://www.geopackage.org/spec131/#extension_rtree', 'write-only');
CREATE VIRTUAL TABLE rtree_<t>_<c> USING rtree(id, minx, maxx, miny, maxy);
INSERT OR REPLACE INTO rtree_<t>_<c>
  SELECT <i>, ST_MinX(<c>), ST_MaxX(<c>), ST_MinY(<c>), ST_MaxY(<c>) FROM <t> WHERE NOT ST_IsEmpty(<c>);
CREATE TRIGGER rtree_<t>_<c>_insert AFTER INSERT ON <t> WHEN {_FILLED} BEGIN {_PUT} END;
CREATE TRIGGER rtree_<t>_<c>_update1 AFTER UPDATE OF <c> ON <t> WHEN OLD.<i> = NEW.<i> AND {_FILLED}
  BEGIN {_PUT} END;
CREATE TRIGGER rtree_<t>_<c>_update2 AFTER UPDATE OF <c> ON <t> WHEN OLD.<i> = NEW.<i> AND {_EMPTIED}
  BEGIN DELETE FROM rtree_<t>_<c> WHERE id = OLD.<i>; END;
CREATE TRIGGER rtree_<t>_<c>_update3 AFTER UPDATE ON <t> WHEN OLD.<i> != NEW.<i> AND {_FILLED}
  BEGIN DELETE FROM rtree_<t>_<c> WHERE id = OLD.<i>; {_PUT} END;
CREATE TRIGGER rtree_<t>_<c>_update4 AFTER UPDATE ON <t> WHEN OLD.<i> != NEW.<i> AND {_EMPTIED}
  BEGIN DELETE FROM rtree_<t>_<c> WHERE id IN (OLD.<i>, NEW.<i>); END;
CREATE TRIGGER rtree_<t>_<c>_delete AFTER DELETE ON <t> WHEN OLD.<c> NOTNULL
  BEGIN DELETE FROM rtree_<t>_<c> WHERE id = OLD.<i>; END;
"""


def test_a_spatial_index_added_by_a_desktop_gis_leaves_the_file_writable(grove, tree_frame):
    connection = connect(grove.path)
    for table in ("block", "place", "zone", "zone_run", "keep_out", "row_line"):
        connection.executescript(_INDEX.replace("<t>", table).replace("<c>", "geom").replace("<i>", "id"))
    connection.close()
    zone = add_zone(grove)
    grove.change_zone(zone, geometry=shapely.box(500_000, 5_200_000, 500_040, 5_200_012))
    more = tree_frame.assign(row=tree_frame["row"] + 10)
    grove.add_places_and_plants(more)
    assert check(grove.path) == []
    connection = connect(grove.path)
    assert connection.execute("SELECT count(*) FROM rtree_place_geom").fetchone()[0] == 2 * len(tree_frame)
    # The index stores 32-bit floats (SQLite, "The SQLite R*Tree Module"): half a metre at most here
    west, east = connection.execute("SELECT minx, maxx FROM rtree_zone_geom").fetchone()
    assert (west, east) == (pytest.approx(500_000, abs=0.5), pytest.approx(500_040, abs=0.5))
    grove.undo(grove.acts()["act"][0])
    assert connection.execute("SELECT count(*) FROM rtree_place_geom").fetchone()[0] == len(tree_frame)
    connection.close()


def test_triggers_that_gdal_itself_makes_leave_the_file_writable(grove, tree_frame, tmp_path):
    """The same with the SQL of the GDAL that is installed, taken from a file that it wrote."""
    other = tmp_path / "other.gpkg"
    tree_frame.rename_geometry("geom").to_file(other, layer="place", driver="GPKG", SPATIAL_INDEX="YES")
    source = sqlite3.connect(other)
    found = source.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    table = [sql for _, name, sql in found if name == "rtree_place_geom"]
    made = table + [sql for kind, name, sql in found if kind == "trigger" and name.startswith("rtree_place_geom")]
    source.close()
    key = pyogrio.read_info(other, layer="place")["fid_column"]
    assert len(made) >= 7, made
    connection = connect(grove.path)
    for statement in made:
        connection.execute(statement.replace(f'"{key}"', '"id"'))
    connection.close()
    grove.add_places_and_plants(tree_frame.assign(row=tree_frame["row"] + 10))
    assert len(grove.places()) == 2 * len(tree_frame)


READER = """
import sys, time
import geopandas as gpd, pyogrio
path = sys.argv[1]
print("ready", flush=True)
rounds = 0
while True:
    for layer, kind in pyogrio.list_layers(path):
        frame = gpd.read_file(path, layer=layer)
        if layer == "place":
            assert len(frame) % 24 == 0, len(frame)
    rounds += 1
    print(rounds, flush=True)
"""


def test_geopandas_reads_every_layer_from_another_process_while_this_one_writes(grove, tree_frame, start_python):
    reader = start_python(READER, grove.path)
    assert reader.stdout.readline() == "ready\n"
    written = rounds = 0
    while written < 8 or rounds < 3:
        grove.add_places_and_plants(tree_frame.assign(row=tree_frame["row"] + 10 * (written + 1)))
        written += 1
        rounds = int(reader.stdout.readline() or reader.stderr.read())
    assert reader.poll() is None
    reader.kill()
    assert len(grove.places()) == 24 * (written + 1)
    assert check(grove.path) == []


def test_the_same_tables_compile_for_postgis():
    """No published example: the definitions name no type that only SQLite knows."""
    from sqlalchemy.dialects import postgresql
    from sqlalchemy.schema import CreateTable

    from api.store.tables import METADATA

    made = {
        table.name: str(CreateTable(table).compile(dialect=postgresql.dialect())) for table in METADATA.sorted_tables
    }
    assert "geom geometry(POINT) NOT NULL" in made["place"]
    assert "TIMESTAMP WITH TIME ZONE" in made["change"]
    assert not any(word in "".join(made.values()) for word in ("DATETIME", "MULTIPOLYGON NOT"))


def test_python_sees_no_gdal_bindings():
    """The checker must stay pure Python: with the bindings it would open the file by GDAL in this process."""
    assert "osgeo.ogr" not in sys.modules
    assert np.all([name != "osgeo._ogr" for name in sys.modules])
