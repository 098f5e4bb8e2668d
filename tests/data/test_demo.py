"""The demo grove is what its script makes, is marked as invented, and holds what the job needs to be shown.

No published example: the grove is invented. What is checked is its own promise (README beside it), the GeoJSON
standard (RFC 7946) and ISO 4217's code for testing, XTS.
"""

from __future__ import annotations

import csv
import datetime
import importlib.util
import json
import os
import subprocess
import sys
import zoneinfo
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio

DEMO = Path(__file__).parents[2] / "data" / "demo"
MADE = ["outlines.geojson", "keep-outs.geojson", "points.geojson", "contour.geojson", "hill.tif", "trees.csv",
        "survey.csv", "truth.csv", "grower.json", "cover.csv", "seed-checks.csv", "sward.json", "picture-2021.tif",
        "picture-2025.tif",
        *(f"walk-{walk}.csv" for walk in range(1, 5))]
METRES = "EPSG:32729"
TREE = ["block", "row", "position"]
OVER = 4.0


def mean_of(walk: int) -> str:
    return f"invented_mean_walk_{walk}"


@pytest.fixture(scope="module")
def blocks() -> gpd.GeoDataFrame:
    return gpd.read_file(DEMO / "outlines.geojson").to_crs(METRES).set_index("block")


@pytest.fixture(scope="module")
def keep_outs() -> gpd.GeoDataFrame:
    return gpd.read_file(DEMO / "keep-outs.geojson").to_crs(METRES)


@pytest.fixture(scope="module")
def trees() -> gpd.GeoDataFrame:
    """Every living tree where it was planted; the surveyed block and that along the line come in without numbers."""
    table = pd.read_csv(DEMO / "truth.csv")
    where = gpd.points_from_xy(table["longitude"], table["latitude"])
    return gpd.GeoDataFrame(table, geometry=where, crs="EPSG:4326").to_crs(METRES)


@pytest.fixture(scope="module")
def truth(trees) -> gpd.GeoDataFrame:
    return trees


@pytest.fixture(scope="module")
def survey() -> pd.DataFrame:
    return pd.read_csv(DEMO / "survey.csv")


@pytest.fixture(scope="module")
def walks(trees, survey) -> list[pd.DataFrame]:
    """Four walks; a line of the surveyed block names its tree by where the phone was, here by its number too."""
    own = trees[trees["block"] == "East Gate"].reset_index(drop=True)
    measured = {(row.longitude, row.latitude): i for i, row in enumerate(survey.itertuples())}
    read = []
    for number in range(1, 5):
        walk = pd.read_csv(DEMO / f"walk-{number}.csv")
        for line in walk.index[walk["block"].isna()]:
            tree = own.loc[measured[(walk.at[line, "longitude"], walk.at[line, "latitude"])]]
            walk.loc[line, TREE] = [tree["block"], tree["row"], tree["position"]]
        read.append(walk.astype({"row": "int64", "position": "int64"}))
    return read


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_script_makes_the_committed_files_byte_for_byte(tmp_path):
    for script in ("make_demo.py", "make_sward.py"):
        subprocess.run([sys.executable, DEMO / script, tmp_path], check=True, timeout=60)
    assert sorted(file.name for file in tmp_path.iterdir()) == sorted(MADE)
    for name in MADE:
        # How a GeoTIFF is packed may change with GDAL; what it says may not.
        if name.endswith(".tif"):
            with rasterio.open(tmp_path / name) as made, rasterio.open(DEMO / name) as held:
                assert np.array_equal(made.read(), held.read())
                for part in ("crs", "transform", "units", "scales", "nodata"):
                    assert getattr(made, part) == getattr(held, part)
        else:
            assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name


def test_the_hill_is_the_formula_of_the_script(script):
    with rasterio.open(DEMO / "hill.tif") as held:
        heights = held.read(1) * held.scales[0]
        rows, columns = np.mgrid[: held.height, : held.width]
        x = held.transform.c + held.transform.a * (columns + 0.5)
        y = held.transform.f + held.transform.e * (rows + 0.5)
    expected = np.vectorize(script.elevation_m)(x - script.TOP[0], y - script.TOP[1])
    assert np.abs(heights - expected).max() <= 0.0501


def test_of_gridmap_the_script_uses_the_contour_planting_alone():
    lines = (DEMO / "make_demo.py").read_text(encoding="utf-8").splitlines()
    used = [line for line in lines if line.startswith(("import gridmap", "from gridmap"))]
    assert used == ["from gridmap.ground import generate_contour_rows"]


