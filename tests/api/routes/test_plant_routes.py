"""Trees that come and go, surveys, rows along a line, blocks joined and numbered anew, over HTTP.

No published example for the doors; what is inside is checked in the rooms (tests/gridmap/ground) and through the
command line (tests/api/test_plants.py, test_rows.py).
"""

from __future__ import annotations

import numpy as np
import pytest

U1, U2, U3, U4 = (f"00000000-0000-4000-8000-00000000000{n}" for n in (1, 2, 3, 4))
FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}
DAY = "2026-01-05"


def draw(grove, uuid, name, shape, **facts):
    feature = {"type": "Feature", "id": uuid, "properties": {"block": name, **facts}, "geometry": shape}
    answer = grove.client.post(f"{grove.base}/blocks", json=feature)
    assert answer.status_code == 201, answer.text
    return answer.json()["features"][0]["properties"]["version"]


@pytest.fixture
def planted(empty, box, edit):
    version = draw(empty, U1, "Top", box(0, 0, 60, 40), **FACTS)
    laid = empty.client.post(f"{empty.base}/blocks/{U1}/rows", json={}, headers=edit(version))
    assert laid.status_code == 201, laid.text
    empty.version = laid.json()["version"]
    return empty


def trees(grove):
    return grove.client.get(f"{grove.base}/trees").json()["columns"]


def test_a_tree_is_retired_once_and_replanted_once(planted, is_problem):
    ask, url = planted.client, f"{planted.base}/trees"
    first, second = trees(planted)["tree"][:2]
    for entries in (1, 0):
        gone = ask.post(f"{url}/retire", json={"trees": [first], "on": DAY})
        assert gone.status_code == 200, gone.text
        assert (gone.json()["act"] is not None) == bool(entries)
    is_problem(ask.post(f"{url}/retire", json={"trees": [first], "on": "2026-01-06"}), 409, "conflict")
    is_problem(ask.post(f"{url}/retire", json={"trees": [second], "on": "2126-01-06"}), 422, "input-refused")
    new = {"plants": [{"plant": U2, "gap": "Top/1/1"}, {"plant": U3, "instead_of": second}], "on": DAY}
    answer = ask.post(f"{url}/replant", json=new)
    assert answer.status_code == 201, answer.text
    assert (answer.json()["planted"], answer.json()["gone"]) == ([U2, U3], [second])
    assert ask.post(f"{url}/replant", json=new).status_code == 200
    assert trees(planted)["tree"][:2] == [U2, U3]
    # another window has not seen the new plants
    is_problem(ask.post(f"{url}/replant", json={"plants": [{"plant": U4, "instead_of": second}], "on": DAY}),
               409, "conflict")  # fmt: skip
    is_problem(ask.post(f"{url}/replant", json={"plants": [{"plant": U4, "gap": "Top/1/1"}], "on": DAY}),
               409, "conflict")  # fmt: skip
    other = {**new, "on": "2026-01-06"}
    is_problem(ask.post(f"{url}/replant", json=other), 409, "conflict")
    is_problem(ask.post(f"{url}/replant", json={"plants": [{"plant": U4}], "on": DAY}), 422, "input-refused")
    told = ask.get(f"{planted.base}/labels", params={"label": "Top/1/1"}).json()
    assert [plant["tree"] for plant in told["places"][0]["plants"]] == [first, U2]
    assert ask.post(f"{planted.base}/undo", json={"act": answer.json()["act"]}).status_code == 200
    assert second in trees(planted)["tree"]


def test_a_label_that_never_was_is_told(planted, is_problem):
    is_problem(planted.client.get(f"{planted.base}/labels", params={"label": "Top/99/1"}), 422, "input-refused")
    is_problem(planted.client.get(f"{planted.base}/labels"), 422, "input-refused")


def test_blocks_are_joined_by_who_has_seen_both(planted, box, edit, is_problem):
    ask, url = planted.client, f"{planted.base}/blocks/{U1}/merge"
    version = draw(planted, U2, "Side", box(60, 0, 120, 40), **FACTS)
    laid = ask.post(f"{planted.base}/blocks/{U2}/rows", json={}, headers=edit(version)).json()
    told = {"type": "Feature", "properties": {"canopy_height_m": 3}}
    now = ask.patch(f"{planted.base}/blocks/{U2}", json=told, headers=edit(laid["version"])).json()["properties"]
    asked = {"other": U2, "other_version": version, "name": "Hill"}
    is_problem(ask.post(url, json=asked), 428, "version-missing")
    # somebody else said more of the other block: neither is touched
    is_problem(ask.post(url, json=asked, headers=edit(planted.version)), 412, "changed-meanwhile")
    asked["other_version"] = now["version"]
    before = set(trees(planted)["tree"])
    done = ask.post(url, json=asked, headers=edit(planted.version))
    assert done.status_code == 200, done.text
    assert done.json()["properties"]["block"] == "Hill"
    assert done.json()["properties"]["trees"] == 110
    # 120 m by 40 m
    assert done.json()["properties"]["area_ha"] == pytest.approx(0.48, rel=0.005)
    assert set(trees(planted)["tree"]) == before
    is_problem(ask.get(f"{planted.base}/blocks/{U2}"), 404, "not-found")
    # the second block's rows 1 to 5 are rows 6 to 10 now, and are found by their old label
    [place] = ask.get(f"{planted.base}/labels", params={"label": "Side/1/3"}).json()["places"]
    assert place["now"] == "Hill/6/3"
    assert ask.post(f"{planted.base}/undo", json={"act": done.json()["act"]}).status_code == 200
    assert ask.get(f"{planted.base}/blocks/{U2}").status_code == 200


