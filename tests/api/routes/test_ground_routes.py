"""Blocks and keep-outs over HTTP: drawn once, changed by whoever has seen them, refused with what mends them.

Shapes of answers: RFC 7946 (GeoJSON), RFC 9110 section 13.1.1 (If-Match), RFC 6585 section 3 (428), RFC 9457.
"""

from __future__ import annotations

import json

import pytest
import shapely

U1, U2, U3 = (f"00000000-0000-4000-8000-00000000000{n}" for n in (1, 2, 3))


def block(uuid, name, geometry, **facts):
    return {"type": "Feature", "id": uuid, "properties": {"block": name, **facts}, "geometry": geometry}


FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}


@pytest.fixture
def drawn(empty, box):
    answer = empty.client.post(f"{empty.base}/blocks", json=block(U1, "Top", box(0, 0, 60, 40), **FACTS))
    assert answer.status_code == 201, answer.text
    empty.first = answer.json()
    empty.version = empty.first["features"][0]["properties"]["version"]
    return empty


def test_a_drawn_block_is_geojson_and_is_there(drawn):
    answer = drawn.client.get(f"{drawn.base}/blocks")
    assert answer.headers["content-type"] == "application/geo+json"
    [feature] = answer.json()["features"]
    assert feature["id"] == U1
    assert feature["properties"]["block"] == "Top"
    # 60 m by 40 m
    assert feature["properties"]["area_ha"] == pytest.approx(0.24, rel=0.005)
    # RFC 7946 section 3.1.6: the outer ring runs counter-clockwise
    assert shapely.from_geojson(json.dumps(feature["geometry"])).exterior.is_ccw


def test_sent_again_it_is_stored_once(drawn, box, is_problem):
    again = block(U1, "Top", box(0, 0, 60, 40), **FACTS)
    answer = drawn.client.post(f"{drawn.base}/blocks", json=again)
    assert answer.status_code == 200
    assert answer.json()["act"] is None
    assert len(drawn.client.get(f"{drawn.base}/blocks").json()["features"]) == 1
    other = {**again, "properties": {**again["properties"], "row_spacing_m": 8}}
    is_problem(drawn.client.post(f"{drawn.base}/blocks", json=other), 409, "conflict")


def test_an_edit_says_which_version_it_has_seen(drawn, edit, is_problem):
    change = {"type": "Feature", "properties": {"row_spacing_m": 8}}
    url = f"{drawn.base}/blocks/{U1}"
    is_problem(drawn.client.patch(url, json=change), 428, "version-missing")
    is_problem(drawn.client.patch(url, json=change, headers={"If-Match": "*"}), 400, "not-understood")
    done = drawn.client.patch(url, json=change, headers=edit(drawn.version))
    assert done.status_code == 200
    assert done.json()["properties"]["row_spacing_m"] == 8
    assert done.headers["etag"] == f'"{done.json()["properties"]["version"]}"'
    late = drawn.client.patch(
        url, json={"type": "Feature", "properties": {"row_spacing_m": 9}}, headers=edit(drawn.version)
    )
    told = is_problem(late, 412, "changed-meanwhile")
    assert told["version"] == done.json()["properties"]["version"]
    assert drawn.client.get(url).json()["properties"]["row_spacing_m"] == 8


def test_of_two_windows_one_is_told(drawn, edit):
    """Eight threads edit what all have seen at the same version: one is kept, seven are told (no published example)."""
    from concurrent.futures import ThreadPoolExecutor

    def change(metres):
        return drawn.client.patch(
            f"{drawn.base}/blocks/{U1}",
            headers=edit(drawn.version),
            json={"type": "Feature", "properties": {"row_spacing_m": metres}},
        ).status_code

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(change, range(8, 16))) == [200] + [412] * 7


