"""The groves over HTTP: a first one started, looked at, changed, its acts listed and taken back."""

from __future__ import annotations

import uuid

PLACE = {
    "name": "Home",
    "longitude": 149.1,
    "latitude": -33.25,
    "time_zone": "Australia/Sydney",
    "season_start": "07-01",
    "currency": "AUD",
}


def test_a_first_grove_is_started_from_the_page(start, tmp_path, is_problem):
    service = start(new_grove=tmp_path / "home.gpkg")
    told = service.client.get("/api/groves").json()
    assert told["groves"] == []
    assert told["service"]["may_create"]
    is_problem(
        service.client.post("/api/groves", json={**PLACE, "latitude": 149, "longitude": -33}), 422, "input-refused"
    )
    is_problem(service.client.post("/api/groves", json={**PLACE, "time_zone": "AEST"}), 422, "input-refused")
    made = service.client.post("/api/groves", json=PLACE)
    assert made.status_code == 201, made.text
    assert made.json()["next_step"] == "draw"
    # GDA2020 / MGA zone 55 (EPSG registry)
    assert made.json()["crs"] == "EPSG:7855"
    assert (tmp_path / "home.gpkg").is_file()
    is_problem(service.client.post("/api/groves", json=PLACE), 409, "conflict")
    assert not service.client.get("/api/groves").json()["service"]["may_create"]


def test_the_demo_is_offered_and_says_that_it_is_invented(empty):
    made = empty.client.post("/api/demo").json()
    assert made["invented"]
    assert "INVENTED" in made["said"][0]
    assert empty.client.post("/api/demo").json()["grove"] == made["grove"]
    assert len(empty.client.get("/api/groves").json()["groves"]) == 2


def test_the_grove_is_changed_by_whoever_has_seen_it(empty, edit, is_problem):
    told = empty.client.get(empty.base).json()
    is_problem(empty.client.patch(empty.base, json={"name": "Other"}), 428, "version-missing")
    changed = empty.client.patch(empty.base, json={"name": "Other"}, headers=edit(told["version"]))
    assert changed.json()["name"] == "Other"
    is_problem(
        empty.client.patch(empty.base, json={"name": "Late"}, headers=edit(told["version"])), 412, "changed-meanwhile"
    )
    is_problem(
        empty.client.patch(empty.base, json={"crs": "EPSG:1"}, headers=edit(told["version"])), 422, "input-refused"
    )


def test_acts_are_listed_and_taken_back(empty, edit, is_problem):
    told = empty.client.get(empty.base).json()
    act = empty.client.patch(empty.base, json={"name": "Other"}, headers=edit(told["version"])).json()["act"]
    undone = empty.client.post(f"{empty.base}/undo", json={"act": act}).json()
    assert undone["entries"] == 1
    assert empty.client.get(empty.base).json()["name"] == "Home"
    acts = empty.client.get(f"{empty.base}/history").json()["acts"]
    assert [(entry["is_undo"], entry["undone"]) for entry in acts] == [(True, False), (False, True), (False, False)]
    is_problem(empty.client.post(f"{empty.base}/undo", json={"act": act}), 409, "conflict")
    is_problem(empty.client.post(f"{empty.base}/undo", json={"act": str(uuid.uuid4())}), 404, "not-found")
    is_problem(empty.client.post(f"{empty.base}/undo", json={"act": acts[-1]["act"]}), 409, "conflict")


def test_an_undo_that_is_taken_back_does_the_act_again(empty, edit):
    """No published example: what stands in the grove and what its history says must agree."""
    told = empty.client.get(empty.base).json()
    act = empty.client.patch(empty.base, json={"name": "Other"}, headers=edit(told["version"])).json()["act"]
    empty.client.post(f"{empty.base}/undo", json={"act": act})
    again = empty.client.get(f"{empty.base}/history").json()["acts"][0]
    assert empty.client.post(f"{empty.base}/undo", json={"act": again["act"]}).status_code == 200
    assert empty.client.get(empty.base).json()["name"] == "Other"
    acts = empty.client.get(f"{empty.base}/history").json()["acts"]
    assert [(entry["is_undo"], entry["undone"]) for entry in acts[:3]] == [(False, False), (True, True), (False, False)]
    # The newest that can be taken back is now the doing again
    assert empty.client.post(f"{empty.base}/undo", json={}).json()["undone"].endswith(acts[2]["what"])
    assert empty.client.get(empty.base).json()["name"] == "Home"


def test_the_season_is_a_line_of_days(reading):
    told = reading.client.get(f"{reading.base}/year-line").json()
    kinds = [mark["kind"] for mark in told["marks"]]
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {"walk": 4, "survey": 6}
    assert [mark["date"] for mark in told["marks"]] == sorted(mark["date"] for mark in told["marks"])
    assert told["season"]["start"].endswith("-07-01")
    assert told["season"]["end"].endswith("-06-30")


def test_words_of_users_stay_words(empty, box):
    """Names come back as they were typed: JSON is text, and only text is made of it (see the page's own test)."""
    name = "<script>alert(1)</script>\"'&"
    feature = {"type": "Feature", "id": str(uuid.uuid4()), "properties": {"block": name}, "geometry": box(0, 0, 60, 40)}
    made = empty.client.post(f"{empty.base}/blocks", json=feature)
    assert made.json()["features"][0]["properties"]["block"] == name
    assert made.headers["content-type"] == "application/geo+json"
    assert made.headers["x-content-type-options"] == "nosniff"


def test_what_another_program_edited_is_shown_as_a_change(empty, box):
    import sqlite3

    feature = {
        "type": "Feature",
        "id": str(uuid.uuid4()),
        "properties": {"block": "Top"},
        "geometry": box(0, 0, 60, 40),
    }
    empty.client.post(f"{empty.base}/blocks", json=feature)
    empty.client.get(f"{empty.base}/blocks")
    connection = sqlite3.connect(empty.path)
    connection.execute("UPDATE block SET row_spacing_m = 9")
    connection.commit()
    connection.close()
    [now] = empty.client.get(f"{empty.base}/blocks").json()["features"]
    assert now["properties"]["row_spacing_m"] == 9
    assert empty.client.get(f"{empty.base}/history").json()["acts"][0]["what"].startswith("edited outside")
