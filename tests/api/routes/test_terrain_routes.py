"""Heights, gates and refill points over HTTP. No published example for the doors; the ground is a tilted plane."""

from __future__ import annotations

import json

import numpy as np
import pytest
from affine import Affine
from rasterio.io import MemoryFile

U1, U2 = (f"00000000-0000-4000-8000-00000000000{n}" for n in (1, 2))
FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}
RISE = 0.1  # metres up for each metre of easting


@pytest.fixture
def planted(empty, box, edit):
    block = {"type": "Feature", "id": U1, "properties": {"block": "Top", **FACTS}, "geometry": box(0, 0, 60, 40)}
    made = empty.client.post(f"{empty.base}/blocks", json=block).json()
    version = made["features"][0]["properties"]["version"]
    laid = empty.client.post(f"{empty.base}/blocks/{U1}/rows", json={}, headers=edit(version))
    assert laid.status_code == 201, laid.text
    return empty


def tiff(west, south, east, north, *, cell=1e-5, unit="metre", **profile):
    """Return a GeoTIFF in longitude and latitude that rises toward the east."""
    width, height = int((east - west) / cell), int((north - south) / cell)
    grid = np.tile(100 + RISE * 94_500 * cell * np.arange(width), (height, 1)).astype("float32")
    given = {"driver": "GTiff", "width": width, "height": height, "count": 1, "dtype": "float32", "crs": 4326,
             "transform": Affine(cell, 0, west, 0, -cell, north), **profile}  # fmt: skip
    with MemoryFile() as memory:
        with memory.open(**given) as raster:
            raster.write(grid, 1)
            if unit:
                raster.set_band_unit(1, unit)
        return memory.read()


def sent(client, url, name, content, **form):
    return client.post(url, files={"file": (name, content)}, data=form)


def test_a_dem_gives_every_place_its_height_and_is_taken_back(planted, place):
    west, south = place(-100, -100)
    content = tiff(west, south, *place(200, 200))
    answer = sent(planted.client, f"{planted.base}/imports/dem", "hill.tif", content)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["places"], told["places_with_height"]) == (55, 55)
    trees = planted.client.get(f"{planted.base}/trees").json()["columns"]
    # the plane's own equation
    expected = 100 + RISE * 94_500 * (np.array(trees["longitude"]) - west - 0.5e-5)
    assert trees["elevation_m"] == pytest.approx(expected.tolist(), abs=0.15)
    [block] = planted.client.get(f"{planted.base}/blocks").json()["features"]
    # along the ground of a plane of slope 0.1 the area is larger by the square root of 1.01
    assert block["properties"]["ground_area_ha"] == pytest.approx(1.01**0.5 * 0.24, rel=0.01)
    assert planted.client.post(f"{planted.base}/undo", json={"act": told["act"]}).status_code == 200
    assert planted.client.get(f"{planted.base}/trees").json()["columns"]["elevation_m"] == [None] * 55


def test_a_dem_that_can_not_be_changes_nothing(planted, place, is_problem):
    url = f"{planted.base}/imports/dem"
    before = planted.path.read_bytes()
    west, south = place(-100, -100)
    told = is_problem(sent(planted.client, url, "feet.tif", tiff(west, south, *place(200, 200), unit=None)),
                      409, "input-missing")  # fmt: skip
    assert told["missing"]
    is_problem(sent(planted.client, url, "far.tif", tiff(10, 10, 10.001, 10.001)), 422, "crs-refused")
    for content in (b"", b"GIF89a", tiff(west, south, *place(200, 200))[:3000]):
        is_problem(sent(planted.client, url, "../hill.tif", content), 422, "file-refused")
    assert sent(planted.client, url, "hill.tif", b"II*\0", vertical_unit="cubit").status_code == 422
    assert planted.path.read_bytes() == before


