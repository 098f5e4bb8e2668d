"""Outlines, keep-outs, rows, trees and counts as a person brings them in; what can't be used changes nothing on disk.

No published examples here: these are the house's own doors. What is inside is checked in the rooms.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely
from typer.testing import CliRunner

from api.cli import app

LONGITUDE, LATITUDE = -9.40, -31.90
METRE_EAST, METRE_NORTH = 1 / 94_500, 1 / 110_880


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def at(east: float, north: float) -> list[float]:
    return [LONGITUDE + east * METRE_EAST, LATITUDE + north * METRE_NORTH]


def box(west, south, east, north):
    return [at(west, south), at(east, south), at(east, north), at(west, north), at(west, south)]


def geojson(path: Path, *features: tuple[dict, list]) -> Path:
    path.write_text(
        json.dumps(
            {
                "type": "FeatureCollection",
                "features": [
                    {
                        "type": "Feature",
                        "properties": properties,
                        "geometry": {"type": "Polygon", "coordinates": [ring]},
                    }
                    for properties, ring in features
                ],
            }
        )
    )
    return path


@pytest.fixture
def grove(tmp_path) -> Path:
    path = tmp_path / "home.gpkg"
    run(
        "new",
        path,
        "--name",
        "Home",
        "--at",
        f"{LONGITUDE},{LATITUDE}",
        "--time-zone",
        "Atlantic/St_Helena",
        "--season-start",
        "07-01",
        "--currency",
        "XTS",
    )
    return path


@pytest.fixture
def planted(grove, tmp_path) -> Path:
    run("import-outlines", grove, geojson(tmp_path / "blocks.geojson", ({"name": "Top"}, box(0, 0, 60, 40))))
    run(
        "make-rows",
        grove,
        "--block",
        "Top",
        "--row-bearing",
        90,
        "--row-spacing",
        7,
        "--tree-spacing",
        5,
        "--headland",
        3,
        "--uphill",
        0,
    )
    return grove


def test_a_block_is_drawn_once_and_gets_its_trees(planted):
    shown = json.loads(run("show", planted, "--json"))
    assert shown["blocks"] == 1
    assert shown["map_area_ha"] == pytest.approx(0.24, rel=0.005)
    # 54 m by 34 m stay inside the headland: 11 trees in a row, 5 rows.
    assert shown["trees"] == 55


def test_undo_takes_rows_and_block_back(planted):
    assert "Taken back: make rows in Top" in run("undo", planted)
    assert json.loads(run("show", planted, "--json"))["trees"] == 0
    assert "Taken back: import outlines" in run("undo", planted)
    assert json.loads(run("show", planted, "--json"))["blocks"] == 0


BOW_TIE = [at(0, 0), at(50, 50), at(50, 0), at(0, 50), at(0, 0)]
SWAPPED = [corner[::-1] for corner in box(0, 0, 60, 40)]


@pytest.mark.parametrize(
    ("features", "message"),
    [
        ([({"name": "Bow"}, BOW_TIE)], "crosses itself"),
        ([({"name": "A"}, box(0, 0, 60, 40)), ({"name": "B"}, box(50, 0, 90, 40))], r"overlap"),
        ([({"name": "A"}, box(0, 0, 60, 40)), ({"name": "A"}, box(100, 0, 150, 40))], "twice"),
        ([({"name": "Far"}, [[147, -37], [147.001, -37], [147.001, -37.001], [147, -37]])], "km from"),
        ([({"name": "Swapped"}, SWAPPED)], "swapped"),
        ([({"name": ""}, box(0, 0, 60, 40))], "name"),
        ([({"name": "A", "row_spacing_m": -3}, box(0, 0, 60, 40))], "row_spacing_m"),
    ],
)
def test_an_outline_that_can_not_be_changes_nothing(grove, tmp_path, features, message):
    before = grove.read_bytes()
    said = run("import-outlines", grove, geojson(tmp_path / "bad.geojson", *features), status=1)
    assert message in said
    assert said.startswith("gridmap: ")
    assert grove.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"{", "cut off"),
        (b"\x89PNG\r\n", "a picture"),
        (b"PK\x03\x04", "zip"),
        (b'{"type": "FeatureCollection", "features": []}', "no entries"),
    ],
)
def test_a_file_that_is_no_layer_is_said_in_one_line(grove, tmp_path, content, message):
    (tmp_path / "bad.geojson").write_bytes(content)
    said = run("import-outlines", grove, tmp_path / "bad.geojson", status=1)
    assert message in said
    assert said.count("\n") == 1


def test_the_same_block_twice_is_refused(planted, tmp_path):
    said = run(
        "import-outlines",
        planted,
        geojson(tmp_path / "again.geojson", ({"name": "top"}, box(200, 0, 260, 40))),
        status=1,
    )
    assert "block top is in the grove already" in said.lower()


def test_keep_outs_need_kind_and_setback_and_take_them_from_the_command(planted, tmp_path):
    dam = geojson(tmp_path / "dam.geojson", ({"name": "dam"}, box(70, 0, 90, 20)))
    before = planted.read_bytes()
    assert "kind" in run("import-keep-outs", planted, dam, status=1)
    assert "setback_m" in run("import-keep-outs", planted, dam, "--kind", "water", status=1)
    assert planted.read_bytes() == before
    assert "1 keep-outs" in run("import-keep-outs", planted, dam, "--kind", "water", "--setback", 20)


def test_rows_say_what_is_missing(grove, tmp_path):
    run("import-outlines", grove, geojson(tmp_path / "b.geojson", ({"name": "Top"}, box(0, 0, 60, 40))))
    said = run("make-rows", grove, "--row-bearing", 90, "--row-spacing", 7, status=1)
    for thing in ("tree spacing", "headland", "which way is uphill"):
        assert f"missing: {thing}" in said
    assert "there is no block 'Bottom'" in run("make-rows", grove, "--block", "Bottom", status=1).lower().replace(
        "bottom", "Bottom"
    )


def test_rows_are_not_laid_twice(planted):
    said = run(
        "make-rows",
        planted,
        "--block",
        "Top",
        "--row-bearing",
        90,
        "--row-spacing",
        7,
        "--tree-spacing",
        5,
        "--headland",
        3,
        "--uphill",
        0,
        status=1,
    )
    assert "has trees already: a tree keeps its place and number for life" in said


def counts(path: Path, *lines: str, header: str = "block,row,position,taps,nymphs,adults,spider") -> Path:
    path.write_text("\n".join([header, *lines]) + "\n")
    return path


def test_counts_in_once_and_again(planted, tmp_path):
    walk = counts(tmp_path / "walk.csv", "Top,1,1,3,4,1,0", "Top,1,2,3,0,0,2", "top,5,11,6,9,0,1")
    assert "3 counts stored for the walk of 3 February 2026" in run(
        "import-counts", planted, walk, "--date", "2026-02-03"
    )
    again = run("import-counts", planted, walk, "--date", "2026-02-03")
    assert "0 counts stored" in again
    assert "3 were there already" in again
    shown = json.loads(run("show", planted, "--json"))
    assert (shown["walks"], shown["counts"]) == (1, 3)


def test_bad_lines_are_told_one_by_one_and_nothing_is_stored(planted, tmp_path):
    walk = counts(
        tmp_path / "walk.csv",
        "Top,1,1,3,4,1,0",
        "Top,1,99,3,0,0,0",
        "Top,1,2,3,-1,0,0",
        "Top,1,3,3,some,0,0",
        "Top,1,4,0,1,0,0",
        "Top,1,5,3,2.5,0,0",
    )
    before = planted.read_bytes()
    said = run("import-counts", planted, walk, "--date", "2026-02-03", status=1)
    for line in (
        "line 3: there is no tree at block Top row 1 position 99",
        "line 4: nymphs",
        "line 5: nymphs",
        "line 6: taps",
        "line 7: nymphs",
    ):
        assert line in said
    assert planted.read_bytes() == before
    kept = run("import-counts", planted, walk, "--date", "2026-02-03", "--accept-good-rows")
    assert "1 counts stored" in kept
    assert "5 lines were left out" in kept


def test_the_same_uuid_with_other_content_is_refused_and_shown(planted, tmp_path):
    header = "uuid,block,row,position,taps,nymphs,adults"
    name = "0b1f6f3e-98a7-4a55-9d44-1f1f4a3f7a10"
    first = counts(tmp_path / "a.csv", f"{name},Top,1,1,3,4,1", header=header)
    other = counts(tmp_path / "b.csv", f"{name},Top,1,1,3,5,1", header=header)
    run("import-counts", planted, first, "--date", "2026-02-03")
    before = planted.read_bytes()
    said = run("import-counts", planted, other, "--date", "2026-02-03", status=1)
    assert "4" in said
    assert "5" in said
    assert "nymphs" in said
    assert planted.read_bytes() == before


def test_trees_by_coordinates_are_snapped_within_a_limit_that_is_told(planted, tmp_path):
    import geopandas as gpd

    trees = gpd.GeoSeries([shapely.Point(at(3 + 5 / 2, 3 + 6 / 2))], crs=4326)
    header = "longitude,latitude,taps,nymphs,adults"
    near = counts(tmp_path / "near.csv", f"{trees.x[0]:.7f},{trees.y[0]:.7f},3,2,0", header=header)
    said = run("import-counts", planted, near, "--date", "2026-02-03", "--snap", 5)
    assert "the nearest within 5.0 m" in said
    far = counts(tmp_path / "far.csv", f"{LONGITUDE - 0.001:.7f},{LATITUDE:.7f},3,2,0", header=header)
    assert "the limit is" in run("import-counts", planted, far, "--date", "2026-02-04", status=1)


def test_the_day_of_a_walk_is_never_guessed(planted, tmp_path):
    walk = counts(tmp_path / "walk.csv", "Top,1,1,3,4,1,0")
    assert "The day of the walk is not said" in run("import-counts", planted, walk, status=1)
    assert "The date is '3 Feb': it must be a day" in run("import-counts", planted, walk, "--date", "3 Feb", status=1)


def test_trees_with_numbers_make_their_own_block(grove, tmp_path):
    lines = [
        f"Wild,{row},{position},{at(5 * position, 7 * row)[0]:.7f},{at(5 * position, 7 * row)[1]:.7f}"
        for row in (1, 2)
        for position in (1, 2, 4)
    ]
    trees = counts(tmp_path / "trees.csv", *lines, header="block,row,position,longitude,latitude")
    said = run("import-trees", grove, trees)
    assert "6 trees from trees.csv" in said
    assert "Not drawn yet, so outlined around their trees: Wild" in said
    before = grove.read_bytes()
    assert "already" in run("import-trees", grove, trees, status=1)
    assert grove.read_bytes() == before
