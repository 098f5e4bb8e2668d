"""Many groves in one database: each seen only by who holds a token for it, route by route (no published example)."""

from __future__ import annotations

import uuid

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.steps import devices
from api.steps.grove import new_grove
from api.steps.hosting import hosted
from api.steps.opening import parse_where

METHODS = {"get", "post", "patch", "delete"}
U1 = "00000000-0000-4000-8000-000000000001"
PLACE = {"at": "-9.40,-31.90", "time_zone": "Atlantic/St_Helena", "season_start": "07-01", "currency": "XTS"}
FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}


@pytest.fixture
def hosting(database):
    for name in ("First", "Second"):
        new_grove(parse_where(database), name=name, **PLACE)
    kept = hosted(database)
    app = create_app(Settings(database=database, hosts=("testserver",)))

    def paired(grove, role="owner"):
        client = TestClient(app, base_url="https://testserver", client=("127.0.0.1", 40000))
        answer = client.post("/api/pair", json={"code": devices.invite(kept[grove], role), "name": "laptop"})
        assert answer.status_code == 201, answer.text
        return client

    return app, list(kept), paired


def test_who_sits_at_the_machine_holds_no_token_either(hosting, is_problem):
    app, groves, _ = hosting
    here = TestClient(app, base_url="http://testserver", client=("127.0.0.1", 40000))
    assert here.get("/api/groves").json()["groves"] == []
    is_problem(here.get(f"/api/groves/{groves[0]}"), 401, "not-paired")
    is_problem(here.post("/api/demo"), 403, "not-allowed")


def test_a_token_for_one_grove_gets_404_on_another_route_by_route(hosting):
    app, (first, second), paired = hosting
    mine = paired(second)
    assert [grove["grove"] for grove in mine.get("/api/groves").json()["groves"]] == [second]
    asked = 0
    for path, entry in app.openapi()["paths"].items():
        for method in METHODS & set(entry) if "{grove}" in path else ():
            url = (
                path.replace("{grove}", first)
                .replace("{ending}", "csv")
                .replace("{format}", "gpx")
                .replace("{name}", "label")
            )
            for name in ("block", "keep_out", "point", "walk", "tree", "zone", "device"):
                url = url.replace(f"{{{name}}}", U1)
            body = {"json": {}} if method in ("post", "patch") else {}
            answer = mine.request(method, url, headers={"If-Match": '"1"'}, **body)
            # 422 where the body is looked at first, which tells nothing of the grove
            assert answer.status_code in (404, 422), (path, method, answer.status_code)
            asked += answer.status_code == 404
    assert asked > 25


def test_the_same_work_is_done_in_the_database(hosting, box, edit):
    _, (first, second), paired = hosting
    client, other = paired(first), paired(second)
    base = f"/api/groves/{first}"
    feature = {"type": "Feature", "id": U1, "properties": {"block": "Top", **FACTS}, "geometry": box(0, 0, 60, 40)}
    made = client.post(f"{base}/blocks", json=feature)
    assert made.status_code == 201, made.text
    assert client.post(f"{base}/blocks", json=feature).status_code == 200
    version = made.json()["features"][0]["properties"]["version"]
    laid = client.post(f"{base}/blocks/{U1}/rows", json={}, headers=edit(version))
    assert laid.json()["trees"] == 55
    tree = client.get(f"{base}/trees").json()["columns"]["tree"][0]
    walk = str(uuid.uuid4())
    assert client.post(f"{base}/walks", json={"walk": walk, "date": "2026-01-05"}).status_code == 201
    one = {
        "count": str(uuid.uuid4()),
        "tree": tree,
        "taps": 3,
        "nymphs": 4,
        "reason": "planned",
        "catch": {"spider": 1},
    }
    answers = [client.post(f"{base}/walks/{walk}/counts", json={"counts": [one]}).status_code for _ in range(2)]
    assert answers == [201, 200]
    late = client.patch(
        f"{base}/blocks/{U1}", json={"type": "Feature", "properties": {"headland_m": 4}}, headers=edit(1)
    )
    assert late.status_code == 412
    undone = client.post(f"{base}/undo", json={"act": laid.json()["act"]})
    # counts hang on the trees
    assert undone.status_code == 409
    assert other.get(f"/api/groves/{second}/blocks").json()["features"] == []
