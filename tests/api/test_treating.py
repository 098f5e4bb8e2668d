"""The treatment from the hour to the proof, through the command line, on the invented grove and on both kinds of day.

No published example for the doors: figures behind them are checked in tests/gridmap/treatment. Here: what was written
stays, what is missing is named, bad input changes nothing, sprayed and check trees are told apart.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from shapely.geometry import shape
from typer.testing import CliRunner

from api.cli import app
from api.steps.demo import build_demo
from api.steps.treatment import make_zone
from api.store import GroveFile
from gridmap.crs import to_lonlat


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def figures(*words: object) -> dict:
    return json.loads(run(*words, "--json"))


@pytest.fixture(scope="module")
def zoned(tmp_path_factory) -> Path:
    """Return the invented grove with a zone of its newest walk."""
    path = tmp_path_factory.mktemp("zoned") / "demo.gpkg"
    build_demo(path)
    make_zone(path)
    return path


@pytest.fixture
def grove(zoned, tmp_path) -> Path:
    return Path(shutil.copy(zoned, tmp_path / "home.gpkg"))


@pytest.fixture
def begun(grove) -> Path:
    run("start-treatment", grove, "--profile", "au-vic", "--day", "2026-11-03")
    return grove


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_day_of_spraying_is_written_down_run_by_run(begun):
    run("record", begun, "start", "wind_km_per_h=8", "wind_from=NW", "--at", "2026-11-03T07:10")
    run("record", begun, "run", "run=1", "litres=40", "--at", "2026-11-03T07:40")
    told = figures("record", begun, "wind", "wind_km_per_h=14", "wind_from=W", "--at", "2026-11-03T08:05")
    assert told["runs_done"] == [1]
    assert told["record"]["wind_start"] == "8 km/h from NW"
    assert "08:05: 14 km/h from W" in told["record"]["wind_changes"]
    assert told["record"]["start_time"] == "07:10"
    assert told["litres"] == 40
    assert "time of the end" not in told["missing"]  # Victoria does not ask for it
    assert "name and address of the person it was sprayed for" in told["missing"]
    run("record", begun, "field", "field=sprayed_for", "value=Invented & Co, Nowhere")
    assert "sprayed for" not in " ".join(figures("record", begun)["missing"])


def test_stopped_at_a_tree_the_rest_is_planned_anew(begun):
    with GroveFile.open(begun) as store:
        zone = store.zone()
        second = zone.runs.iloc[1]
    position = int(second["from_position"])
    told = figures("record", begun, "stop", "run=2", f"position={position}", "reason=wind rose", "wind_km_per_h=22")
    assert told["stopped"].startswith("Stopped in run 2")
    assert "wind rose" in told["stopped"]
    assert told["trees_done"] == 1
    assert sum(load["mix_l"] for load in told["loads_left"]) == pytest.approx(
        told["planned_litres_per_tree"] * told["trees_left"], rel=1e-6)
    assert figures("record", begun, "resume")["stopped"] == ""


def test_what_was_written_is_corrected_and_never_changed(begun):
    first = figures("record", begun, "run", "run=1", "litres=400")["entries"][-1]["entry"]
    told = figures("record", begun, "correction", "run=1", "litres=40", "--corrects", first)
    assert told["litres"] == 40
    assert [entry["content"]["litres"] for entry in told["entries"]] == [400, 40]
    assert told["entries"][1]["corrects"] == first


def test_the_outline_in_the_record_holds_what_was_sprayed_and_no_more(begun):
    # Physical sense: every tree ticked off lies in it, every other tree of the zone outside, and it grows to the zone.
    run("record", begun, "run", "run=1", "litres=40")
    told = figures("record", begun)["record"]["area_geometry"]
    with GroveFile.open(begun) as store:
        zone = store.zone()
        trees = to_lonlat(store.trees().merge(zone.trees[["tree", "run"]], on="tree"))
    ground = shape(told)
    inside = [ground.buffer(1e-8).contains(point) for point in trees.geometry]
    assert inside == (trees["run"] == 1).tolist()
    for number in zone.runs["run"]:
        run("record", begun, "run", f"run={number}")
    whole = shape(figures("record", begun)["record"]["area_geometry"])
    assert all(whole.buffer(1e-8).contains(point) for point in trees.geometry)


@pytest.mark.parametrize(("words", "message"), [
    (["run", "run=99"], "Run is 99: the zone has runs 1 to"),
    (["stop", "run=1", "position=9999"], "Tree is 9999: run 1 has trees"),
    (["run", "run=1", "litres=-4"], "Litres is -4 L"),
    (["run", "run=1.5"], "Run is 1.5: it must be a whole number"),
    (["smell", "words=bad"], "Kind of an entry is 'smell'"),
    (["note", "smell=bad"], "'smell' is no part of a record"),
    (["field", "field=smell", "value=bad"], "Field is 'smell'"),
    (["field", "field=crop"], "without its value"),
    (["note", "words=x", "--at", "soon"], "The time is 'soon'"),
    (["note", "words=x", "--corrects", "00000000-0000-4000-8000-000000000000"], "a correction, and nothing else"),
])
def test_a_bad_entry_changes_nothing(begun, words, message):
    before = digest(begun)
    assert message in run("record", begun, *words, status=1)
    assert digest(begun) == before


def test_without_a_treatment_there_is_no_record(grove):
    assert "The grove has no treatment yet" in run("record", grove, status=1)
    assert "it is asked once" in run("start-treatment", grove, status=1).replace("It is", "it is")


def test_terms_of_the_label_are_said_and_leave_zone_and_water_only(grove):
    run("set-label", grove, "--expires", "2026-10-31", "--states", "NSW", "--end-uses", "oil")
    run("record-facts", grove, "state=Vic", "end_use=table")
    told = figures("start-treatment", grove, "--profile", "au-vic", "--day", "2026-11-03")
    assert told["forbidden"] is True
    said = " ".join(told["said"])
    for sentence in ("The permit expired on 31 October 2026.", "It is for NSW; the grove is in Vic.",
                     "It is for oil olives; your crop is for table.", "no product figure is given"):
        assert sentence in said


def test_a_second_treatment_knows_the_first(begun):
    run("set-label", begun, "--least-interval", "14")
    run("record", begun, "start", "wind_km_per_h=8", "--at", "2026-11-03T07:10")
    run("record", begun, "run", "run=1", "litres=40")
    told = figures("start-treatment", begun, "--day", "2026-11-10")
    block = told["findings"][0]["words"]
    assert "may be treated again from 17 November 2026, 14 days after the last time" in block


def test_check_trees_stay_out_of_the_work(grove):
    told = figures("check-trees", grove, "--trees", "5")
    with GroveFile.open(grove) as store:
        whole = len(store.zone().trees)
        assert sorted(store.check_trees(store.zone().uuid)) == sorted(told["check_trees"])
    run("start-treatment", grove, "--profile", "other")
    assert figures("record", grove)["trees_left"] == whole - 5


def _walk_after(grove: Path, folder: Path, *, sprayed: float, left: float) -> Path:
    """Write a walk two weeks later: counts of every tree of the walk before, changed by who was sprayed (invented)."""
    with GroveFile.open(grove) as store:
        zone = store.zone()
        checks = set(store.check_trees(zone.uuid))
        counts = store.counts(store.walks()["walk"].iloc[-1])
        inside = set(zone.trees["tree"]) - checks
    rows = [{"tree": row.tree, "taps": row.taps,
             "nymphs": round(float(row.nymphs or 0) * (sprayed if row.tree in inside else left)), "adults": 0}
            for row in counts.itertuples()]
    path = folder / "after.csv"
    pd.DataFrame(rows).to_csv(path, index=False)
    return path


def test_efficacy_needs_check_trees_else_it_is_change(grove, tmp_path):
    with GroveFile.open(grove) as store:
        day = pd.Timestamp(store.walks()["date"].iloc[-1]) + pd.Timedelta(days=1)
        zone = store.zone()
        beaten = store.counts(store.walks()["walk"].iloc[-1])
        inside = beaten[beaten["tree"].isin(set(zone.trees["tree"])) & (beaten["nymphs"] > 0)]
    run("start-treatment", grove, "--profile", "other", "--day", day.date())
    run("record", grove, "start", "wind_km_per_h=8", "--at", f"{day.date()}T07:00")
    for number in zone.runs["run"]:
        run("record", grove, "run", f"run={number}")
    later = (day + pd.Timedelta(days=14)).date()
    run("import-counts", grove, _walk_after(grove, tmp_path, sprayed=0.2, left=1.0), "--date", later)
    told = figures("efficacy", grove)
    assert told["with_check_trees"] is False
    assert "change, not efficacy" in " ".join(told["said"])
    assert told["percent"] == pytest.approx(80, abs=8)
    # With trees of the zone left out, what is told is efficacy against them.
    with GroveFile.open(grove) as store:
        store.set_check_trees(zone.uuid, inside["tree"].iloc[:3])
    told = figures("efficacy", grove)
    assert told["with_check_trees"] is True
    assert told["low_95"] < told["percent"] < told["high_95"]


STATION = "time,temp_c,rh,wind_km/h,rain_mm\n" + "".join(
    f"2026-11-03 {hour:02d}:00,{14 + hour / 2},{70 - hour},{8},0\n" for hour in range(24)) + "".join(
    f"2026-11-04 {hour:02d}:00,{14 + hour / 2},{70 - hour},{8},0\n" for hour in range(24))


def test_hours_of_a_station_are_judged(grove, tmp_path):
    file = tmp_path / "station.csv"
    file.write_text(STATION)
    assert "48 hours" in run("import-weather", grove, file)
    told = figures("spray-hours", grove, "--day", "2026-11-03", "--hours", "24")
    assert len(told["hours"]) == 24
    assert {hour["fit"] for hour in told["hours"]} <= {"careful", "no"}
    assert "Usual limits stand in where you typed none" in " ".join(told["said"])
    run("set-weather-limits", grove, "--rain-fast", "4")
    run("note-flowering", grove, "none")
    with GroveFile.open(grove) as store:
        note = store.setting("flowering")
        store.set_setting("flowering", {**note, "on": "2026-11-03"})
    told = figures("spray-hours", grove, "--day", "2026-11-03", "--hours", "24")
    assert told["good_spans"]
    assert "Good hours: 3 November 2026" in told["said"][0]
    run("note-flowering", grove, "trees")
    with GroveFile.open(grove) as store:
        store.set_setting("flowering", {"flowering": "trees", "on": "2026-11-03"})
    assert figures("spray-hours", grove, "--day", "2026-11-03")["good_spans"] == []


def test_a_weather_table_that_can_not_be_read_changes_nothing(grove, tmp_path):
    before = digest(grove)
    file = tmp_path / "bad.csv"
    file.write_text("time,temperature,rh,wind\n2026-11-03 07:00,14,70,3\n")
    assert "does not say the unit of 2 columns" in run("import-weather", grove, file, status=1)
    assert "The grove has no weather table" in run("spray-hours", grove, status=1)
    assert "What is in flower is 'everything'" in run("note-flowering", grove, "everything", status=1)
    assert digest(grove) == before


def test_dates_go_into_a_calendar(begun, tmp_path):
    run("set-label", begun, "--least-interval", "14")
    told = figures("when-again", begun, "--interval", "12", "--calendar", tmp_path / "again.ics")
    assert told["beat_again"] == "2026-11-15"
    assert told["allowed_from"] is None  # the label as it stood when the treatment was begun had no interval typed
    text = (tmp_path / "again.ics").read_text()
    assert "DTSTART;VALUE=DATE:20261115" in text
    assert "(invented)" in text
