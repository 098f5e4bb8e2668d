"""The sward over HTTP: surveys kept once, nothing worked out before the level is said, weeds never waited for.

No published examples here: these are the house's own doors; the figures behind them are checked in tests/gridmap/sward.
"""

from __future__ import annotations

import json

import pytest

import data

SURVEY, LOOK, CHECK, SLASH, PATCH = (f"00000000-0000-4000-8000-00000000010{n}" for n in range(5))


def typed(service, **values):
    form = service.client.get(f"{service.base}/sward/settings").json()
    answer = service.client.patch(
        f"{service.base}/sward/settings", json=values, headers={"If-Match": f'"{form["version"]}"'})
    assert answer.status_code == 200, answer.text
    return answer.json()


def look(row, grass, **more):
    noted = {"grass": grass, "bare": 40 - grass}
    return {"look": LOOK, "block": "Windmill", "row": row, "method": "points", "noted": noted, **more}


def test_the_demo_grove_tells_its_climb(reading):
    """The script's truth: 6 m a year (data/demo/make_sward.py)."""
    told = reading.client.get(f"{reading.base}/sward").json()
    assert len(told["surveys"]) == 6
    assert told["advance"]["low_90"] <= 6.0 <= told["advance"]["high_90"]
    assert told["change"]["since"] == told["surveys"][0]["survey"]
    columns = told["rows"]
    assert {len(column) for column in columns.values()} == {len(columns["row"])}
    areas = {line["change"]: line["area_ha"] for line in told["change"]["areas"]}
    floor = reading.client.get(f"{reading.base}/sward/floor").json()
    assert sum(areas.values()) == pytest.approx(sum(f["properties"]["area_ha"] for f in floor["features"]))
    assert areas["gained"] > areas["lost"]
    front = reading.client.get(f"{reading.base}/sward/front").json()
    assert {feature["properties"]["kind"] for feature in front["features"]} == {"first", "front", "low_90", "high_90"}
    other = reading.client.get(f"{reading.base}/sward?level=0.3").json()
    assert other["front"][-1]["front_m"] > told["front"][-1]["front_m"]


def test_without_a_level_nothing_is_worked_out(empty, is_problem):
    told = empty.client.get(f"{empty.base}/sward").json()
    assert told["front"] == []
    assert told["change"] is None
    assert "counts as grassed" in told["missing"][0]
    is_problem(empty.client.get(f"{empty.base}/sward?level=60"), 422, "input-refused")
    assert typed(empty, level=0.6, stones=True)["values"]["level"] == 0.6
    assert typed(empty, stones=None)["values"]["stones"] is None
    assert empty.client.get(f"{empty.base}/sward").json()["missing"] == []


def test_looks_are_stored_once_and_all_or_none(demo, is_problem):
    survey = {"survey": SURVEY, "date": "2026-01-05", "name": "summer"}
    url = f"{demo.base}/cover-surveys"
    assert [demo.client.post(url, json=survey).status_code for _ in range(2)] == [201, 200]
    is_problem(demo.client.post(url, json={**survey, "name": "other"}), 409, "conflict")
    send = {"looks": [look(2, 30)]}
    answers = [demo.client.post(f"{url}/{SURVEY}/looks", json=send) for _ in range(2)]
    assert [(answer.status_code, answer.json()["new"]) for answer in answers] == [(201, 1), (200, 0)]
    is_problem(demo.client.post(f"{url}/{SURVEY}/looks", json={"looks": [look(2, 31)]}), 409, "conflict")
    bad = {"looks": [look(2, 30, look=CHECK), look(99, 30, look=SLASH)]}
    told = is_problem(demo.client.post(f"{url}/{SURVEY}/looks", json=bad), 422, "rows-refused")
    assert "no row 99" in told["problems"][0]["problem"]
    held = demo.client.get(f"{url}/{SURVEY}/looks").json()
    assert held["looks"] == 1
    assert held["columns"]["noted"] == [{"bare": 10.0, "grass": 30.0}]
    assert held["columns"]["grass_cover"] == [0.75]
    is_problem(demo.client.get(f"{url}/{LOOK}/looks"), 404, "not-found")
    listed = demo.client.get(url).json()["surveys"]
    assert listed[-1]["methods"] == ["points"]


