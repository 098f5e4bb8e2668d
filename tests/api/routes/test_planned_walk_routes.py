"""Planned walks and what phones bring, over HTTP. No published examples: these are the house's own doors."""

from __future__ import annotations

import json
import uuid

import pytest

PLAN, WALK = "00000000-0000-4000-8000-0000000000c1", "00000000-0000-4000-8000-0000000000c2"
PHONE = "00000000-0000-4000-8000-0000000000c3"


@pytest.fixture
def planned(demo):
    asked = {"plan": PLAN, "walk": WALK, "date": "2026-01-20", "trees": 30}
    demo.plan = demo.client.post(f"{demo.base}/plans", json=asked)
    assert demo.plan.status_code == 201, demo.plan.text
    demo.asked, demo.events = asked, f"{demo.base}/walks/{WALK}/events"
    demo.stops = demo.plan.json()["trees"]
    return demo


def count(stop, clock, **more):
    return {"event": str(uuid.uuid4()), "kind": "count", "clock": clock, "at": "2026-01-20T01:30:00Z",
            "count": str(uuid.uuid4()), "tree": stop["tree"], "taps": 3, "nymphs": 4, "adults": 1,
            "reason": "planned"} | more


def send(planned, *events, **more):
    answer = planned.client.post(planned.events, json={"device": PHONE, "events": list(events), **more})
    assert answer.status_code == 200, answer.text
    return answer.json()


def said(told):
    return [each["answer"] for each in told["answers"]]


def test_a_walk_is_planned_once_and_taken_along(planned, is_problem):
    told = planned.plan.json()
    assert [stop["order"] for stop in told["trees"]] == list(range(1, 31))
    blocks = {stop["block"] for stop in told["trees"]}
    assert {verdict["block"] for verdict in told["verdicts"]} == blocks
    again = planned.client.post(f"{planned.base}/plans", json=planned.asked)
    assert (again.status_code, again.json()["act"]) == (200, None)
    is_problem(planned.client.post(f"{planned.base}/plans", json={**planned.asked, "trees": 31}), 409, "conflict")
    bundle = planned.client.get(f"{planned.base}/plans/{PLAN}/bundle").json()
    assert bundle["grove"]["invented"] is True
    assert len(bundle["plan"]["trees"]) == 30
    assert bundle["trees"]["trees"] == len(bundle["trees"]["columns"]["tree"])
    assert set(bundle["row_spacing_m"]) >= blocks
    assert [plan["plan"] for plan in planned.client.get(f"{planned.base}/plans").json()["plans"]] == [PLAN]
    sheet = planned.client.get(f"{planned.base}/plans/{PLAN}/tally-sheet.pdf")
    assert sheet.content.startswith(b"%PDF")
    # A planned walk is none until something is counted: the map is still that of the last one.
    assert WALK not in [walk["walk"] for walk in planned.client.get(f"{planned.base}/walks").json()["walks"]]


def test_what_makes_no_plan(planned, is_problem):
    url = f"{planned.base}/plans"
    other = {**planned.asked, "plan": str(uuid.uuid4())}
    is_problem(planned.client.post(url, json={**other, "trees": None}), 409, "input-missing")
    is_problem(planned.client.post(url, json={**other, "minutes": 30.0}), 422, "input-refused")
    is_problem(planned.client.post(url, json={**other, "gate": "nowhere"}), 422, "input-refused")
    is_problem(planned.client.get(f"{url}/{uuid.uuid4()}"), 404, "not-found")


def test_events_are_answered_one_by_one(planned, is_problem):
    good, wrong = count(planned.stops[0], 1), count(planned.stops[1], 2, nymphs=-1)
    many = count(planned.stops[2], 3, nymphs=10_000)
    told = send(planned, good, wrong, many, good)
    assert said(told) == ["stored", "refused", "asked", "duplicate"]
    assert "Nymphs is -1" in told["answers"][1]["problem"]
    assert [asked["code"] for asked in told["answers"][2]["questions"]] == ["many"]
    assert said(send(planned, {**many, "confirmed": True}, good)) == ["stored", "duplicate"]
    edit = count(planned.stops[0], 4, count=good["count"], nymphs=6)
    assert said(send(planned, edit)) == ["stored"]
    kept = planned.client.get(f"{planned.base}/walks/{WALK}/counts").json()
    assert sorted(kept["columns"]["nymphs"]) == [6, 10_000]
    history = planned.client.get(planned.events).json()
    assert [event["answer"] for event in history["events"]] == ["stored"] * 3
    assert history["clock"] == 4
    after = planned.client.get(planned.events, params={"after": history["events"][1]["number"]}).json()
    assert len(after["events"]) == 1
    strange = f"{planned.base}/walks/{uuid.uuid4()}/events"
    is_problem(planned.client.post(strange, json={"device": PHONE, "events": [good]}), 404, "not-found")