def test_heights_measured_at_trees(planted):
    trees = planted.client.get(f"{planted.base}/trees").json()["columns"]
    lines = [f"Top,{row},{position},{200 + row}" for row, position in zip(trees["row"], trees["position"], strict=True)]
    content = "\n".join(["block,row,position,elevation_m", *lines]).encode()
    answer = sent(planted.client, f"{planted.base}/imports/heights", "heights.csv", content)
    assert answer.status_code == 201, answer.text
    assert answer.json()["heights"] == 55
    after = planted.client.get(f"{planted.base}/trees").json()["columns"]
    assert after["elevation_m"] == pytest.approx([200 + row for row in after["row"]], abs=0.1)


def test_metres_upslope_follow_the_arrow_and_numbers_stay(planted, edit):
    ask = planted.client
    before = ask.get(f"{planted.base}/trees").json()["columns"]
    # rows run east and lie one above the other: 7 m from row to row up an arrow to the north
    assert np.ptp(before["upslope_m"]) == pytest.approx(28, abs=0.5)
    version = ask.get(f"{planted.base}/blocks/{U1}").json()["properties"]["version"]
    turned = {"type": "Feature", "properties": {"uphill_bearing_deg": 90}}
    answer = ask.patch(f"{planted.base}/blocks/{U1}", json=turned, headers=edit(version))
    assert answer.status_code == 200, answer.text
    after = ask.get(f"{planted.base}/trees").json()["columns"]
    # 11 trees in a row, 5 m apart
    assert np.ptp(after["upslope_m"]) == pytest.approx(50, abs=0.5)
    assert (after["row"], after["position"]) == (before["row"], before["position"])
    undone = ask.post(f"{planted.base}/undo", json={"act": answer.json()["act"]})
    assert undone.status_code == 200
    assert ask.get(f"{planted.base}/trees").json()["columns"]["upslope_m"] == before["upslope_m"]


def test_points_are_set_once_changed_by_who_has_seen_them_and_taken_out(planted, place, edit, is_problem):
    ask, url = planted.client, f"{planted.base}/points"
    gate = {"type": "Feature", "id": U2, "properties": {"name": "gate", "kind": "gate"},
            "geometry": {"type": "Point", "coordinates": place(-5, 0)}}  # fmt: skip
    made = ask.post(url, json=gate)
    assert made.status_code == 201, made.text
    assert ask.post(url, json=gate).status_code == 200
    other = {**gate, "properties": {"name": "gate", "kind": "refill"}}
    is_problem(ask.post(url, json=other), 409, "conflict")
    is_problem(ask.post(url, json={**gate, "id": U1}), 422, "input-refused")
    swapped = {**gate, "id": U1, "geometry": {"type": "Point", "coordinates": place(-5, 0)[::-1]}}
    assert "swapped" in is_problem(ask.post(url, json=swapped), 422, "crs-refused")["detail"]
    [feature] = ask.get(url).json()["features"]
    version = feature["properties"]["version"]
    moved = {"type": "Feature", "geometry": {"type": "Point", "coordinates": place(-8, 0)}}
    is_problem(ask.patch(f"{url}/{U2}", json=moved), 428, "version-missing")
    now = ask.patch(f"{url}/{U2}", json=moved, headers=edit(version))
    assert now.json()["geometry"]["coordinates"] == pytest.approx(place(-8, 0), abs=1e-7)
    is_problem(ask.delete(f"{url}/{U2}", headers=edit(version)), 412, "changed-meanwhile")
    gone = ask.delete(f"{url}/{U2}", headers=edit(now.json()["properties"]["version"]))
    assert gone.status_code == 200
    is_problem(ask.get(f"{url}/{U2}"), 404, "not-found")
    ask.post(f"{planted.base}/undo", json={"act": gone.json()["act"]})
    assert ask.get(f"{url}/{U2}").status_code == 200


def test_points_are_read_from_a_file(planted, place, is_problem):
    url = f"{planted.base}/imports/points"
    layer = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"name": "pump"}, "geometry": {"type": "Point", "coordinates": place(0, 0)}}
    ]}  # fmt: skip
    content = json.dumps(layer).encode()
    is_problem(sent(planted.client, url, "p.geojson", content), 422, "rows-refused")
    answer = sent(planted.client, url, "p.geojson", content, kind="refill")
    assert answer.json()["points"] == [{"name": "pump", "kind": "refill"}]
