"""Facts, options and zones over HTTP: nothing assumed, every edit a new version, what was printed stays."""

from __future__ import annotations

import uuid

import pytest


def new(**more):
    return {"zone": str(uuid.uuid4()), "replaces": None, **more}


@pytest.fixture
def zoned(demo):
    demo.given = new()
    answer = demo.client.post(f"{demo.base}/zones", json=demo.given)
    assert answer.status_code == 201, answer.text
    demo.zone = answer.json()
    demo.url = f"{demo.base}/zones/{demo.zone['zone']}"
    return demo


def test_options_say_the_least_cost_and_the_doubt(reading):
    told = reading.client.get(f"{reading.base}/options").json()
    assert [option["option"] for option in told["options"]] == ["nothing", "spot", "blocks", "everything"]
    best = min(told["options"], key=lambda option: option["expected_cost"])
    assert told["best"] == best["option"]
    assert sum(option["chance_cheapest"] for option in told["options"]) == pytest.approx(1, abs=0.01)
    assert told["cautions"]


def test_facts_are_kept_as_typed_and_never_overwritten_unseen(empty, edit, is_problem):
    url = f"{empty.base}/facts/threshold"
    form = empty.client.get(url).json()
    assert form["values"] is None
    assert form["version"] == "0"
    assert {field["field"] for field in form["fields"]} == {"per_beat", "counts", "standard_taps"}
    is_problem(empty.client.patch(url, json={"per_beat": 5}), 428, "version-missing")
    kept = empty.client.patch(url, json={"per_beat": 5, "counts": "nymphs", "standard_taps": 3}, headers=edit("0"))
    assert kept.status_code == 200, kept.text
    assert kept.json()["values"]["per_beat"] == 5
    is_problem(empty.client.patch(url, json={"per_beat": 6}, headers=edit("0")), 412, "changed-meanwhile")
    cleared = empty.client.patch(url, json={"per_beat": None}, headers=edit(kept.json()["version"]))
    assert cleared.json()["values"]["per_beat"] is None
    assert cleared.json()["values"]["standard_taps"] == 3
    assert cleared.json()["missing"]
    for wrong in ({"per_beat": -1}, {"colour": 1}, {"counts": "ants"}, {}):
        is_problem(empty.client.patch(url, json=wrong, headers=edit(cleared.json()["version"])), 422, "input-refused")
    is_problem(empty.client.get(f"{empty.base}/facts/colour"), 422, "input-refused")


def test_a_zone_is_made_once(zoned, is_problem):
    assert zoned.zone["zone"] == zoned.given["zone"]
    assert zoned.zone["runs"]["features"]
    assert zoned.zone["cautions"]
    again = zoned.client.post(f"{zoned.base}/zones", json=zoned.given)
    assert (again.status_code, again.json()["act"]) == (200, None)
    assert len(zoned.client.get(f"{zoned.base}/zones").json()["zones"]) == 1
    is_problem(zoned.client.post(f"{zoned.base}/zones", json={**zoned.given, "margin_along_m": 5}), 409, "conflict")
    # another window has not seen this zone
    is_problem(zoned.client.post(f"{zoned.base}/zones", json=new()), 409, "conflict")
    second = zoned.client.post(f"{zoned.base}/zones", json=new(replaces=zoned.zone["zone"]))
    assert second.json()["version_number"] == 2


def test_an_edit_by_hand_is_a_new_version(zoned, edit, is_problem):
    trees = zoned.zone["trees"]["columns"]["tree"]
    change = {"zone": str(uuid.uuid4()), "drop": [trees[0]]}
    is_problem(zoned.client.post(f"{zoned.url}/edits", json=change), 428, "version-missing")
    is_problem(zoned.client.post(f"{zoned.url}/edits", json=change, headers=edit(1)), 412, "changed-meanwhile")
    done = zoned.client.post(f"{zoned.url}/edits", json=change, headers=edit(zoned.zone["version"]))
    assert done.status_code == 201, done.text
    told = done.json()
    assert told["replaces"] == zoned.zone["zone"]
    kept = dict(zip(told["trees"]["columns"]["tree"], told["trees"]["columns"]["why"], strict=True))
    assert kept.get(trees[0]) in (None, "dropped")
    assert told["drop"] == [trees[0]]
    # the old one stays as it was
    assert zoned.client.get(zoned.url).json()["trees"] == zoned.zone["trees"]
    # and can't be edited beside the new one
    other = {"zone": str(uuid.uuid4()), "drop": [trees[1]]}
    is_problem(
        zoned.client.post(f"{zoned.url}/edits", json=other, headers=edit(zoned.zone["version"])), 409, "conflict"
    )
    back = {"zone": str(uuid.uuid4()), "add": [trees[0]]}
    url = f"{zoned.base}/zones/{told['zone']}/edits"
    again = zoned.client.post(url, json=back, headers=edit(told["version"])).json()
    assert again["drop"] == []
    assert trees[0] in again["trees"]["columns"]["tree"]