def test_the_survey_is_as_far_off_as_it_says(trees, survey):
    where = gpd.points_from_xy(survey["longitude"], survey["latitude"])
    measured = gpd.GeoSeries(where, crs="EPSG:4326").to_crs(METRES)
    planted = trees[trees["block"] == "East Gate"].geometry.reset_index(drop=True)
    off = measured.distance(planted)
    # Root mean square 0.8 m; its standard error over n trees, two axes each, is 0.8 / sqrt(4 n).
    assert np.sqrt((off**2).mean()) == pytest.approx(0.8, abs=3 * 0.8 / np.sqrt(4 * len(off)))
    assert set(survey.columns) & {"row", "position"} == set()


def test_the_folder_holds_these_files_only_and_stays_small():
    held = [file for file in DEMO.iterdir() if file.is_file()]
    assert {file.name for file in held} == {*MADE, "README.md", "make_demo.py", "make_sward.py", ".gitattributes"}
    assert sum(file.stat().st_size for file in held) < 400_000


def test_every_file_says_that_it_is_invented():
    for file in filter(Path.is_file, DEMO.iterdir()):
        assert b"invented" in file.read_bytes().lower(), file.name


def test_every_row_feature_and_section_says_that_it_is_invented(blocks, keep_outs, trees, walks):
    assert blocks["remark"].str.contains("invented").all()
    assert keep_outs["remark"].str.contains("invented").all()
    for name in ("trees.csv", "survey.csv"):
        assert pd.read_csv(DEMO / name)["remark"].str.contains("invented").all()
    assert all(walk["observer"].str.contains("invented").all() for walk in walks)
    grower = json.loads((DEMO / "grower.json").read_text(encoding="utf-8"))
    assert set(grower["invented"]) == set(grower) - {"invented"}
    assert grower["label"]["product"] == "Invented Product (demo only)"
    assert "invented" in grower["grove"]["name"]


def test_names_are_our_own_and_none_is_in_use_elsewhere(blocks, keep_outs, walks):
    """GRIDMAP_NAMES_IN_USE names a list, a name a line, kept out of the repository; without it none is known."""
    assert list(blocks.index) == ["Windmill", "Creek Elbow", "East Gate", "Saddle", "Stony Bit"]
    assert set(keep_outs["name"]) == {"dam", "hive stand", "house", "bush strip"}
    assert {who for walk in walks for who in walk["observer"]} == {"Odran (invented)", "Tamsin (invented)"}
    known = os.environ.get("GRIDMAP_NAMES_IN_USE")
    words = Path(known).read_text(encoding="utf-8").lower().splitlines() if known else []
    for file in filter(Path.is_file, DEMO.iterdir()):
        text = file.read_bytes().decode("utf-8", "ignore").lower()
        assert not [word for word in map(str.strip, words) if word and word in text], file.name


@pytest.mark.parametrize("name", ["outlines.geojson", "keep-outs.geojson", "points.geojson"])
def test_geojson_follows_rfc_7946(name):
    """RFC 7946 (2016): longitude first (3.1.1), rings closed and anticlockwise (3.1.6), no crs member (4)."""
    document = json.loads((DEMO / name).read_text(encoding="utf-8"))
    assert "crs" not in document
    for feature in document["features"]:
        if feature["geometry"]["type"] == "Point":
            x, y = np.array(feature["geometry"]["coordinates"])
        else:
            (ring,) = feature["geometry"]["coordinates"]
            assert ring[0] == ring[-1]
            x, y = np.array(ring).T
            assert (x[:-1] * y[1:] - x[1:] * y[:-1]).sum() > 0
        # The open South Atlantic, hundreds of kilometres from any shore.
        assert ((x > -9.5) & (x < -9.3) & (y > -32) & (y < -31.8)).all()


def test_five_valid_blocks_one_concave_none_overlapping(blocks, keep_outs):
    assert len(blocks) == 5
    assert blocks.is_valid.all()
    concave = blocks.area / blocks.convex_hull.area < 0.9
    assert list(blocks.index[concave]) == ["Creek Elbow"]
    shapes = [*blocks.geometry, *keep_outs.geometry]
    assert not [(i, j) for i, one in enumerate(shapes) for j, other in enumerate(shapes[:i]) if one.intersects(other)]
    assert blocks["row_bearing_deg"].nunique() == 5


def test_uphill_bearing_is_the_steepest_way_up_the_hill(blocks, script):
    for name, block in blocks.iterrows():
        centre = np.array(block.geometry.centroid.coords[0]) - np.array(script.TOP)
        gains = [script.elevation_m(centre[0] + np.sin(turn), centre[1] + np.cos(turn))
                 for turn in np.radians(np.arange(360))]
        off = abs((np.argmax(gains) - block["uphill_bearing_deg"] + 180) % 360 - 180)
        assert off <= 1, name


def test_trees_stand_inside_their_own_outline_clear_of_the_headland(blocks, trees):
    assert 1_100 <= len(trees) <= 1_400
    assert not trees.duplicated(TREE).any()
    for name, own in trees.groupby("block"):
        block = blocks.loc[name]
        # A surveyed tree stands up to a metre from its place.
        assert own.within(block.geometry.buffer(1.0 - block["headland_m"])).all(), name


