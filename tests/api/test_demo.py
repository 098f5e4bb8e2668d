"""The invented demo grove goes the whole way; every file that it leaves is opened again by somebody else's reader."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pypdf
import pytest
import shapely
from typer.testing import CliRunner

import data
from api.cli import app
from api.store import GroveFile

FILES = {
    "grass-change.gpkg",
    "grass-front.gpkg",
    "grass-rows.csv",
    "grass.pdf",
    "grass.png",
    "grove.gpkg",
    "pressure.csv",
    "pressure.png",
    "pressure.html",
    "zone.geojson",
    "zone.gpkg",
    "zone.kml",
    "zone.gpx",
    "zone.shp.zip",
    "runs.csv",
    "run-sheet.pdf",
    "summary.json",
}
AREAS = ("zone.geojson", "zone.gpkg", "zone.kml", "zone.shp.zip")


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def out(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "out"
    said = run("demo", "--out", folder)
    assert said.startswith("INVENTED DEMO GROVE")
    assert "The label and the permit are the law" in said
    return folder


@pytest.fixture(scope="module")
def summary(out) -> dict:
    return json.loads((out / "summary.json").read_text("utf-8"))


def test_every_file_is_there_and_no_other(out):
    assert {file.name for file in out.iterdir()} == FILES


@pytest.mark.parametrize("name", AREAS)
def test_areas_and_crs_agree_when_read_again(out, summary, name):
    path = out / name
    frame = gpd.read_file(f"zip://{path}" if name.endswith(".zip") else path)
    crs = frame.crs.to_epsg()
    assert crs == (4326 if name in ("zone.geojson", "zone.kml") else 32729)
    area_ha = frame.to_crs(32729).area.sum() / 10_000
    assert area_ha == pytest.approx(summary["zone"]["area_ha"], rel=1e-3)


def test_runs_are_tracks_that_a_phone_follows(out, summary):
    tracks = gpd.read_file(out / "zone.gpx", layer="tracks")
    assert len(tracks) == summary["zone"]["runs"]
    length_m = tracks.to_crs(32729).length.sum()
    assert length_m == pytest.approx(summary["zone"]["run_length_m"], rel=1e-3)


def test_runs_loads_and_litres_agree_everywhere(out, summary):
    runs = pd.read_csv(out / "runs.csv")
    zone = summary["zone"]
    assert runs["trees"].sum() == zone["trees"]
    assert runs["litres"].sum() == pytest.approx(zone["litres"], rel=1e-9)
    loads = pd.DataFrame(zone["mix"]["loads"])
    assert loads["mix_l"].sum() == pytest.approx(zone["litres"], rel=1e-9)
    assert loads["product"].sum() == pytest.approx(zone["mix"]["product"], rel=1e-9)


def test_no_unwalked_block_and_no_tree_in_a_setback_is_zoned(out, summary):
    with GroveFile.open(out / "grove.gpkg", read_only=True) as grove:
        zone, trees, keep_outs = grove.zone(), grove.trees(), grove.keep_outs()
    treated = trees[trees["tree"].isin(zone.trees["tree"])]
    unknown = summary["blocks_unknown"]
    assert unknown
    assert not set(treated["block"]) & set(unknown)
    inside = trees[trees.within(zone.geometry)]
    assert set(inside["tree"]) == set(treated["tree"])
    for keep_out in keep_outs.itertuples():
        # From the canopy's edge, not from the trunk.
        assert (treated.distance(keep_out.geometry) - treated["canopy_width_m"] / 2 >= keep_out.setback_m).all()


def test_the_printed_zone_is_frozen_and_the_decision_kept(out, summary):
    with GroveFile.open(out / "grove.gpkg", read_only=True) as grove:
        assert grove.zone().frozen
        assert grove.decisions()[-1]["made"]["best"] == summary["decision"]["best"]


def test_every_tree_stands_on_the_hill_and_the_walk_starts_at_the_gate(out):
    """The truth of the heights is the hill's formula in the script, which shares nothing with gridmap."""
    spec = importlib.util.spec_from_file_location("make_demo", data.path("demo", "make_demo.py"))
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    with GroveFile.open(out / "grove.gpkg", read_only=True) as grove:
        trees, zone, points = grove.trees(), grove.zone(), grove.points().set_index("name")
    x, y = trees.geometry.x - script.TOP[0], trees.geometry.y - script.TOP[1]
    truth = [script.elevation_m(east, north) for east, north in zip(x, y, strict=True)]
    # Decimetres in the DEM, and a curve between cells of 5 m.
    assert trees["elevation_m"].to_numpy() == pytest.approx(truth, abs=0.2)
    assert trees["upslope_m"].notna().all()
    assert trees["upslope_m"].corr(trees["elevation_m"], method="spearman") > 0.99
    assert zone.settings["start"] == "house gate"
    first, last = zone.runs.geometry.iloc[0].coords[0], zone.runs.geometry.iloc[-1].coords[-1]
    gate = points.geometry["house gate"]
    assert gate.distance(shapely.Point(first)) < gate.distance(shapely.Point(last))
    text = "".join(page.extract_text() for page in pypdf.PdfReader(out / "run-sheet.pdf").pages)
    assert "dam pump" in text