def test_slips_are_asked_about(planned):
    first, second = count(planned.stops[0], 1), count(planned.stops[0], 2)
    told = send(planned, first, second, count(planned.stops[1], 3, taps=5),
                count(planned.stops[2], 4, at="2026-01-02T01:30:00Z"))
    assert [[asked["code"] for asked in each["questions"]] for each in told["answers"]] == [
        [], ["twice"], ["taps"], ["old"],
    ]


def test_counts_in_another_block_are_questioned_at_the_third_and_moved(planned):
    blocks = sorted({stop["block"] for stop in planned.stops})
    here = [stop for stop in planned.stops if stop["block"] == blocks[0]]
    layer = planned.client.get(f"{planned.base}/trees").json()
    there = layer["blocks"].index(blocks[1])
    columns = layer["columns"]
    inside = [k for k, block in enumerate(columns["block"]) if block == there]
    inside = inside[len(inside) // 2 : len(inside) // 2 + 3]
    sent = [count(here[n], n, longitude=columns["longitude"][k], latitude=columns["latitude"][k], accuracy_m=3.0)
            for n, k in enumerate(inside)]
    told = send(planned, *sent)
    assert said(told) == ["stored", "stored", "asked"]
    assert told["answers"][2]["questions"][0]["code"] == "elsewhere"
    assert said(send(planned, {**sent[2], "confirmed": True})) == ["stored"]
    report = planned.client.get(f"{planned.base}/walks/{WALK}/positions").json()
    assert report["elsewhere"][0]["counts"] == 3
    assert report["elsewhere"][0]["question"].endswith("?")
    url = f"{planned.base}/walks/{WALK}/moves"
    move = {"to_block": blocks[1], "from_block": blocks[0], "by": "position"}
    looked = planned.client.post(url, json={**move, "look": True})
    assert (looked.status_code, looked.json()["act"]) == (200, None)
    moved = planned.client.post(url, json=move)
    assert moved.status_code == 201, moved.text
    assert [each["to_tree"] for each in moved.json()["moved"]] == [columns["tree"][k] for k in inside]
    undone = planned.client.post(f"{planned.base}/undo", json={"act": moved.json()["act"]})
    assert undone.status_code == 200
    kept = planned.client.get(f"{planned.base}/walks/{WALK}/counts").json()["columns"]["tree"]
    assert sorted(kept) == sorted(one["tree"] for one in sent)


def test_paper_is_typed_in_and_put_right(planned):
    url = f"{planned.base}/walks/{WALK}/paper"
    sheet = {"plan": PLAN, "taps": 3, "lines": [{"order": 1, "nymphs": 2, "adults": 0},
                                                {"order": 2, "nymphs": 0, "adults": 0, "catch": {"ant": 3}}]}
    assert said(planned.client.post(url, json=sheet).json()) == ["stored"] * 2
    assert said(planned.client.post(url, json=sheet).json()) == ["duplicate"] * 2
    sheet["lines"][0]["nymphs"] = 5
    assert said(planned.client.post(url, json=sheet).json()) == ["stored", "duplicate"]
    sheet["lines"][0]["nymphs"] = 2
    assert said(planned.client.post(url, json=sheet).json()) == ["stored", "duplicate"]
    kept = planned.client.get(f"{planned.base}/walks/{WALK}/counts").json()
    assert sorted(kept["columns"]["nymphs"]) == [0, 2]


def test_a_phones_file_is_read_and_what_is_there_is_stored_once(planned, is_problem):
    events = [count(stop, clock) for clock, stop in enumerate(planned.stops[:6])]
    send(planned, *events[:3])
    saved = {"gridmap": "phone", "version": 1, "grove": planned.base.rsplit("/", 1)[1], "device": PHONE,
             "saved": "2026-01-20T05:00:00Z",
             "walks": [{"walk": WALK, "date": "2026-01-20", "name": None, "observer": "Ann", "events": events}]}
    url = f"{planned.base}/imports/phone"
    read = planned.client.post(url, files={"file": ("queue.json", json.dumps(saved).encode())})
    assert read.status_code == 201, read.text
    assert read.json()["walks"][0]["answers"] == {"duplicate": 3, "stored": 3}
    for wrong in (b"", b"{", b"[]", b'{"gridmap": "phone", "version": 2, "walks": [], "device": "x"}',
                  json.dumps({**saved, "grove": str(uuid.uuid4())}).encode(),
                  json.dumps({**saved, "walks": [{"walk": 3, "events": [4]}]}).encode()):
        is_problem(planned.client.post(url, files={"file": ("queue.json", wrong)}), 422, "file-refused")