def test_row_1_is_lowest_and_position_1_is_left_looking_uphill(blocks, trees):
    for name, own in trees.groupby("block"):
        uphill = np.radians(blocks.loc[name, "uphill_bearing_deg"])
        up = own.geometry.x * np.sin(uphill) + own.geometry.y * np.cos(uphill)
        right = own.geometry.x * np.cos(uphill) - own.geometry.y * np.sin(uphill)
        assert up.groupby(own["row"]).mean().is_monotonic_increasing, name
        for _, row in own.groupby("row"):
            assert right.loc[row.sort_values("position").index].is_monotonic_increasing, name


def test_neighbours_stand_at_the_spacings_of_the_block(blocks, trees):
    for name, own in trees.groupby("block"):
        for _, row in own.sort_values("position").groupby("row"):
            steps = np.diff(row["position"])
            metres = row.geometry.distance(row.geometry.shift()).to_numpy()[1:]
            assert metres == pytest.approx(steps * blocks.loc[name, "tree_spacing_m"], abs=1.7), name


def test_gaps_and_replants_are_there(trees):
    inner = trees.groupby(["block", "row"])["position"].agg(["min", "max", "count"])
    gaps = (inner["max"] - inner["min"] + 1 - inner["count"]).sum()
    assert 15 <= gaps <= 80
    usual = trees.groupby("block")["planted_year"].transform("median")
    replants = trees[trees["planted_year"] > usual]
    assert 15 <= len(replants) <= 80
    assert replants["canopy_height_m"].notna().all()
    assert trees.drop(replants.index)["canopy_height_m"].isna().all()
    assert replants["planted_year"].max() < 2025


def test_keep_outs_have_known_kinds_and_the_dam_clips_the_hot_spot(keep_outs, truth):
    """Kinds as in the frame contract `keep_outs`; the setback is measured from the canopy's edge."""
    assert set(keep_outs["kind"]) == {"water", "hive", "dwelling", "bush"}
    assert (keep_outs["setback_m"] > 0).all()
    dam = keep_outs.loc[keep_outs["kind"] == "water"].iloc[0]
    barred = truth.distance(dam.geometry) < dam["setback_m"] + 1.5
    over = truth[mean_of(4)] > OVER
    assert 5 <= (barred & over).sum() <= 25
    assert not truth.within(keep_outs.union_all()).any()


def test_four_walks_of_living_trees_in_one_season(walks, trees):
    living = set(map(tuple, trees[TREE].to_numpy()))
    dates = []
    for walk in walks:
        assert 45 <= len(walk) <= 60
        assert not walk.duplicated(TREE).any()
        assert set(map(tuple, walk[TREE].to_numpy())) <= living
        times = pd.to_datetime(walk["time"], utc=True)
        assert times.is_monotonic_increasing
        # A few dozen trees an hour.
        assert 20 < len(walk) / ((times.iloc[-1] - times.iloc[0]).total_seconds() / 3600) < 60
        dates += [*times.dt.tz_convert(zoneinfo.ZoneInfo("Atlantic/St_Helena")).dt.date.unique()]
    assert len(dates) == 4
    assert dates == sorted(dates)
    assert datetime.date(2025, 9, 1) <= dates[0]
    assert dates[-1] < datetime.date(2025, 12, 15)


def test_counts_are_whole_and_their_words_are_those_of_the_contract(walks):
    for walk in walks:
        numbers = walk[["taps", "nymphs", "adults", "spider", "ladybird", "lacewing", "ant"]]
        assert (numbers.dtypes == np.int64).all()
        assert (numbers >= 0).to_numpy().all()
        assert set(walk["taps"]) <= {2, 3, 6}
        assert set(walk["reason"]) <= {"planned", "extra", "suspected"}
        assert set(walk["wing_buds"].dropna()) <= {"none", "some", "most"}
        assert (walk["wing_buds"].isna() == (walk["nymphs"] == 0)).all()
    assert len({*pd.concat(walks)["taps"]}) > 1


def test_wing_buds_empty_and_none_are_told_apart_in_the_text():
    """The word none is a finding, an empty cell is a thing not seen; some CSV readers take both for missing."""
    with (DEMO / "walk-1.csv").open(encoding="utf-8", newline="") as file:
        words = {line["wing_buds"] for line in csv.DictReader(file)}
    assert {"none", ""} <= words


def test_one_block_is_hardly_walked_and_some_trees_were_suspected(walks):
    stony = [int((walk["block"] == "Stony Bit").sum()) for walk in walks]
    assert max(stony) < 5
    assert stony[-1] == 0
    others = walks[-1].groupby("block").size()
    assert len(others) == 4
    assert others.min() >= 10
    suspected = [int((walk["reason"] == "suspected").sum()) for walk in walks]
    assert suspected[0] == 0
    assert all(2 <= number <= 6 for number in suspected[1:])


