"""Counts over HTTP: each is kept once however often it is sent, all of a batch or none, on the disk before the answer.

No published examples here: these are the house's own doors.
"""

from __future__ import annotations

import sqlite3
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest

WALK = "00000000-0000-4000-8000-0000000000aa"


@pytest.fixture
def walked(demo):
    made = demo.client.post(f"{demo.base}/walks", json={"walk": WALK, "date": "2026-01-05", "name": "evening"})
    assert made.status_code == 201
    demo.trees = demo.client.get(f"{demo.base}/trees").json()["columns"]["tree"]
    demo.url = f"{demo.base}/walks/{WALK}/counts"
    return demo


def count(tree, **more):
    return {"count": str(uuid.uuid4()), "tree": tree, "taps": 3, "nymphs": 4, "adults": 1, "reason": "planned"} | more


def test_a_walk_is_stored_once(walked, is_problem):
    again = {"walk": WALK, "date": "2026-01-05", "name": "evening"}
    answer = walked.client.post(f"{walked.base}/walks", json=again)
    assert (answer.status_code, answer.json()["act"]) == (200, None)
    is_problem(walked.client.post(f"{walked.base}/walks", json={**again, "name": "other"}), 409, "conflict")
    listed = walked.client.get(f"{walked.base}/walks").json()["walks"]
    assert [walk["walk"] for walk in listed].count(WALK) == 1
    is_problem(
        walked.client.post(f"{walked.base}/walks", json={"walk": str(uuid.uuid4()), "date": "2026-02-30"}),
        422,
        "input-refused",
    )


def test_a_count_is_stored_once_alone_and_in_a_batch(walked):
    first = count(walked.trees[0], catch={"spider": 2}, time="2026-01-05T06:30:00Z", wing_buds="some", accuracy_m=3.5)
    answer = walked.client.post(walked.url, json={"counts": [first]})
    assert answer.status_code == 201
    assert answer.json() | {"act": None} == {"new": 1, "already": 0, "act": None}
    batch = [first, *(count(tree) for tree in walked.trees[:49])]
    answer = walked.client.post(walked.url, json={"counts": batch})
    assert (answer.status_code, answer.json()["new"], answer.json()["already"]) == (201, 49, 1)
    assert walked.client.post(walked.url, json={"counts": batch}).status_code == 200
    told = walked.client.get(walked.url).json()
    assert told["counts"] == 50
    place = told["columns"]["count"].index(first["count"])
    assert told["columns"]["time"][place] == "2026-01-05T06:30:00.000Z"
    assert told["catch"] == [{"count": first["count"], "group": "spider", "number": 2}]


def test_a_batch_is_all_or_nothing_and_every_bad_count_is_told(walked, is_problem):
    batch = [count(walked.trees[0]), count(str(uuid.uuid4())), count(walked.trees[1], nymphs=None, adults=None)]
    told = is_problem(walked.client.post(walked.url, json={"counts": batch}), 422, "rows-refused")
    assert [problem["at"] for problem in told["problems"]] == ["counts[1]", "counts[2]"]
    assert walked.client.get(walked.url).json()["counts"] == 0


def test_the_same_uuid_with_other_content_is_a_conflict(walked, is_problem):
    first = count(walked.trees[0])
    walked.client.post(walked.url, json={"counts": [first]})
    told = is_problem(walked.client.post(walked.url, json={"counts": [{**first, "nymphs": 9}]}), 409, "conflict")
    assert "4" in told["problems"][0]["problem"]
    assert "9" in told["problems"][0]["problem"]
    twice = count(walked.trees[1])
    is_problem(walked.client.post(walked.url, json={"counts": [twice, {**twice, "taps": 5}]}), 409, "conflict")


@pytest.mark.parametrize(
    "wrong",
    [
        {"taps": 0},
        {"taps": "3"},
        {"taps": 2.5},
        {"nymphs": -1},
        {"nymphs": 10**9},
        {"reason": "guess"},
        {"reason": None},
        {"wing_buds": "lots"},
        {"time": "yesterday"},
        {"time": "2026-01-05T06:30:00"},
        {"count": "1"},
        {"tree": "1"},
        {"accuracy_m": -1},
        {"catch": {"spider": -1}},
        {"catch": {"": 1}},
        {"colour": "red"},
        {"observer": ""},
    ],
)
def test_a_field_that_can_not_be_is_named(walked, wrong, is_problem):
    told = is_problem(
        walked.client.post(walked.url, json={"counts": [count(walked.trees[0]) | wrong]}), 422, "input-refused"
    )
    assert any(next(iter(wrong)) in problem["at"] for problem in told["problems"])


