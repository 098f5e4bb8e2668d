"""The pressure map over HTTP: in step with the trees, honest where nobody walked, each value answering why."""

from __future__ import annotations

import json

import pytest
import shapely

from api.steps.pressure import load_grove, work_out_pressure


@pytest.fixture(scope="module")
def told(reading):
    base, ask = reading.base, reading.client.get
    return {name: ask(f"{base}/{name}").json() for name in ("trees", "pressure", "pressure/summary")}


def test_columns_are_in_the_order_of_the_trees(told):
    assert told["pressure"]["columns"]["tree"] == told["trees"]["columns"]["tree"]
    lengths = {len(values) for values in told["pressure"]["columns"].values()}
    assert lengths == {told["pressure"]["trees"]} == {told["trees"]["trees"]}


def test_the_service_says_what_python_says(reading, told):
    frame = work_out_pressure(load_grove(reading.path)).frame.set_index("tree")
    columns = told["pressure"]["columns"]
    for place in range(0, told["pressure"]["trees"], 97):
        line = frame.loc[columns["tree"][place]]
        if line["knowledge"] != "unknown":
            assert columns["mean_per_beat"][place] == pytest.approx(line["mean_per_beat"], abs=1e-4)
            assert columns["chance_over"][place] == pytest.approx(line["chance_over"], abs=1e-4)


def test_no_figure_where_nobody_walked(told):
    columns = told["pressure"]["columns"]
    unknown = [place for place, word in enumerate(columns["knowledge"]) if word == "unknown"]
    assert unknown
    assert {columns["mean_per_beat"][place] for place in unknown} == {None}
    assert told["pressure/summary"]["blocks_unknown"]
    assert all(row["mean_per_beat"] is None for row in told["pressure/summary"]["rows"] if not row["known"])


def test_limits_enclose_and_widen(told):
    columns = told["pressure"]["columns"]
    for place, mean in enumerate(columns["median_per_beat"]):
        if mean is not None:
            ordered = [
                columns[name][place]
                for name in ("low_90", "low_80", "low_50", "median_per_beat", "high_50", "high_80", "high_90")
            ]
            assert ordered == sorted(ordered)


def test_hot_spots_are_geojson_near_the_grove(reading, told):
    west, south, east, north = reading.client.get(reading.base).json()["bounds"]
    spots = told["pressure/summary"]["hot_spots"]["features"]
    assert spots
    for spot in spots:
        centre = shapely.from_geojson(json.dumps(spot["geometry"])).centroid
        assert west < centre.x < east
        assert south < centre.y < north


def test_a_tree_says_why(reading, told):
    columns = told["pressure"]["columns"]
    beaten = next(place for place, beats in enumerate(columns["beaten"]) if beats)
    why = reading.client.get(f"{reading.base}/pressure/trees/{columns['tree'][beaten]}").json()
    assert why["nearest"][0]["same_tree"]
    assert why["nearest"][0]["distance_m"] == 0
    distances = [beat["distance_m"] for beat in why["nearest"]]
    assert distances == sorted(distances)
    assert len(distances) == 5
    assert why["value"]["mean_per_beat"] == columns["mean_per_beat"][beaten]
    assert why["formula"]
    assert "docs/pressure-model.md" in why["source"]


def test_a_walk_is_named_by_date_name_or_uuid(reading, is_problem):
    first = reading.client.get(f"{reading.base}/walks").json()["walks"][0]
    answers = [
        reading.client.get(f"{reading.base}/pressure", params={"walk": first[key]}).json()
        for key in ("walk", "date", "name")
    ]
    assert answers[0] == answers[1] == answers[2]
    assert answers[0]["walk"] == first["walk"]
    is_problem(reading.client.get(f"{reading.base}/pressure", params={"walk": "nowhere"}), 404, "not-found")
    is_problem(reading.client.get(f"{reading.base}/pressure/trees/{first['walk']}"), 404, "not-found")
    is_problem(reading.client.get(f"{reading.base}/pressure", params={"counts": "ants"}), 422, "input-refused")


def test_an_empty_grove_says_what_is_missing(empty, is_problem):
    told = is_problem(empty.client.get(f"{empty.base}/pressure"), 409, "input-missing")
    assert told["missing"] == ["a walk with counts"]
    assert empty.client.get(f"{empty.base}/trees").json()["trees"] == 0