def test_what_is_printed_is_frozen_first(zoned, edit, is_problem):
    is_problem(zoned.client.get(f"{zoned.url}/run-sheet.pdf"), 409, "conflict")
    frozen = zoned.client.post(f"{zoned.url}/freeze", headers=edit(zoned.zone["version"]))
    assert frozen.json()["frozen"]
    sheet = zoned.client.get(f"{zoned.url}/run-sheet.pdf")
    assert sheet.content.startswith(b"%PDF-")
    assert sheet.headers["content-type"] == "application/pdf"
    assert sheet.headers["content-disposition"].startswith("attachment")
    mixed = zoned.client.post(f"{zoned.url}/mix", headers=edit(frozen.json()["version"]))
    assert mixed.json()["summary"] == frozen.json()["summary"]


def test_the_mix_follows_what_is_typed(zoned, edit):
    label = zoned.client.get(f"{zoned.base}/facts/sprayer").json()
    twice = {"litres_per_tree": 2 * label["values"]["litres_per_tree"]}
    zoned.client.patch(f"{zoned.base}/facts/sprayer", json=twice, headers=edit(label["version"]))
    mixed = zoned.client.post(f"{zoned.url}/mix", headers=edit(zoned.zone["version"])).json()
    assert mixed["summary"]["litres"] == pytest.approx(2 * zoned.zone["summary"]["litres"])


def test_an_unknown_zone_is_not_there(reading, edit, is_problem):
    url = f"{reading.base}/zones/{uuid.uuid4()}"
    for answer in (
        reading.client.get(url),
        reading.client.get(f"{url}/run-sheet.pdf"),
        reading.client.get(f"{url}/exports/gpx"),
        reading.client.post(f"{url}/freeze", headers=edit(1)),
        reading.client.post(f"{url}/mix", headers=edit(1)),
    ):
        is_problem(answer, 404, "not-found")


@pytest.mark.parametrize(
    ("format", "media", "begins"),
    [
        ("geojson", "application/geo+json", b"{"),
        ("gpkg", "application/geopackage+sqlite3", b"SQLite format 3"),
        ("kml", "application/vnd.google-earth.kml+xml", b"<?xml"),
        ("gpx", "application/gpx+xml", b"<?xml"),
        ("shp.zip", "application/zip", b"PK"),
        ("csv", "text/csv", b""),
    ],
)
def test_a_zone_leaves_in_every_format_as_an_attachment(zoned, format, media, begins):
    answer = zoned.client.get(f"{zoned.url}/exports/{format}")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].partition(";")[0] == media
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "sandbox" in answer.headers["content-security-policy"]
    assert answer.content.startswith(begins)


def test_the_map_leaves_as_picture_page_and_table(reading):
    picture = reading.client.get(f"{reading.base}/outputs/pressure.png")
    assert picture.content.startswith(b"\x89PNG\r\n\x1a\n")
    assert picture.headers["content-disposition"].startswith("inline")
    for ending in ("html", "csv"):
        answer = reading.client.get(f"{reading.base}/outputs/pressure.{ending}")
        assert answer.status_code == 200
        assert answer.headers["content-disposition"].startswith("attachment")


def test_the_grove_leaves_as_a_copy(reading, geopackage_faults, tmp_path):
    answer = reading.client.get(f"{reading.base}/grove.gpkg")
    (tmp_path / "copy.gpkg").write_bytes(answer.content)
    assert geopackage_faults(tmp_path / "copy.gpkg") == []
