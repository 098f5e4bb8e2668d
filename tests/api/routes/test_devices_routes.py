"""Shared on the network: let in by a code once, known by a token, of one grove, in one role, shut out for good.

No published examples here; RFC 6265 section 4.1.2 names the cookie's attributes.
"""

from __future__ import annotations

import shutil
import sqlite3
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.steps import devices
from api.steps.grove import new_grove

METHODS = {"get", "post", "patch", "delete"}
U1 = "00000000-0000-4000-8000-000000000001"


@pytest.fixture
def shared(tmp_path, demo_file):
    """Two groves on one shared service, and what makes a client from the network."""
    first, second = tmp_path / "first.gpkg", tmp_path / "second.gpkg"
    shutil.copy(demo_file, first)
    new_grove(
        second, name="Second", at="149.1,-33.25", time_zone="Australia/Sydney", season_start="07-01", currency="AUD"
    )
    app = create_app(
        Settings(groves=(first, second), shared=True, hosts=("testserver", "localhost"), address="https://x.local/")
    )
    a, b = list(app.state.service.shelf._where)

    def phone():
        return TestClient(app, base_url="https://testserver", client=("192.168.1.30", 40000))

    def paired(role, where=first):
        client = phone()
        answer = client.post("/api/pair", json={"code": devices.invite(where, role), "name": f"{role}'s phone"})
        assert answer.status_code == 201, answer.text
        client.told = answer
        return client

    return SimpleNamespace(
        app=app, a=f"/api/groves/{a}", b=f"/api/groves/{b}", first=first, second=second, phone=phone, paired=paired
    )


def test_a_stranger_sees_nothing(shared, is_problem):
    stranger = shared.phone()
    assert stranger.get("/api/groves").json()["groves"] == []
    is_problem(stranger.get(shared.a), 401, "not-paired")
    is_problem(stranger.get(f"/api/groves/{U1}"), 401, "not-paired")
    is_problem(stranger.post("/api/demo"), 403, "not-allowed")
    assert stranger.get("/").status_code == 200


def test_a_device_is_let_in_once(shared, is_problem):
    code = devices.invite(shared.first, "helper")
    phone = shared.phone()
    spelt = f"{code[:4].lower()}-{code[4:8]} {code[8:]}"
    answer = phone.post("/api/pair", json={"code": spelt, "name": "phone"})
    assert answer.json()["role"] == "helper"
    cookie = answer.headers["set-cookie"].lower()
    for word in ("httponly", "secure", "samesite=strict"):
        assert word in cookie
    assert phone.get(shared.a).json()["role"] == "helper"
    assert [grove["role"] for grove in phone.get("/api/groves").json()["groves"]] == ["helper"]
    is_problem(shared.phone().post("/api/pair", json={"code": code, "name": "thief"}), 401, "not-paired")


def test_the_token_is_kept_hashed_and_outside_the_history(shared):
    token = shared.paired("helper").told.json()["token"]
    content = shared.first.read_bytes()
    assert token.encode() not in content
    connection = sqlite3.connect(shared.first)
    assert connection.execute(
        "SELECT count(*) FROM change WHERE table_name IN ('device', 'invitation')"
    ).fetchone() == (0,)
    connection.close()
    bearer = shared.phone().get(shared.a, headers={"Authorization": f"Bearer {token}"})
    assert bearer.status_code == 200


def test_guessing_codes_is_slowed_down(shared, is_problem):
    phone = shared.phone()
    for _ in range(20):
        is_problem(phone.post("/api/pair", json={"code": "WRONGWRONG", "name": "x"}), 401, "not-paired")
    is_problem(
        phone.post("/api/pair", json={"code": devices.invite(shared.first, "owner"), "name": "x"}), 429, "too-many"
    )


def operations(app):
    return [
        (path, method)
        for path, entry in app.openapi()["paths"].items()
        for method in entry
        if method in METHODS and "{grove}" in path
    ]