def test_rows_are_laid_shown_before_and_taken_back(drawn, box, edit, is_problem):
    shown = drawn.client.post(f"{drawn.base}/preview-rows", json={"geometry": box(0, 0, 60, 40), **FACTS}).json()
    # 54 m by 34 m stay inside the headland: 11 trees in a row, 5 rows
    assert shown["trees"] == 55
    assert len(shown["rows"]["features"]) == 5
    assert drawn.client.get(drawn.base).json()["trees"] == 0
    laid = drawn.client.post(f"{drawn.base}/blocks/{U1}/rows", json={}, headers=edit(drawn.version))
    assert laid.status_code == 201, laid.text
    assert (laid.json()["trees"], laid.json()["rows"]) == (55, 5)
    trees = drawn.client.get(f"{drawn.base}/trees").json()
    assert trees["columns"]["position"][:11] == list(range(1, 12))
    assert sorted(trees["columns"]["longitude"]) == pytest.approx(sorted(shown["columns"]["longitude"]), abs=2e-7)
    # a corner lies half a tree spacing along the row from its tree
    west = trees["cells"]["origin"][0] + trees["cells"]["corners"][0][0] * trees["cells"]["step_deg"]
    assert (trees["columns"]["longitude"][0] - west) * 94_500 == pytest.approx(2.5, abs=0.1)
    is_problem(drawn.client.delete(f"{drawn.base}/blocks/{U1}", headers=edit(laid.json()["version"])), 409, "conflict")
    undone = drawn.client.post(f"{drawn.base}/undo", json={"act": laid.json()["act"]})
    assert undone.status_code == 200
    assert drawn.client.get(drawn.base).json()["trees"] == 0


def test_rows_say_what_is_not_said(empty, box, edit, is_problem):
    made = empty.client.post(f"{empty.base}/blocks", json=block(U1, "Top", box(0, 0, 60, 40))).json()
    version = made["features"][0]["properties"]["version"]
    told = is_problem(
        empty.client.post(f"{empty.base}/blocks/{U1}/rows", json={}, headers=edit(version)), 409, "input-missing"
    )
    assert "row spacing" in told["missing"]


def test_a_block_is_drawn_anew_split_and_taken_out(drawn, box, place, edit):
    url = f"{drawn.base}/blocks/{U1}"
    laid = drawn.client.post(f"{url}/rows", json={}, headers=edit(drawn.version)).json()
    bigger = drawn.client.patch(
        url, json={"type": "Feature", "geometry": box(0, 0, 80, 40)}, headers=edit(laid["version"])
    )
    assert bigger.status_code == 200, bigger.text
    assert bigger.json()["properties"]["area_ha"] == pytest.approx(0.32, rel=0.005)
    before = bigger.json()["properties"]["trees"]
    line = {"type": "LineString", "coordinates": [place(40.2, -10), place(40.2, 60)]}
    parts = drawn.client.post(
        f"{url}/split",
        json={"line": line, "parts": [{"name": "Top"}, {"name": "East"}]},
        headers=edit(bigger.json()["properties"]["version"]),
    )
    assert parts.status_code == 201, parts.text
    assert sorted(part["properties"]["block"] for part in parts.json()["features"]) == ["East", "Top"]
    assert sum(part["properties"]["trees"] for part in parts.json()["features"]) == before
    spare = drawn.client.post(f"{drawn.base}/blocks", json=block(U2, "Spare", box(0, 100, 30, 130))).json()
    gone = drawn.client.delete(f"{drawn.base}/blocks/{U2}", headers=edit(spare["features"][0]["properties"]["version"]))
    assert gone.status_code == 200
    assert drawn.client.get(f"{drawn.base}/blocks/{U2}").status_code == 404
    assert drawn.client.post(f"{drawn.base}/undo", json={}).status_code == 200
    assert drawn.client.get(f"{drawn.base}/blocks/{U2}").status_code == 200


def test_an_outline_that_crosses_itself_comes_back_mended(empty, place, is_problem):
    bow = {"type": "Polygon", "coordinates": [[place(0, 0), place(50, 50), place(50, 0), place(0, 50), place(0, 0)]]}
    told = is_problem(empty.client.post(f"{empty.base}/blocks", json=block(U1, "Bow", bow)), 422, "outline-refused")
    mended = shapely.from_geojson(json.dumps(told["mended"]))
    assert mended.is_valid
    # in longitude and latitude, where it was drawn
    assert mended.centroid.x == pytest.approx(place(25, 25)[0], abs=1e-5)
    assert told["remedy"]
    assert empty.client.get(f"{empty.base}/blocks").json()["features"] == []


@pytest.mark.parametrize("swap", [True, False])
def test_swapped_and_far_coordinates_are_told(drawn, place, swap, is_problem):
    corners = [place(100, 0), place(160, 0), place(160, 40), place(100, 0)]
    ring = [corner[::-1] for corner in corners] if swap else [[x + 20, y] for x, y in corners]
    polygon = {"type": "Polygon", "coordinates": [ring]}
    told = is_problem(drawn.client.post(f"{drawn.base}/blocks", json=block(U2, "Far", polygon)), 422, "crs-refused")
    assert ("swapped" in told["detail"]) == swap