def test_rows_are_numbered_anew_until_the_first_count(planted, edit, is_problem):
    ask, url = planted.client, f"{planted.base}/blocks/{U1}/renumber"
    was = dict(zip(trees(planted)["tree"], trees(planted)["row"], strict=True))
    done = ask.post(url, json={"uphill_bearing_deg": 180}, headers=edit(planted.version))
    assert done.status_code == 200, done.text
    now = dict(zip(trees(planted)["tree"], trees(planted)["row"], strict=True))
    # uphill is south now: the highest of five rows is the lowest
    assert {row + now[tree] for tree, row in was.items()} == {6}
    assert done.headers["etag"] == f'"{done.json()["version"]}"'
    is_problem(ask.post(url, json={}, headers=edit(planted.version)), 412, "changed-meanwhile")
    ask.post(f"{planted.base}/walks", json={"walk": U3, "date": DAY})
    count = {"count": U4, "tree": trees(planted)["tree"][0], "taps": 3, "nymphs": 1, "reason": "planned"}
    assert ask.post(f"{planted.base}/walks/{U3}/counts", json={"counts": [count]}).status_code == 201
    is_problem(ask.post(url, json={}, headers=edit(done.json()["version"])), 422, "input-refused")


def test_rows_follow_a_line_as_shown_before(empty, box, place, edit, is_problem):
    shape = box(0, 0, 60, 40)
    version = draw(empty, U1, "Bend", shape)
    line = {"type": "LineString", "coordinates": [place(-5, 10), place(30, 14), place(65, 10)]}
    facts = {"row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}
    shown = empty.client.post(f"{empty.base}/preview-rows", json={"geometry": shape, "line": line, **facts})
    assert shown.status_code == 200, shown.text
    url = f"{empty.base}/blocks/{U1}/follow-line"
    short = {"line": line, "row_spacing_m": 7}
    is_problem(empty.client.post(url, json=short, headers=edit(version)), 409, "input-missing")
    laid = empty.client.post(url, json={"line": line, **facts}, headers=edit(version))
    assert laid.status_code == 201, laid.text
    assert laid.json()["trees"] == shown.json()["trees"] > 30
    there = trees(empty)
    assert sorted(there["longitude"]) == pytest.approx(sorted(shown.json()["columns"]["longitude"]), abs=2e-7)
    both = {"geometry": shape, "line": line, "row_bearing_deg": 90, **facts}
    is_problem(empty.client.post(f"{empty.base}/preview-rows", json=both), 422, "input-refused")
    is_problem(empty.client.post(f"{empty.base}/preview-rows", json={"geometry": shape, **facts}), 422, "input-refused")
    point = {"type": "LineString", "coordinates": [place(5, 10)] * 2}
    is_problem(empty.client.post(url, json={"line": point, **facts}, headers=edit(version)), 422, "input-refused")


def table(places):
    return "\n".join(["longitude,latitude", *(f"{x:.7f},{y:.7f}" for x, y in places)]).encode()


def test_rows_are_found_in_surveyed_trees(empty, place, is_problem):
    random = np.random.default_rng(3)
    off = random.normal(0, 0.3, (8, 12, 2))
    places = [place(5 * n + off[row, n, 0], 7 * row + off[row, n, 1])
              for row in range(8) for n in range(12) if (12 * row + n) % 9]  # fmt: skip
    url, sent = f"{empty.base}/imports/survey", {"file": ("s.csv", table(places))}
    told = is_problem(empty.client.post(url, files=sent, data={"block": "Found"}), 409, "input-missing")
    assert told["missing"] == ["which way is uphill"]
    done = empty.client.post(url, files=sent, data={"block": "Found", "uphill_bearing_deg": "0"})
    assert done.status_code == 201, done.text
    assert done.json()["trees"] == len(places) == 85
    [block] = done.json()["blocks"]
    assert block["rows"] == 8
    # as they were laid
    assert block["row_spacing_m"] == pytest.approx(7, abs=0.1)
    assert block["tree_spacing_m"] == pytest.approx(5, abs=0.1)
    assert empty.client.post(f"{empty.base}/undo", json={"act": done.json()["act"]}).status_code == 200
    assert empty.client.get(f"{empty.base}/blocks").json()["features"] == []


def test_what_a_survey_would_change_is_shown_before_it_is_taken(planted, edit, is_problem):
    ask, url, there = planted.client, f"{planted.base}/imports/resurvey", trees(planted)
    moved = [(x + 0.5 / 94_500, y) for x, y in zip(there["longitude"], there["latitude"], strict=True)]
    sent = {"file": ("s.csv", table(moved[:-1]))}
    before = planted.path.read_bytes()
    shown = ask.post(url, files=sent)
    assert shown.status_code == 200, shown.text
    told = shown.json()
    assert planted.path.read_bytes() == before
    assert (told["stored"], told["act"], len(told["matched"]), len(told["not_seen"])) == (False, None, 54, 1)
    is_problem(ask.post(url, files=sent, data={"accept": "true"}), 428, "version-missing")
    # a tree goes meanwhile: what was shown is no more what would be done
    ask.post(f"{planted.base}/trees/retire", json={"trees": [there["tree"][0]], "on": DAY})
    seen = {"If-Match": shown.headers["etag"]}
    is_problem(ask.post(url, files=sent, data={"accept": "true"}, headers=seen), 412, "changed-meanwhile")
    again = ask.post(url, files=sent)
    done = ask.post(url, files=sent, data={"accept": "true"}, headers={"If-Match": again.headers["etag"]})
    assert done.status_code == 200, done.text
    assert done.json()["stored"]
    after = trees(planted)
    east = 94_500 * (np.array(after["longitude"])[:-1] - np.array(there["longitude"])[1:-1])
    assert east == pytest.approx(np.full(53, 0.5), abs=0.05)
    assert after["tree"] == there["tree"][1:]
