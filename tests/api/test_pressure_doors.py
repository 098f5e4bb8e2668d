"""What a grower asks of the pressure map: which walks it is made of, what changed, the stage, where to look next."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from fastapi.testclient import TestClient
from scipy.stats import binomtest
from typer.testing import CliRunner

import data
from api.app import create_app
from api.settings import Settings
from api.steps.change import work_out_change
from api.steps.pressure import load_grove, work_out_pressure
from api.steps.stage import stage_by_block
from api.steps.where_next import look_next
from api.store import create_grove, open_grove

RATIOS = ("low_90", "low_80", "low_50", "median_ratio", "high_50", "high_80", "high_90")
TODAY = dt.datetime.now(dt.UTC).date()
#: Rows of a made-up grove, and trees in each.
YARD = 10


def run(*words: object, status: int = 0) -> str:
    from api.cli import app

    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == status, (done.output, done.exception)
    return done.stdout if status == 0 else done.stderr


def told(*words: object) -> dict:
    return json.loads(run(*words, "--json"))


@pytest.fixture(scope="module")
def ask(demo_file):
    """Ask the service over the demo grove."""
    app = create_app(Settings(groves=(demo_file,), hosts=("testserver",)))
    with TestClient(app) as client:
        base = f"/api/groves/{next(iter(app.state.service.shelf._where))}"
        yield lambda path: client.get(f"{base}/{path}")


def test_the_map_says_which_walks_it_is_made_of(demo_file, ask):
    pressure, summary = told("pressure", demo_file), ask("pressure/summary").json()
    days = [walk["date"] for walk in ask("walks").json()["walks"]]
    lines = [len(pd.read_csv(data.path("demo", f"walk-{n}.csv"))) for n in (3, 4)]
    for answer in (pressure, summary):
        assert answer["walk"] == days[-1]
        assert answer["walk_before"]["date"] == days[-2]
        assert answer["walks_older"] == days[:-2]
        assert answer["beats_used"] == sum(lines)
        assert answer["treated_between"] == []
        assert any(words.startswith("Used too: the walk of 6 November 2025") for words in answer["said"])
    assert pressure["blocks"] == summary["blocks"]
    assert pressure["stage"] == summary["stage"]
    why = ask(f"pressure/trees/{ask('trees').json()['columns']['tree'][0]}").json()
    assert why["beats_used"] == sum(lines)


def test_the_first_walk_stands_alone(demo_file):
    first = told("pressure", demo_file, "--walk", "walk 1")
    assert first["walk_before"] is None
    assert first["walks_older"] == []
    assert "Used too" not in " ".join(first["said"])


def test_a_block_that_was_beaten_on_the_walk_before_alone_stays_unknown(demo_file):
    assert told("pressure", demo_file)["blocks_unknown"] == ["Stony Bit"]
    assert told("pressure", demo_file, "--walk", "walk 3")["blocks_unknown"] == []


def test_change_is_the_same_through_every_door(demo_file, ask, tmp_path):
    layer = ask("pressure/change").json()
    typed = told("change", demo_file, "--out", tmp_path / "change.geojson")
    run("change", demo_file, "--out", tmp_path / "change.csv")
    run("pressure", demo_file, "--csv", tmp_path / "pressure.csv")
    for name in ("blocks", "since", "trees_fewer", "trees_more", "trees_unclear", "trees_unknown", "treatment"):
        assert typed[name] == layer[name], name
    assert layer["columns"]["tree"] == ask("trees").json()["columns"]["tree"]
    columns = pd.DataFrame(layer["columns"]).set_index("tree")
    shapes = gpd.read_file(tmp_path / "change.geojson").set_index("tree").loc[columns.index]
    assert shapes.crs.to_epsg() == 4326
    table = pd.read_csv(tmp_path / "change.csv", comment="#").set_index("tree").loc[columns.index]
    beside = pd.read_csv(tmp_path / "pressure.csv", comment="#").set_index("tree").loc[columns.index]
    for frame, name in ((shapes, "median_ratio"), (table, "median_ratio"), (beside, "change_ratio")):
        assert frame[name].to_numpy(dtype=float) == pytest.approx(
            columns["median_ratio"].to_numpy(dtype=float), abs=1e-3, nan_ok=True
        )
    assert (tmp_path / "change.geojson").read_text("utf-8").lower().count("invented") >= 1


def test_limits_of_change_enclose_and_a_clear_one_leaves_out_no_change(ask):
    frame = pd.DataFrame(ask("pressure/change").json()["columns"])
    known = frame[frame["clear"] != "unknown"]
    assert len(known)
    ordered = known[list(RATIOS)].to_numpy(dtype=float)
    assert (np.diff(ordered, axis=1) >= 0).all()
    assert (known.loc[known["clear"] == "more", "low_80"] > 1).all()
    assert (known.loc[known["clear"] == "fewer", "high_80"] < 1).all()
    unknown = frame[frame["clear"] == "unknown"]
    assert len(unknown)
    assert unknown[list(RATIOS)].isna().all(axis=None)


def test_change_without_a_walk_before_says_so_and_writes_nothing(demo_file, ask, tmp_path):
    out = tmp_path / "change.csv"
    words = run("change", demo_file, "--walk", "walk 1", "--out", out, status=1)
    assert "There is no walk to compare with: change is told between a walk and the one before it" in words
    assert not out.exists()
    answer = ask("pressure/change?walk=walk 1")
    assert answer.status_code == 409
    assert answer.json()["missing"] == ["an earlier walk with counts"]


def test_a_file_of_another_kind_is_refused(demo_file, tmp_path):
    words = run("change", demo_file, "--out", tmp_path / "change.txt", status=1)
    assert "change.txt ends in .txt: it must end in .csv or .geojson" in words
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("ending", ["csv", "geojson"])
def test_change_is_handed_out_as_a_file(ask, ending):
    answer = ask(f"outputs/change.{ending}")
    assert answer.status_code == 200
    assert f'filename="change.{ending}"' in answer.headers["content-disposition"]
    assert "median_ratio" in answer.text


def test_where_next_names_trees_that_may_be_sprayed(demo_file, ask):
    answer, layer = told("where-next", demo_file, "--trees", 7), ask("pressure/next?trees=7").json()
    for name in ("trees", "cost_ratio", "would_change", "sentence", "saving_in_trees_sprayed"):
        assert answer[name] == layer[name], name
    assert len({tree["label"] for tree in answer["trees"]}) == 7
    assert ask("pressure/summary").json()["look_next"][0] == layer["trees"][0]
    with open_grove(demo_file, read_only=True) as grove:
        trees, keep_outs = grove.trees().set_index("tree"), grove.keep_outs()
    for tree in answer["trees"]:
        place = trees.loc[tree["tree"]]
        assert tree["label"] == f"{place['block']}/{place['row']}/{place['position']}"
        for keep_out in keep_outs.itertuples():
            reach = place.geometry.distance(keep_out.geometry) - place["canopy_width_m"] / 2
            assert reach >= keep_out.setback_m
        if tree["knowledge"] == "unknown":
            assert (tree["chance_over"], tree["reason"]) == (None, "nobody walked here")
        else:
            assert "spraying pays from" in tree["reason"]


def test_worth_of_a_tree_is_that_of_knowing_it(demo_file):
    """Expected value of perfect information: min(1, r p) - p (Raiffa and Schlaifer 1961), worked out here anew."""
    answer = told("where-next", demo_file, "--trees", 20)
    for tree in answer["trees"]:
        if tree["chance_over"] is not None:
            chance = tree["chance_over"]
            assert tree["worth"] == pytest.approx(min(1.0, answer["cost_ratio"] * chance) - chance, abs=1e-9)


def test_looking_again_is_costed_from_the_pace_of_the_walk(demo_file, ask):
    options = told("options", demo_file)
    again = options["look_again"]
    walk = pd.read_csv(data.path("demo", "walk-4.csv"))
    minutes = pd.to_datetime(walk["time"]).groupby(walk["observer"]).diff().dt.total_seconds() / 60
    labour = json.loads(data.path("demo", "grower.json").read_text("utf-8"))["prices"]["labour_per_hour"]
    assert again["minutes_per_beat"] == pytest.approx(minutes.median())
    assert again["hours"] == pytest.approx(len(again["trees"]) * minutes.median() / 60)
    assert again["spend"] == pytest.approx(again["hours"] * labour)
    best = min(option["expected_cost"] for option in options["options"])
    assert again["expected_cost"] == pytest.approx(best - again["expected_saving"] + again["spend"])
    assert 0 <= again["expected_saving"] <= best
    assert again["pays"] == (again["expected_saving"] > again["spend"])
    assert all(tree["knowledge"] != "unknown" for tree in again["trees"])
    assert again["trees"][0]["label"] in again["sentence"]
    assert again["sentence"] in options["said"]
    assert ask("options").json()["look_again"] == again


def test_the_decision_is_kept_with_looking_again(demo_file, tmp_path):
    path = tmp_path / "grove.gpkg"
    shutil.copy(demo_file, path)
    run("zone", path)
    with open_grove(path, read_only=True) as grove:
        made = grove.decisions()[-1]["made"]
    assert len(made["look_again"]["trees"]) == 20


@pytest.mark.parametrize(
    ("words", "message"),
    [((), "The action threshold is not typed in: the next trees are those where it decides"),
     (("--counts", "ants"), "What is counted is 'ants'")],
)
def test_where_next_needs_a_threshold(yard, words, message):
    path = yard.make("bare.gpkg", facts={})
    yard.walk(path, TODAY, np.full(len(yard.beaten), 3))
    assert message in run("where-next", path, "--counts", "nymphs", *words, status=1)


def test_no_tree_is_worth_a_look_where_spraying_costs_more_than_it_saves(demo_file, tmp_path):
    path = tmp_path / "grove.gpkg"
    shutil.copy(demo_file, path)
    run("set-prices", path, "--share-lost", 0.001)
    answer = told("where-next", path)
    assert answer["trees"] == []
    assert answer["sentence"] == "At your prices no tree is worth spraying, so no count would change what is done."


@pytest.fixture
def yard(tmp_path: Path) -> SimpleNamespace:
    """Make a square of trees in one block, and walk every second tree of it."""
    xy = np.array([(6.0 * i, 6.0 * j) for i in range(YARD) for j in range(YARD)])
    beaten = np.flatnonzero(np.arange(len(xy)) % 2 == 0)

    def make(where: object, facts: dict | None = None) -> object:
        address = tmp_path / str(where) if "://" not in str(where) else where
        store = create_grove(address, name="Yard", crs_epsg=7855, time_zone="Australia/Hobart", season_start="07-01",
                             currency="AUD")  # fmt: skip
        with store as grove:
            grove.add_blocks(_square(6.0 * YARD))
            places = pd.DataFrame({"block": "Yard", "row": np.repeat(range(1, YARD + 1), YARD),
                                   "position": np.tile(range(1, YARD + 1), YARD)})  # fmt: skip
            shapes = gpd.points_from_xy(500_000 + xy[:, 0], 5_200_000 + xy[:, 1])
            grove.add_places_and_plants(gpd.GeoDataFrame(places, geometry=shapes, crs=7855))
            if facts is None:
                grove.set_setting("threshold", {"per_beat": 5.0, "counts": "nymphs", "standard_taps": 3})
        return address

    def walk(where: object, day: dt.date, nymphs: np.ndarray, wing_buds: list | None = None) -> None:
        with open_grove(where) as grove:
            trees = grove.trees().sort_values(["row", "position"])["tree"].to_numpy()[beaten]
            frame = pd.DataFrame({"walk": grove.add_walk(day), "tree": trees, "taps": 3, "nymphs": nymphs, "adults": 0,
                                  "reason": "planned", "wing_buds": wing_buds})  # fmt: skip
            grove.add_counts(frame)

    def spray(where: object, rows: range) -> list[str]:
        with open_grove(where) as grove:
            trees = grove.trees()
            inside = trees[trees["row"].isin(rows)]
            grove.freeze_zone(grove.add_zone(
                geometry=inside.union_all().envelope.buffer(2), walk=grove.walks().iloc[-1]["walk"],
                trees=pd.DataFrame({"tree": inside["tree"], "why": "chosen"})))  # fmt: skip
        return list(inside["tree"])

    return SimpleNamespace(make=make, walk=walk, spray=spray, beaten=beaten, rows=1 + beaten // YARD)


def _square(size: float) -> gpd.GeoDataFrame:
    from shapely.geometry import box

    shape = box(499_995, 5_199_995, 500_000 + size, 5_200_000 + size)
    return gpd.GeoDataFrame({"block": ["Yard"], "row_spacing_m": [6.0], "tree_spacing_m": [6.0]}, geometry=[shape],
                            crs=7855)  # fmt: skip


@pytest.mark.parametrize("kept_in", ["file", "database"])
def test_a_sprayed_zone_breaks_the_link_and_is_told_against_the_rest(yard, kept_in, request):
    """Henderson and Tilton 1955, J. Econ. Entomol. 48:157, on the counts: 100 (1 - (T1 / T0) (C0 / C1)) %."""
    where = yard.make("yard.gpkg" if kept_in == "file" else request.getfixturevalue("database"))
    rng = np.random.default_rng(4)
    in_zone = yard.rows <= YARD // 2
    before = rng.poisson(20, len(yard.beaten))
    yard.walk(where, TODAY - dt.timedelta(days=9), before)
    trees = yard.spray(where, range(1, YARD // 2 + 1))
    after = rng.poisson(np.where(in_zone, 3, 30))
    yard.walk(where, TODAY + dt.timedelta(days=9), after)
    answer = told("change", where)
    (sprayed,) = answer["treated_between"]
    assert sprayed["trees"] == len(trees)
    ratio = [after[part].sum() / before[part].sum() for part in (in_zone, ~in_zone)]
    by_hand = 100 * (1 - ratio[0] / ratio[1])
    last = answer["treatment"][-1]
    assert [line["part"] for line in answer["treatment"]] == ["treated", "untreated", "treated against untreated"]
    assert last["reduction_low_90"] < by_hand < last["reduction_high_90"]
    assert last["reduction_percent"] == pytest.approx(by_hand, abs=5)
    said = " ".join(answer["said"])
    assert "Zone 1 is taken as sprayed on" in said
    assert "Treated against untreated:" in said
    result = work_out_pressure(load_grove(where))
    medians = result.frame.set_index("tree")["median_per_beat"]
    assert medians[trees].median() == pytest.approx(3, abs=1.5)
    assert medians.drop(trees).median() == pytest.approx(30, abs=10)
    assert work_out_change(result) is work_out_change(result)


def test_a_zone_that_was_printed_after_the_walk_changes_nothing_of_it(yard):
    path = yard.make("yard.gpkg")
    for days in (20, 5):
        yard.walk(path, TODAY - dt.timedelta(days=days), np.full(len(yard.beaten), 6))
    before = told("pressure", path)
    yard.spray(path, range(1, 4))
    assert told("pressure", path) == before


def test_a_record_says_the_day_and_check_trees_are_left_out(yard):
    path = yard.make("yard.gpkg")
    yard.walk(path, TODAY - dt.timedelta(days=30), np.full(len(yard.beaten), 6))
    trees = yard.spray(path, range(1, 4))
    when = dt.datetime.now(dt.UTC) - dt.timedelta(days=20)
    with open_grove(path) as grove:
        zone = str(grove.zones().iloc[-1]["zone"])
        made = grove.add_treatment(zone=zone, name="first", profile="any", facts={})
        grove.set_check_trees(zone, trees[:2])
    yard.walk(path, TODAY - dt.timedelta(days=3), np.full(len(yard.beaten), 6))
    assert told("pressure", path)["treated_between"] == []
    with open_grove(path) as grove:
        grove.add_entries(made, [{"kind": "start", "at": when, "content": {}}])
    answer = told("pressure", path)
    (sprayed,) = answer["treated_between"]
    assert (sprayed["trees"], sprayed["recorded"]) == (len(trees) - 2, True)
    assert any(words.startswith("Zone 1 was sprayed on") for words in answer["said"])


def test_a_walk_of_over_a_year_ago_tells_of_the_level_alone(yard):
    path = yard.make("yard.gpkg")
    yard.walk(path, TODAY - dt.timedelta(days=400), np.full(len(yard.beaten), 6))
    yard.walk(path, TODAY, np.full(len(yard.beaten), 6))
    answer = told("pressure", path)
    assert answer["walk_before"] is None
    assert len(answer["walks_older"]) == 1
    assert "no walk to compare with" in run("change", path, status=1)


def test_more_trees_would_not_change_the_decision_where_all_is_clear(yard):
    path = yard.make("yard.gpkg")
    yard.walk(path, TODAY, np.full(len(yard.beaten), 60))
    answer = told("where-next", path)
    assert answer["sentence"] == "More trees would not change the decision."
    assert not answer["would_change"]
    assert not answer["cost_ratio_typed"]
    assert any("type your prices" in words for words in answer["said"])
    result = work_out_pressure(load_grove(path))
    assert look_next(result, n=3).trees["tree"].is_unique


def test_stage_of_a_block_agrees_with_the_interval_of_a_share(yard):
    """Wilson (1927) J. Am. Stat. Assoc. 22:209-212, by scipy: one block, sheets alike, so no place matters."""
    path = yard.make("yard.gpkg")
    seen = np.random.default_rng(3).random(len(yard.beaten)) < 0.35
    yard.walk(path, TODAY, np.full(len(yard.beaten), 4), ["some" if some else "none" for some in seen])
    (line,) = stage_by_block(work_out_pressure(load_grove(path)))
    assert (line["sheets"], line["with_wing_buds"]) == (len(seen), seen.sum())
    wilson = binomtest(int(seen.sum()), len(seen)).proportion_ci(0.80, method="wilson")
    assert line["share"] == pytest.approx(seen.mean(), abs=0.05)
    # Limits of single trees, averaged: at least as wide as those of the share of the whole block.
    assert line["low_80"] < wilson.low + 0.02
    assert line["high_80"] > wilson.high - 0.02


def test_a_block_without_a_stage_has_no_share(demo_file):
    lines = {line["block"]: line for line in told("pressure", demo_file)["stage"]}
    assert lines["Stony Bit"]["share"] is None
    walk = pd.read_csv(data.path("demo", "walk-4.csv"))
    own = walk.loc[walk["block"] == "Creek Elbow", "wing_buds"].dropna()
    if len(own):
        assert lines["Creek Elbow"]["with_wing_buds"] == int(own.isin(["some", "most"]).sum())
    assert sum(line["sheets"] for line in lines.values()) == walk["wing_buds"].notna().sum()