def test_invented_stands_on_every_output(out):
    assert "INVENTED DEMO GROVE" in "".join(
        page.extract_text() for page in pypdf.PdfReader(out / "run-sheet.pdf").pages
    )
    for name in ("pressure.html", "zone.geojson", "zone.kml", "zone.gpx", "summary.json", "pressure.csv", "runs.csv"):
        assert "invented" in (out / name).read_text("utf-8").lower(), name
    with zipfile.ZipFile(out / "zone.shp.zip") as archive:
        assert any(b"INVENTED" in archive.read(name).upper() for name in archive.namelist())
    assert b"INVENTED" in (out / "zone.gpkg").read_bytes().upper()
    with GroveFile.open(out / "grove.gpkg", read_only=True) as grove:
        assert grove.grove.invented


def test_the_take_away_map_opens_with_the_network_off(out, tmp_path):
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("no chromium on this machine")
    done = subprocess.run(
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={tmp_path}",
            "--virtual-time-budget=8000",
            "--enable-logging=stderr",
            "--v=0",
            "--dump-dom",
            (out / "pressure.html").as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert "leaflet-container" in done.stdout
    assert 'data-ready="1357"' in done.stdout  # the page says so once every tree is drawn
    assert "CONSOLE" not in done.stderr, done.stderr


def test_the_same_demo_twice_says_the_same(out, summary, tmp_path):
    run("demo", "--out", tmp_path / "again")
    again = json.loads((tmp_path / "again" / "summary.json").read_text("utf-8"))
    for made in (summary, again):
        for name in ("version", "created"):
            made["zone"].pop(name, None)
    assert without_uuids(again) == without_uuids(summary)
    assert (tmp_path / "again" / "pressure.png").read_bytes() == (out / "pressure.png").read_bytes()


def without_uuids(value):
    """Leave out what is named anew each time."""
    if isinstance(value, dict):
        return {key: without_uuids(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [without_uuids(entry) for entry in value]
    named = isinstance(value, str) and re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", value)
    return "uuid" if named else value


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "taken").write_text("x")
    result = CliRunner().invoke(app, ["demo", "--out", str(tmp_path / "taken")])
    assert result.exit_code == 1
    assert "can't be written" in result.stderr


def test_a_zone_by_hand_makes_a_new_version_and_is_told(out, tmp_path):
    path = tmp_path / "grove.gpkg"
    shutil.copy(out / "grove.gpkg", path)
    before = json.loads(run("zone", path, "--json"))
    run_of = before["tables"]["Runs, in walking order"][0]
    drop = f"{run_of['block']}/{run_of['row']}"
    after = json.loads(run("zone", path, "--drop", drop, "--json"))
    assert after["version"] == before["version"] + 1
    assert after["trees"] == before["trees"] - run_of["trees"]
    assert drop.replace("/", " row ") in after["changed_by_hand"]
    sheet = tmp_path / "out"
    run("outputs", path, "--out", sheet)
    text = "".join(page.extract_text() for page in pypdf.PdfReader(sheet / "run-sheet.pdf").pages)
    assert "changed by hand" in text


@pytest.mark.parametrize(
    ("hand", "message"),
    [
        ("nonsense", "A change by hand is 'nonsense': it must be BLOCK/ROW"),
        ("Nowhere/1", "is in no row of the grove: a change by hand must name living trees"),
        ("Stony Bit/1/1-3", "not walked"),
    ],
)
def test_a_change_by_hand_that_can_not_be_is_refused(out, tmp_path, hand, message):
    path = tmp_path / "grove.gpkg"
    shutil.copy(out / "grove.gpkg", path)
    with GroveFile.open(path, read_only=True) as grove:
        zones = len(grove.zones())
    result = CliRunner().invoke(app, ["zone", str(path), "--add", hand])
    assert result.exit_code == 1
    assert message in result.stderr
    with GroveFile.open(path, read_only=True) as grove:
        assert len(grove.zones()) == zones
