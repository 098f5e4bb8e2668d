"""Write api/models/examples.json: ask the demo grove everything once. Run: python tests/api/make_examples.py."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

import data
from api.app import create_app
from api.models import examples
from api.settings import Settings
from api.steps.demo import build_demo

AT_MOST = 2
CUT = 300


def short(value: Any) -> Any:
    """Cut long lists, so that an example can be read; what is drawn, and corners and bounds, stay whole."""
    if isinstance(value, dict):
        return {key: entry if key == "coordinates" else short(entry) for key, entry in value.items()}
    if isinstance(value, list):
        few = len(value) <= 8 and all(isinstance(one, (int, float)) for one in value)
        return value if few else [short(one) for one in value[:AT_MOST]]
    return value if not isinstance(value, str) or len(value) < CUT else f"{value[:CUT]} …"


def uuid(number: int) -> str:
    """Return a UUID that shows it is an example."""
    return f"00000000-0000-4000-8000-{number:012d}"


def ring(west: float, south: float, size: float = 0.0006) -> dict[str, Any]:
    """Draw a square."""
    east, north = west + size, south + size
    return {
        "type": "Polygon",
        "coordinates": [[[west, south], [east, south], [east, north], [west, north], [west, south]]],
    }


def plan_walk_examples(ask: Any, send: Any, base: str) -> None:
    """Plan a walk, count on it by phone and on paper, move counts."""
    plan, walk, phone = uuid(21), uuid(22), uuid(23)
    made = ask("plan_walk", "POST", f"{base}/plans", {"plan": plan, "walk": walk, "date": "2026-02-17", "trees": 24})
    for name, path in (("list_plans", ""), ("show_plan", f"/{plan}"), ("take_along", f"/{plan}/bundle")):
        ask(name, "GET", f"{base}/plans{path}")
    ask("hand_out_tally", "GET", f"{base}/plans/{plan}/tally-sheet.pdf")
    stops = made["trees"]
    at = {"longitude": stops[0]["longitude"], "latitude": stops[0]["latitude"], "accuracy_m": 3.5}
    event = {
        "event": uuid(24), "kind": "count", "clock": 1, "at": "2026-02-17T01:30:00Z", "count": uuid(25),
        "tree": stops[0]["tree"], "taps": 3, "nymphs": 4, "adults": 1, "reason": "planned", "wet": False, **at,
    }  # fmt: skip
    ask("record_events", "POST", f"{base}/walks/{walk}/events", {"device": phone, "events": [event]})
    ask("list_events", "GET", f"{base}/walks/{walk}/events")
    ask("list_positions", "GET", f"{base}/walks/{walk}/positions")
    to = next(stop["block"] for stop in stops if stop["block"] != stops[0]["block"])
    # What would be moved is looked at only: the example stays true of the walk
    move = {"to_block": to, "from_block": stops[0]["block"], "look": True}
    ask("move_counts", "POST", f"{base}/walks/{walk}/moves", move)
    lines = [{"order": 2, "nymphs": 2, "adults": 0}, {"order": 3, "nymphs": 0, "adults": 0}]
    ask("enter_paper", "POST", f"{base}/walks/{walk}/paper", {"plan": plan, "taps": 3, "lines": lines})
    saved = {"gridmap": "phone", "version": 1, "device": phone,
             "walks": [{"walk": walk, "date": "2026-02-17", "events": [event]}]}  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "phone.json"
        file.write_text(json.dumps(saved), "utf-8")
        send("read_phone", f"{base}/imports/phone", file)


def collect(client: TestClient) -> dict[str, dict[str, Any]]:
    """Ask everything once, in an order that works."""
    made: dict[str, dict[str, Any]] = {}

    def ask(name: str, method: str, path: str, sent: Any = None, **more: Any) -> Any:
        answer = client.request(method, path, **({"json": sent} if sent is not None else {}), **more)
        assert answer.status_code < 300, (name, answer.status_code, answer.text)
        told = answer.json() if answer.headers["content-type"].endswith("json") else None
        made[name] = {
            **({"sent": sent} if sent is not None else {}),
            **({"told": short(told)} if told is not None else {}),
        }
        return told

    def edit(version: str) -> dict[str, str]:
        return {"If-Match": f'"{version}"'}

    def send(name: str, path: str, file: Path, **form: Any) -> Any:
        told = ask(name, "POST", path, files={"file": (file.name, file.read_bytes())}, data=form)
        made[name]["sent"] = {"file": file.name, **form}
        return told

    first = client.get("/api/groves").json()["groves"]
    base = f"/api/groves/{first[0]['grove']}"
    ask("list_groves", "GET", "/api/groves")
    show = ask("show_grove", "GET", base)
    ask("change_grove", "PATCH", base, {"name": show["name"]}, headers=edit(show["version"]))
    ask("list_blocks", "GET", f"{base}/blocks")
    west, south = show["bounds"][0], show["bounds"][1] - 0.004
    new = {"type": "Feature", "id": uuid(1), "properties": {"block": "Lower Flat"}, "geometry": ring(west, south)}
    ask("add_blocks", "POST", f"{base}/blocks", new)
    block = ask("show_block", "GET", f"{base}/blocks/{uuid(1)}")
    change = {"type": "Feature", "properties": {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5}}
    told = ask(
        "change_block", "PATCH", f"{base}/blocks/{uuid(1)}", change, headers=edit(block["properties"]["version"])
    )
    facts = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 4, "uphill_bearing_deg": 0}
    ask("preview_rows", "POST", f"{base}/preview-rows", {"geometry": ring(west, south), **facts})
    rows = {"headland_m": 4, "uphill_bearing_deg": 0}
    laid = ask("lay_rows", "POST", f"{base}/blocks/{uuid(1)}/rows", rows, headers=edit(told["properties"]["version"]))
    line = {"type": "LineString", "coordinates": [[west + 0.0003, south - 0.001], [west + 0.0003, south + 0.001]]}
    split = {"line": line, "parts": [{"name": "Lower Flat"}, {"name": "Lower Flat East"}]}
    ask("split_block", "POST", f"{base}/blocks/{uuid(1)}/split", split, headers=edit(laid["version"]))
    spare = {**new, "id": uuid(2), "properties": {"block": "Spare"}, "geometry": ring(west - 0.002, south)}
    version = client.post(f"{base}/blocks", json=spare).json()["features"][0]["properties"]["version"]
    ask("remove_block", "DELETE", f"{base}/blocks/{uuid(2)}", headers=edit(version))
    ask("undo", "POST", f"{base}/undo", {"act": made["remove_block"]["told"]["act"]})
    ask("list_acts", "GET", f"{base}/history")
    ask("show_year_line", "GET", f"{base}/year-line")
    ask("list_keep_outs", "GET", f"{base}/keep-outs")
    pond = {"name": "pond", "kind": "water", "setback_m": 20}
    keep = {"type": "Feature", "id": uuid(3), "properties": pond, "geometry": ring(west - 0.003, south, 0.0003)}
    ask("add_keep_outs", "POST", f"{base}/keep-outs", keep)
    seen = ask("show_keep_out", "GET", f"{base}/keep-outs/{uuid(3)}")["properties"]["version"]
    wider = {"type": "Feature", "properties": {"setback_m": 30}}
    seen = ask("change_keep_out", "PATCH", f"{base}/keep-outs/{uuid(3)}", wider, headers=edit(seen))["properties"][
        "version"
    ]
    ask("remove_keep_out", "DELETE", f"{base}/keep-outs/{uuid(3)}", headers=edit(seen))
    south_west, south_east = made["split_block"]["told"]["features"]
    versions = [part["properties"]["version"] for part in (south_west, south_east)]
    again = {"uphill_bearing_deg": 10}
    version = ask(
        "renumber_block", "POST", f"{base}/blocks/{south_west['id']}/renumber", again, headers=edit(versions[0])
    )["version"]
    one = {"other": south_east["id"], "other_version": versions[1], "name": "Lower Flat"}
    ask("merge_blocks", "POST", f"{base}/blocks/{south_west['id']}/merge", one, headers=edit(version))
    slope = {"type": "Feature", "id": uuid(11), "properties": {"block": "Slope"}, "geometry": ring(west, south - 0.001)}
    version = client.post(f"{base}/blocks", json=slope).json()["features"][0]["properties"]["version"]
    bent = [[west - 0.0001, south - 0.0008], [west + 0.0003, south - 0.0007], [west + 0.0007, south - 0.0008]]
    line = {"line": {"type": "LineString", "coordinates": bent}, "row_spacing_m": 7, "tree_spacing_m": 5}
    rest = {"headland_m": 4, "uphill_bearing_deg": 0}
    ask("follow_line", "POST", f"{base}/blocks/{uuid(11)}/follow-line", {**line, **rest}, headers=edit(version))
    standing = client.get(f"{base}/trees").json()
    blocks = standing["columns"]["block"]
    young = [tree for tree, block in zip(standing["columns"]["tree"], blocks, strict=True)
             if standing["blocks"][block] == "Slope"][:2]  # fmt: skip
    ask("retire_trees", "POST", f"{base}/trees/retire", {"trees": young[:1], "on": "2026-01-05"})
    planted = {"plants": [{"plant": uuid(12), "instead_of": young[1]}], "on": "2026-01-05", "canopy_height_m": 0.8}
    ask("replant_trees", "POST", f"{base}/trees/replant", planted)
    ask("show_label", "GET", f"{base}/labels?label=Slope/1/1")
    ask("list_points", "GET", f"{base}/points")
    gate = {"name": "low gate", "kind": "gate"}
    at = {"type": "Point", "coordinates": [west, south]}
    ask("add_points", "POST", f"{base}/points", {"type": "Feature", "id": uuid(10), "properties": gate, "geometry": at})
    seen = ask("show_point", "GET", f"{base}/points/{uuid(10)}")["properties"]["version"]
    renamed = {"type": "Feature", "properties": {"name": "bottom gate"}}
    told = ask("change_point", "PATCH", f"{base}/points/{uuid(10)}", renamed, headers=edit(seen))
    ask("remove_point", "DELETE", f"{base}/points/{uuid(10)}", headers=edit(told["properties"]["version"]))
    ask("list_rows", "GET", f"{base}/rows")
    trees = ask("list_trees", "GET", f"{base}/trees")
    walks = ask("list_walks", "GET", f"{base}/walks")["walks"]
    ask("add_walk", "POST", f"{base}/walks", {"walk": uuid(4), "date": walks[-1]["date"], "name": "evening"})
    tree = trees["columns"]["tree"][0]
    count = {"count": uuid(5), "tree": tree, "time": "2025-12-02T06:30:00Z", "taps": 3, "nymphs": 4, "adults": 1,
             "wing_buds": "some", "reason": "planned", "catch": {"spider": 2}}  # fmt: skip
    ask("record_counts", "POST", f"{base}/walks/{uuid(4)}/counts", {"counts": [count]})
    plan_walk_examples(ask, send, base)
    ask("list_counts", "GET", f"{base}/walks/{uuid(4)}/counts")
    last = f"?walk={walks[-1]['walk']}"
    ask("show_pressure", "GET", f"{base}/pressure{last}")
    ask("show_summary", "GET", f"{base}/pressure/summary{last}")
    ask("show_next", "GET", f"{base}/pressure/next{last}&trees=5")
    ask("show_change", "GET", f"{base}/pressure/change{last}")
    ask("show_why", "GET", f"{base}/pressure/trees/{tree}{last}")
    ask("list_facts", "GET", f"{base}/facts")
    form = ask("show_facts", "GET", f"{base}/facts/threshold")
    ask("change_facts", "PATCH", f"{base}/facts/threshold", {"per_beat": 4}, headers=edit(form["version"]))
    ask("show_options", "GET", f"{base}/options{last}")
    zone = {"zone": uuid(6), "replaces": None, "walk": walks[-1]["walk"]}
    version = ask("make_zone", "POST", f"{base}/zones", zone)["version"]
    ask("list_zones", "GET", f"{base}/zones")
    kept = ask("show_zone", "GET", f"{base}/zones/{uuid(6)}")
    dropped = {"zone": uuid(7), "drop": [kept["trees"]["columns"]["tree"][0]]}
    version = ask("edit_zone", "POST", f"{base}/zones/{uuid(6)}/edits", dropped, headers=edit(version))["version"]
    version = ask("mix_zone", "POST", f"{base}/zones/{uuid(7)}/mix", headers=edit(version))["version"]
    ask("freeze_zone", "POST", f"{base}/zones/{uuid(7)}/freeze", headers=edit(version))
    send("import_facts", f"{base}/imports/facts", data.path("demo", "grower.json"))
    send("import_counts", f"{base}/imports/counts", data.path("demo", "walk-1.csv"), walk="walk 1")
    sward_examples(ask, send, base, show["bounds"])
    ask("make_demo", "POST", "/api/demo")
    place = {"name": "Home grove", "longitude": show["bounds"][0], "latitude": show["bounds"][1]}
    rest = {"time_zone": "Atlantic/St_Helena", "season_start": "07-01", "currency": "XTS"}
    empty = ask("create_grove", "POST", "/api/groves", {**place, **rest})
    there = f"/api/groves/{empty['grove']}"
    send("import_outlines", f"{there}/imports/outlines", data.path("demo", "outlines.geojson"))
    send("import_keep_outs", f"{there}/imports/keep-outs", data.path("demo", "keep-outs.geojson"))
    send("import_trees", f"{there}/imports/trees", data.path("demo", "trees.csv"))
    send("import_dem", f"{there}/imports/dem", data.path("demo", "hill.tif"))
    send("import_survey", f"{there}/imports/survey", data.path("demo", "survey.csv"))
    send("import_resurvey", f"{there}/imports/resurvey", data.path("demo", "survey.csv"))
    send("import_points", f"{there}/imports/points", data.path("demo", "points.geojson"))
    with tempfile.TemporaryDirectory() as folder:
        measured = Path(folder) / "heights.csv"
        columns = client.get(f"{there}/trees").json()["columns"]
        figures = zip(columns["longitude"], columns["latitude"], columns["elevation_m"], strict=True)
        lines = [f"{x},{y},{z}" for x, y, z in figures]
        measured.write_text("\n".join(["longitude,latitude,elevation_m", *lines[:40]]))
        send("import_heights", f"{there}/imports/heights", measured)
    device = {
        "device": uuid(8),
        "name": "my phone",
        "role": "helper",
        "paired": "2026-02-03T06:30:00+00:00",
        "revoked": None,
    }
    made["list_devices"] = {"told": {"devices": [device]}}
    made["shut_out_device"] = {"told": {"devices": [{**device, "revoked": "2026-02-04T06:30:00+00:00"}]}}
    invited = {"code": "ABCD-EFGH-JKMN", "role": "helper", "address": "https://ann-laptop.local:8766/"}
    made["invite_device"] = {"sent": {"role": "helper"}, "told": invited}
    made["pair_device"] = {
        "sent": {"code": "ABCD-EFGH-JKMN", "name": "my phone"},
        "told": {"device": uuid(8), "name": "my phone", "role": "helper", "grove": uuid(9), "token": "told once"},
    }
    return made


def sward_examples(ask: Any, send: Any, base: str, bounds: list[float]) -> None:
    """Ask everything of the sward once."""
    ask("show_sward", "GET", f"{base}/sward")
    ask("show_floor", "GET", f"{base}/sward/floor")
    ask("show_front", "GET", f"{base}/sward/front")
    form = ask("show_sward_settings", "GET", f"{base}/sward/settings")
    ask("change_sward_settings", "PATCH", f"{base}/sward/settings", {"level": 0.5},
        headers={"If-Match": f'"{form["version"]}"'})  # fmt: skip
    ask("list_cover_surveys", "GET", f"{base}/cover-surveys")
    ask("add_cover_survey", "POST", f"{base}/cover-surveys", {"survey": uuid(40), "date": "2026-01-05"})
    noted = {"grass": 22, "dead_grass": 6, "litter": 5, "bare": 7}
    look = {"look": uuid(41), "block": "Windmill", "row": 2, "position": 3, "method": "points", "noted": noted}
    ask("record_looks", "POST", f"{base}/cover-surveys/{uuid(40)}/looks", {"looks": [look]})
    ask("list_looks", "GET", f"{base}/cover-surveys/{uuid(40)}/looks")
    send("import_cover", f"{base}/imports/cover", data.path("demo", "cover.csv"))
    send("import_picture", f"{base}/imports/picture", data.path("demo", "picture-2025.tif"), date="2025-09-06")
    outlines = data.path("demo", "outlines.geojson")
    send("import_grass", f"{base}/imports/grass", outlines, accuracy_m=3, date="2025-09-06")
    ask("show_slashing", "GET", f"{base}/slashing?on=2025-12-02")
    ask("list_seed_checks", "GET", f"{base}/seed-checks")
    check = {"check": uuid(42), "date": "2025-12-01", "block": "Windmill", "grass": "Poa sieberiana", "heads": 40,
             "shed": 34}  # fmt: skip
    ask("add_seed_checks", "POST", f"{base}/seed-checks", {"checks": [check]})
    slash = {"slash": uuid(43), "date": "2025-12-02", "block": "Windmill", "height_cm": 12, "refuge": True}
    ask("log_slash", "POST", f"{base}/slashes", slash)
    ask("list_slashes", "GET", f"{base}/slashes")
    seen = {"patch": "by the gate", "grass": "Cenchrus clandestinus", "date": "2026-01-05", "area_m2": 12}
    at = {"type": "Point", "coordinates": bounds[:2]}
    pin = {"type": "Feature", "id": uuid(44), "properties": seen, "geometry": at}
    ask("pin_running_grass", "POST", f"{base}/running-grasses", pin)
    ask("list_running_grasses", "GET", f"{base}/running-grasses")


def main() -> None:
    """Write the file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.gpkg"
        build_demo(path)
        settings = Settings(groves=(path,), new_grove=Path(folder) / "home.gpkg", hosts=("testserver",))
        with TestClient(create_app(settings)) as client:
            made = collect(client)
    lines = [f"{json.dumps(name)}: {json.dumps(made[name], ensure_ascii=False)}" for name in sorted(made)]
    examples.FILE.write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")


if __name__ == "__main__":
    main()
