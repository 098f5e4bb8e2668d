"""The command line moves a grove between file and database, brings copies back, and shows what a desktop GIS edited."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli import app

OUTLINE = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"block": "Top"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [[149.1, -33.25], [149.101, -33.25], [149.101, -33.251], [149.1, -33.251], [149.1, -33.25]]
                ],
            },
        }
    ],
}


def run(*words: object, status: int = 0):
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == status, (done.output, done.exception)
    return done


def start(where: object, folder: Path) -> None:
    run("new", where, "--name", "Home", "--at", "149.1,-33.25", "--time-zone", "Australia/Sydney", "--season-start",
        "07-01", "--currency", "AUD")  # fmt: skip
    (folder / "blocks.geojson").write_text(json.dumps(OUTLINE))
    run("import-outlines", where, folder / "blocks.geojson")
    run("make-rows", where, "--block", "Top", "--row-bearing", 80, "--row-spacing", 7, "--tree-spacing", 5,
        "--headland", 4, "--uphill", 350)  # fmt: skip


def figures(where: object) -> dict[str, object]:
    return json.loads(run("show", where, "--json").stdout)


def test_the_same_commands_give_the_same_on_both_stores(database, tmp_path):
    start(database, tmp_path)
    start(tmp_path / "home.gpkg", tmp_path)
    assert figures(f"{database}#Home") == figures(tmp_path / "home.gpkg")
    assert figures(database)["trees"] > 100


def test_a_grove_goes_into_a_database_and_out_again(database, tmp_path):
    start(tmp_path / "home.gpkg", tmp_path)
    said = run("copy", tmp_path / "home.gpkg", database).stdout
    assert "each compared with what was sent" in said
    assert "write to one of the two only" in said
    listed = json.loads(run("groves", database, "--json").stdout)
    assert [grove["grove"] for grove in listed["groves"]] == ["Home"]
    run("copy", f"{database}#Home", tmp_path / "back.gpkg")
    assert figures(tmp_path / "back.gpkg") == figures(tmp_path / "home.gpkg") == figures(database)
    told = run("copy", tmp_path / "home.gpkg", database, status=1).stderr
    assert "a copy never replaces a grove" in told
    assert "\n" not in told.strip()


@pytest.mark.parametrize("kept", ["file", "database"])
def test_a_backup_is_brought_back(database, tmp_path, kept):
    where = tmp_path / "home.gpkg" if kept == "file" else database
    start(where, tmp_path)
    before = figures(where)
    run("backup", where, tmp_path / "copy.gpkg")
    run("undo", where)
    assert figures(where)["trees"] == 0
    said = run("restore", tmp_path / "copy.gpkg", where).stdout
    assert "What stood there before is kept in" in said
    assert figures(where) == before


def test_history_shows_what_a_desktop_gis_edited_and_it_can_be_taken_back(tmp_path):
    path = tmp_path / "home.gpkg"
    start(path, tmp_path)
    other = sqlite3.connect(path)
    other.execute("UPDATE block SET canopy_height_m = 4.5")
    other.commit()
    other.close()
    newest = json.loads(run("history", path, "--json").stdout)["acts"][0]
    assert (newest["who"], newest["what"], newest["rows"]) == ("another program", "edited outside gridmap", 1)
    assert "Taken back: edited outside gridmap" in run("undo", path).stdout


def test_an_address_that_is_none_is_a_usage_error(tmp_path):
    assert "is no place for a grove" in run("show", "ftp://farm.example/home.gpkg", status=2).stderr


def test_groves_of_a_file_are_refused_in_one_line(tmp_path):
    assert "is a file: groves are listed of a database" in run("groves", tmp_path / "a.gpkg", status=1).stderr