def test_blocks_that_overlap_are_refused_and_the_batch_is_all_or_nothing(drawn, box, is_problem):
    both = {
        "type": "FeatureCollection",
        "features": [block(U2, "Free", box(100, 0, 140, 40)), block(U3, "Over", box(50, 0, 90, 40))],
    }
    is_problem(drawn.client.post(f"{drawn.base}/blocks", json=both), 422, "outline-refused")
    assert len(drawn.client.get(f"{drawn.base}/blocks").json()["features"]) == 1


def test_keep_outs_have_no_setback_that_was_not_typed(drawn, box, edit, is_problem):
    url = f"{drawn.base}/keep-outs"
    dam = {"type": "Feature", "id": U2, "properties": {"name": "dam", "kind": "water"}, "geometry": box(70, 0, 90, 20)}
    told = is_problem(drawn.client.post(url, json=dam), 422, "input-refused")
    assert any("setback_m" in problem["at"] for problem in told["problems"])
    dam["properties"]["setback_m"] = 20
    made = drawn.client.post(url, json=dam)
    assert made.status_code == 201
    assert drawn.client.post(url, json=dam).status_code == 200
    [feature] = drawn.client.get(f"{url}?setbacks=true").json()["features"]
    outline, setback = (
        shapely.from_geojson(json.dumps(shape)) for shape in (feature["geometry"], feature["properties"]["setback"])
    )
    assert setback.contains(outline)
    # 20 m of setback to the east of its edge
    assert (setback.bounds[2] - outline.bounds[2]) * 94_500 == pytest.approx(20, abs=0.1)
    version = feature["properties"]["version"]
    wider = drawn.client.patch(
        f"{url}/{U2}", json={"type": "Feature", "properties": {"setback_m": 30}}, headers=edit(version)
    )
    assert wider.json()["properties"]["setback_m"] == 30
    gone = drawn.client.delete(f"{url}/{U2}", headers=edit(wider.json()["properties"]["version"]))
    assert gone.status_code == 200
    is_problem(drawn.client.get(f"{url}/{U2}"), 404, "not-found")


def test_outlines_are_read_from_a_file(empty, box, is_problem):
    layer = {"type": "FeatureCollection", "features": [{**block(U1, "Top", box(0, 0, 60, 40)), "id": 1}]}
    # a client's path never names a file here: RFC 7578 section 4.2 warns of it
    for name in ("../../../../etc/cron.d/blocks.geojson", "..\\blocks.geojson", "a/b.geojson"):
        sent = {"file": (name, json.dumps(layer).encode())}
        answer = empty.client.post(f"{empty.base}/imports/outlines", files=sent)
        assert answer.status_code == 201, answer.text
        assert answer.json()["blocks"][0]["block"] == "Top"
        assert empty.client.post(f"{empty.base}/undo", json={"act": answer.json()["act"]}).status_code == 200


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.geojson", b"", "is empty"),
        ("cut.geojson", b'{"type": ', "cut off"),
        ("nan.geojson", b'{"type": "FeatureCollection", "features": [{"x": NaN}]}', "NaN"),
        ("picture.geojson", b"\x89PNG\r\n", "a picture"),
        ("deep.geojson", b"[" * 100_000, "nested"),
        ("bomb.kml", b'<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><kml>&b;</kml>', ""),
    ],
)
def test_a_file_that_can_not_be_changes_nothing(empty, name, content, words, is_problem):
    answer = empty.client.post(f"{empty.base}/imports/outlines", files={"file": (name, content)})
    told = is_problem(answer, 422, "file-refused")
    assert words in told["detail"]
    assert empty.client.get(f"{empty.base}/blocks").json()["features"] == []


def test_a_zip_bomb_is_not_unpacked(empty, tmp_path, is_problem):
    import zipfile

    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for ending in ("shp", "shx", "dbf"):
            archive.writestr(f"a.{ending}", b"\0" * (100 * 2**20))
    with (tmp_path / "bomb.zip").open("rb") as file:
        answer = empty.client.post(f"{empty.base}/imports/outlines", files={"file": ("a.shp.zip", file)})
    is_problem(answer, 422, "file-refused")