def test_a_batch_has_its_limit(walked, is_problem):
    for number in (0, 501):
        batch = {"counts": [count(walked.trees[0]) for _ in range(number)]}
        is_problem(walked.client.post(walked.url, json=batch), 422, "input-refused")


def test_counts_of_an_unknown_walk_are_not_there(walked, is_problem):
    other = f"{walked.base}/walks/{uuid.uuid4()}/counts"
    is_problem(walked.client.get(other), 404, "not-found")
    is_problem(walked.client.post(other, json={"counts": [count(walked.trees[0])]}), 404, "not-found")


def test_eight_phones_at_once_lose_and_double_nothing(walked):
    """Each sends its counts twice, as after a lost answer; a bad one among them spoils no other."""
    given = [[count(tree) for tree in walked.trees[n * 20 : n * 20 + 20]] for n in range(8)]

    def phone(counts):
        said = []
        for one in counts:
            said += [walked.client.post(walked.url, json={"counts": [one]}).status_code for _ in range(2)]
            said.append(walked.client.post(walked.url, json={"counts": [count(str(uuid.uuid4()))]}).status_code)
        return said

    with ThreadPoolExecutor(8) as pool:
        answers = [status for said in pool.map(phone, given) for status in said]
    assert sorted(set(answers)) == [200, 201, 422]
    assert answers.count(201) == 160
    stored = walked.client.get(walked.url).json()["columns"]["count"]
    assert sorted(stored) == sorted(one["count"] for counts in given for one in counts)


def test_each_post_is_an_act_of_its_own(walked):
    acts = [walked.client.post(walked.url, json={"counts": [count(tree)]}).json()["act"] for tree in walked.trees[:2]]
    assert walked.client.post(f"{walked.base}/undo", json={"act": acts[0]}).status_code == 200
    assert walked.client.get(walked.url).json()["counts"] == 1


def test_what_is_answered_is_in_the_file(walked):
    one = count(walked.trees[0])
    walked.client.post(walked.url, json={"counts": [one]})
    connection = sqlite3.connect(walked.path)
    assert connection.execute("SELECT count(*) FROM count WHERE uuid = ?", [one["count"]]).fetchone() == (1,)
    connection.close()


def test_counts_are_read_from_a_file(empty, box, edit, is_problem):
    block = {
        "type": "Feature",
        "id": WALK,
        "geometry": box(0, 0, 60, 40),
        "properties": {
            "block": "Top",
            "row_bearing_deg": 90,
            "row_spacing_m": 7,
            "tree_spacing_m": 5,
            "headland_m": 3,
            "uphill_bearing_deg": 0,
        },
    }
    version = empty.client.post(f"{empty.base}/blocks", json=block).json()["features"][0]["properties"]["version"]
    empty.client.post(f"{empty.base}/blocks/{WALK}/rows", json={}, headers=edit(version))
    header = b"block,row,position,taps,nymphs,adults\n"
    url = f"{empty.base}/imports/counts"
    good = {"file": ("walk.csv", header + b"Top,1,1,3,4,1\nTop,1,2,3,0,0\n")}
    answer = empty.client.post(url, files=good, data={"date": "2026-02-03"})
    assert answer.status_code == 201, answer.text
    assert answer.json()["counts_new"] == 2
    assert empty.client.post(url, files=good, data={"date": "2026-02-03"}).json()["counts_already_there"] == 2
    bad = {"file": ("walk.csv", header + b"Top,1,3,3,4,1\nTop,9,99,3,0,0\n")}
    told = is_problem(empty.client.post(url, files=bad, data={"date": "2026-02-04"}), 422, "rows-refused")
    assert told["problems"][0]["at"] == "line 3"
    kept = empty.client.post(url, files=bad, data={"date": "2026-02-04", "accept_good_rows": "true"})
    assert kept.json()["counts_new"] == 1