def ask(client, base, path, method):
    url = (
        path.replace("/api/groves/{grove}", base)
        .replace("{ending}", "csv")
        .replace("{format}", "gpx")
        .replace("{name}", "label")
    )
    for name in ("block", "keep_out", "walk", "tree", "zone", "device"):
        url = url.replace(f"{{{name}}}", U1)
    return client.request(
        method, url, headers={"If-Match": '"1"'}, **({"json": {}} if method in ("post", "patch") else {})
    )


def test_a_token_for_one_grove_is_worth_nothing_on_another_route_by_route(shared):
    phone = shared.paired("owner", shared.second)
    assert phone.get(shared.b).status_code == 200
    asked = 0
    for path, method in operations(shared.app):
        answer = ask(phone, shared.a, path, method)
        # A form or body that can't be is told before it is known whose grove it is: it tells nothing of the grove
        assert answer.status_code in (404, 422), (path, method, answer.status_code)
        if answer.status_code == 404:
            assert "there is no grove" in answer.json()["what"], path
        else:
            assert "walk" not in answer.json()["detail"].lower() or "imports" in path or "counts" in path
        asked += 1
    assert asked > 40


def test_a_viewer_changes_nothing_and_a_helper_records_only(shared, is_problem):
    helper_may = {"/walks", "/walks/{walk}/counts", "/imports/counts"}
    viewer, helper = shared.paired("viewer"), shared.paired("helper")
    for path, method in operations(shared.app):
        tail = path.removeprefix("/api/groves/{grove}")
        for client, may in ((viewer, set()), (helper, helper_may)):
            answer = ask(client, shared.a, path, method)
            if method != "get" and tail not in may and tail != "/preview-rows":
                assert answer.status_code in (403, 422), (path, method, answer.status_code)
            elif tail in ("/grove.gpkg", "/devices"):
                is_problem(answer, 403, "not-allowed")
            else:
                assert answer.status_code != 403, (path, method)
    before = viewer.get(f"{shared.a}/history").json()
    made = viewer.post(f"{shared.a}/walks", json={"walk": U1, "date": "2026-01-05"})
    is_problem(made, 403, "not-allowed")
    assert helper.post(f"{shared.a}/walks", json={"walk": U1, "date": "2026-01-05"}).status_code == 201
    acts = viewer.get(f"{shared.a}/history").json()["acts"]
    assert acts[0]["who"] == "helper's phone"
    assert acts[1:] == before["acts"][:19]


def test_a_device_is_shut_out_for_good(shared, is_problem):
    owner, helper = shared.paired("owner"), shared.paired("helper")
    told = owner.get(f"{shared.a}/devices").json()["devices"]
    assert [device["role"] for device in told] == ["owner", "helper"]
    gone = owner.delete(f"{shared.a}/devices/{told[1]['device']}")
    assert gone.json()["devices"][1]["revoked"]
    is_problem(helper.get(shared.a), 404, "not-found")
    # nothing that is taken back lets it in again
    owner.post(f"{shared.a}/undo", json={})
    is_problem(helper.get(shared.a), 404, "not-found")


def test_an_owner_invites_from_the_page(shared):
    owner = shared.paired("owner")
    told = owner.post(f"{shared.a}/devices/invitations", json={"role": "viewer"}).json()
    assert told["address"] == "https://x.local/"
    assert shared.phone().post("/api/pair", json={"code": told["code"], "name": "guest"}).json()["role"] == "viewer"


def test_at_the_machine_itself_one_is_the_owner(shared):
    here = TestClient(shared.app, base_url="http://localhost", client=("127.0.0.1", 40000))
    assert here.get(shared.a).json()["role"] == "owner"
    # not so for a device that only says it calls localhost
    there = TestClient(shared.app, base_url="http://localhost", client=("192.168.1.30", 40000))
    assert there.get(shared.a).status_code == 401