def test_suspected_trees_count_higher_than_planned_ones(walks):
    every = pd.concat(walks[1:])
    mean = (every["nymphs"] + every["adults"]).groupby(every["reason"]).mean()
    assert mean["suspected"] > 1.5 * mean["planned"]


def test_the_hot_spot_grows_in_truth_from_an_edge(blocks, truth):
    over = [int((truth[mean_of(walk)] > OVER).sum()) for walk in range(1, 5)]
    assert over[0] == 0
    assert over[0] < over[1] < over[2] < over[3]
    assert 0.08 <= over[3] / len(truth) <= 0.12
    first = truth[truth[mean_of(2)] > OVER]
    assert set(first["block"]) == {"Creek Elbow"}
    assert (first.distance(blocks.loc["Creek Elbow"].geometry.exterior) < 12).all()
    last = truth[truth[mean_of(4)] > OVER].groupby("block").size()
    assert last["Creek Elbow"] > 50
    assert 5 <= last["Saddle"] <= 20
    assert "Stony Bit" not in last


def test_the_last_walk_meets_both_hot_spots(walks):
    walk = walks[-1].assign(total=walks[-1]["nymphs"] + walks[-1]["adults"])
    high = walk[walk["total"] > OVER].groupby("block").size()
    assert high["Creek Elbow"] >= 3
    assert high["Saddle"] >= 1


def test_counts_are_over_dispersed_with_many_zeros(walks):
    for walk in walks:
        total = walk["nymphs"] + walk["adults"]
        assert total.var() > total.mean()
        assert (total == 0).mean() > 0.3


def test_counts_agree_with_the_truth_they_were_drawn_from(walks, truth):
    """Mean of (count - mean) / sqrt(mean + mean^2 / size), size as in the script: 0, standard error 1 / sqrt(n)."""
    scores = []
    for number, walk in enumerate(walks, 1):
        joined = walk.merge(truth, on=TREE)
        mean = joined[mean_of(number)] * joined["taps"] / 3
        scores += [*((joined["nymphs"] + joined["adults"] - mean) / np.sqrt(mean + mean**2 / 1.1))]
    assert abs(np.mean(scores)) < 3 / np.sqrt(len(scores))


def test_spot_treatment_is_cheapest_in_truth_and_the_loss_is_four_to_six_times_the_cost(truth):
    grower = json.loads((DEMO / "grower.json").read_text(encoding="utf-8"))
    sprayer, label, prices = grower["sprayer"], grower["label"], grower["prices"]
    hours = (sprayer["litres_per_tree"] / sprayer["flow_l_per_min"] + sprayer["minutes_between_trees"]) / 60
    litres = sprayer["litres_per_tree"]
    product = litres * label["rate"] / 1000 / 100
    assert (label["rate_unit"], label["rate_basis"]) == ("mL", "per_100_l")
    water = litres / 1000 * prices["water_per_m3"]
    cost = hours * prices["labour_per_hour"] + water + product * prices["product_per_unit"]
    loss = prices["crop_kg_per_tree"] * prices["crop_price_per_kg"] * prices["share_lost_if_left"]
    assert 4 <= loss / cost <= 6
    over = truth[mean_of(4)] > OVER
    by_block = over.groupby(truth["block"]).agg(["sum", "size"])
    whole_blocks = np.minimum(by_block["sum"] * loss, by_block["size"] * cost).sum()
    # Even a spot twice as large as the truth asks for, started in forty runs, beats every other way to act.
    start = sprayer["minutes_per_run_start"] / 60 * prices["labour_per_hour"]
    spot = 2 * over.sum() * cost + 40 * start
    assert spot < min(whole_blocks, over.sum() * loss, len(truth) * cost)


def test_the_currency_and_the_time_zone_are_real_codes_that_mean_nobody():
    """ISO 4217:2015 keeps XTS for testing; Atlantic/St_Helena is in the IANA time zone database."""
    grove = json.loads((DEMO / "grower.json").read_text(encoding="utf-8"))["grove"]
    assert grove["currency"] == "XTS"
    assert zoneinfo.ZoneInfo(grove["time_zone"]).utcoffset(datetime.datetime(2025, 12, 1)) == datetime.timedelta(0)
    assert grove["season_start"] == "07-01"


def test_the_readme_tells_the_number_of_trees(trees):
    told = (DEMO / "README.md").read_text(encoding="utf-8")
    assert f"{len(trees):,} living trees" in told
    for name, file in (("East Gate", "survey.csv"), ("Stony Bit", "contour.geojson")):
        assert f"`{file}` | {int((trees['block'] == name).sum())} trees" in told