def test_pictures_are_measured_and_bad_ones_refused(demo, is_problem):
    url = f"{demo.base}/imports/picture"
    old, new = (data.path("demo", f"picture-{year}.tif").read_bytes() for year in (2021, 2025))
    files = {"file": ("new.tif", new), "earlier": ("old.tif", old)}
    answer = demo.client.post(url, files=files, data={"date": "2025-09-06"})
    assert answer.status_code == 201, answer.text
    told = answer.json()
    # The script laid the later picture 0.8 m east and 0.5 m south; cells are 1 m
    assert (told["shift_east_m"], told["shift_north_m"]) == pytest.approx((0.8, -0.5), abs=0.2)
    assert "Dormant native grass" in told["cautions"][0]
    is_problem(demo.client.post(url, files={"file": ("x.tif", b"nothing")}, data={"date": "2025-09-06"}), 422,
               "file-refused")
    hill = data.path("demo", "hill.tif").read_bytes()
    told = is_problem(demo.client.post(url, files={"file": ("hill.tif", hill)}, data={"date": "2025-09-06"}), 422,
                      "file-refused")
    assert "one band" in told["detail"]


def test_drawn_grass_and_tables_come_in(demo, is_problem):
    blocks = demo.client.get(f"{demo.base}/blocks").json()["features"]
    shape = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {}, "geometry": blocks[0]["geometry"]}]}
    file = {"file": ("grass.geojson", json.dumps(shape).encode())}
    answer = demo.client.post(f"{demo.base}/imports/grass", files=file, data={"accuracy_m": 3, "date": "2026-01-05"})
    assert answer.status_code == 201, answer.text
    looks = demo.client.get(f"{demo.base}/cover-surveys/{answer.json()['survey']}/looks").json()["columns"]
    inside = [cover for block, cover in zip(looks["block"], looks["grass_cover"], strict=True)
              if block == blocks[0]["properties"]["block"]]
    assert min(inside) > 0.99
    assert set(looks["litter"]) == {None}
    csv = b"block,row,method,grass,bare\nWindmill,1,percent,40,60\nWindmill,1,percent,40,90\n"
    answer = demo.client.post(f"{demo.base}/imports/cover", files={"file": ("c.csv", csv)}, data={"date": "2026-01-05"})
    told = is_problem(answer, 422, "rows-refused")
    assert "sum to 130 %" in told["problems"][0]["problem"]


def test_seed_slash_and_running_grasses(demo, is_problem):
    before = demo.client.get(f"{demo.base}/slashing?on=2025-12-02").json()
    verdicts = {part["part"]: part["verdict"] for part in before["parts"]}
    assert verdicts["Creek Elbow, rows 1 to 5"] == "mixed"
    assert verdicts["Windmill"] == "early"
    assert verdicts["Stony Bit"] == "not to wait for"
    assert any("total fire ban" in text for text in before["against"])
    check = {"check": CHECK, "date": "2025-12-01", "block": "Windmill", "grass": "Poa sieberiana", "heads": 40,
             "shed": 39}
    url = f"{demo.base}/seed-checks"
    assert [demo.client.post(url, json={"checks": [check]}).status_code for _ in range(2)] == [201, 200]
    is_problem(demo.client.post(url, json={"checks": [{**check, "check": LOOK, "shed": 41}]}), 422, "input-refused")
    after = demo.client.get(f"{demo.base}/slashing?on=2025-12-02").json()
    assert {part["part"]: part["verdict"] for part in after["parts"]}["Windmill"] == "ready"
    slash = {"slash": SLASH, "date": "2025-12-02", "block": "Windmill", "refuge": True, "height_cm": 12.0}
    told = demo.client.post(f"{demo.base}/slashes", json=slash).json()
    assert told["left_rows"][:2] == [2, 4]
    again = {**slash, "slash": LOOK, "date": "2026-01-02"}
    assert demo.client.post(f"{demo.base}/slashes", json=again).json()["left_rows"][:2] == [1, 3]
    # What was checked before the slash says nothing of the grass after it
    parts = demo.client.get(f"{demo.base}/slashing?on=2026-01-05").json()["parts"]
    assert "Windmill" not in {part["part"] for part in parts}
    shown = demo.client.get(f"{demo.base}").json()["bounds"]
    seen = {"type": "Feature", "id": PATCH, "geometry": {"type": "Point", "coordinates": shown[:2]},
            "properties": {"patch": "by the gate", "grass": "Cenchrus clandestinus", "date": "2026-01-05",
                           "area_m2": 12.0}}
    url = f"{demo.base}/running-grasses"
    assert [demo.client.post(url, json=seen).status_code for _ in range(2)] == [201, 200]
    assert demo.client.get(url).json()["features"][0]["properties"]["trend"] == "seen once"
