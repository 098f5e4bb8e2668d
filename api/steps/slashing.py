"""When to slash: seed-head checks and slashes kept, readiness by part of the grove, running grasses followed."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely

import data
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.overview import today
from api.steps.sward import settings_of
from api.store.refusals import Conflict
from gridmap import sward
from gridmap.crs import to_grove, to_lonlat
from gridmap.errors import InputRefused
from gridmap.exchange.cover import read_seed_checks
from gridmap.sward import SwardSettings
from gridmap.words import date_words

#: Of the checks that a file names without a UUID, so that the same file read twice is stored once.
_CHECKS: Final = uuid.UUID("c3f0a7de-0d7b-4a6e-9d24-b2b8a3f5d001")


def grasses() -> dict[str, Any]:
    """Return the reference table of grasses, with its sources, day read and licence."""
    return json.loads(data.path("reference", "grasses.json").read_text("utf-8"))


def part_of(line: Mapping[Any, Any]) -> str:
    """Name a part of the grove in words.

    Examples
    --------
    >>> part_of({"block": "Long Bank", "from_row": 1, "to_row": 4}), part_of({"block": "Long Bank", "from_row": None})
    ('Long Bank, rows 1 to 4', 'Long Bank')
    """
    first, last = line.get("from_row"), line.get("to_row")
    if first is None or last is None or pd.isna(first):
        return str(line["block"])
    return f"{line['block']}, row {first}" if first == last else f"{line['block']}, rows {first} to {last}"


def set_sward(where: Path, typed: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Keep what the grower typed of the sward; what is left out stays, None takes a field back."""
    if not typed:
        raise InputRefused("nothing was typed for the sward", "at least one figure must be given", "see --help")
    with open_grove(where) as grove:
        held = {**(grove.setting("sward") or {}), **typed}
        values = SwardSettings.from_dict(held).to_dict()
        grove.set_setting("sward", values, who=who)
    shown = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in values.items() if value is not None)
    return Outcome(said=(f"Kept for the sward: {shown}.",), figures={"sward": values})


def sward_form(where: Path) -> dict[str, Any]:
    """Return what was typed of the sward, with what each field asks for, and its version."""
    with open_grove(where, read_only=True) as grove:
        values, version = settings_of(grove).to_dict(), grove.version("setting", "sward")
    fields = [
        {"field": item.name, "words": item.metadata["words"], "unit": item.metadata["unit"]}
        for item in dataclasses.fields(SwardSettings)
    ]
    return plain({"values": values, "fields": fields, "version": str(version)})


def checks_table(where: Path) -> list[dict[str, Any]]:
    """Return every seed-head check with its part of the grove in words, oldest first."""
    with open_grove(where, read_only=True) as grove:
        made = grove.seed_checks()
    return plain([{**line, "part": part_of(line)} for line in made.to_dict("records")])


def slashes_table(where: Path) -> list[dict[str, Any]]:
    """Return the log of slashing with each part of the grove in words, oldest first."""
    with open_grove(where, read_only=True) as grove:
        made = grove.slashes()
    return plain([{**line, "part": part_of(line)} for line in made.to_dict("records")])


def add_seed_checks(where: Path, given: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store seed-head checks, all or none, each once."""
    with open_grove(where) as grove:
        try:
            stored = grove.add_seed_checks(pd.DataFrame(list(given), dtype=object), who=who)
        except InputRefused as refused:
            raise _conflict(refused) from None
        name = grove.grove.name
    return Outcome(said=(f"{stored.new} seed-head checks kept for {name}.",),
                   figures={"new": stored.new, "already": stored.already})  # fmt: skip


def import_seed_checks(where: Path, file: Path, *, who: str = "grower") -> Outcome:
    """Read seed-head checks from a CSV, all or none; the same file read twice is stored once."""
    with open_grove(where) as grove:
        made = read_seed_checks(file)
        lines = [
            {**line, "check": str(uuid.uuid5(_CHECKS, f"{grove.grove.uuid}/{'/'.join(map(str, line.values()))}"))}
            for line in made.to_dict("records")
        ]
        stored = grove.add_seed_checks(pd.DataFrame(lines, dtype=object), who=who, what=f"import {file.name}")
    return Outcome(said=(f"{stored.new} seed-head checks stored, {stored.already} were there already.",),
                   figures={"new": stored.new, "already": stored.already})  # fmt: skip


def log_slash(where: Path, given: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Store a slash, once; with ``refuge`` every other row is left, the other way round than last time."""
    with open_grove(where) as grove:
        line = {name: value for name, value in given.items() if name != "refuge"}
        if given.get("refuge") and not line.get("left_rows"):
            line["left_rows"] = _refuge(grove.places(), grove.slashes(), line)
        try:
            stored = grove.add_slashes(pd.DataFrame([line], dtype=object), who=who)
        except InputRefused as refused:
            raise _conflict(refused) from None
    left = line.get("left_rows") or []
    kept = f" Left standing: rows {', '.join(map(str, left))}." if left else " No row was left standing."
    return Outcome(said=(f"Slash of {part_of(line)} kept.{kept}",),
                   figures={"new": stored.new, "left_rows": left})  # fmt: skip


def _refuge(places: pd.DataFrame, slashes: pd.DataFrame, line: Mapping[str, Any]) -> list[int]:
    rows = places[places["block"] == line["block"]][["block", "row"]].drop_duplicates()
    first, last = line.get("from_row"), line.get("to_row")
    if first is not None and last is not None:
        rows = rows[rows["row"].between(first, last)]
    before = slashes[slashes["block"] == line["block"]]
    left = [(line["block"], row) for row in before["left_rows"].iloc[-1]] if len(before) else []
    told = sward.refuge_rows(rows, left_last_time=left)
    return [int(row) for row in told.loc[told["leave"], "row"]]


def pin_running(where: Path, given: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Store where a running grass was seen, with the area paced round; longitude and latitude are WGS 84."""
    with open_grove(where) as grove:
        point = gpd.GeoDataFrame(
            [{name: value for name, value in given.items() if name not in ("longitude", "latitude")}],
            geometry=[shapely.Point(given["longitude"], given["latitude"])], crs=4326,
        )  # fmt: skip
        placed, _ = to_grove(point, grove.grove.crs_code, near=grove.blocks().total_bounds)
        try:
            stored = grove.add_running_grasses(placed, who=who)
        except InputRefused as refused:
            raise _conflict(refused) from None
    return Outcome(said=(f"Patch {given['patch']!r} kept.",), figures={"new": stored.new})


def _conflict(refused: InputRefused) -> InputRefused | Conflict:
    known = "stored already" in refused.what
    return Conflict(refused.what, refused.rule, refused.remedy) if known else refused


def slashing_of(where: Path, *, on: str | None = None) -> dict[str, Any]:
    """Return readiness by part and grass, what speaks against a day, the log, and running grasses, as plain values."""
    with open_grove(where, read_only=True) as grove:
        settings, made, slashes = settings_of(grove), grove.seed_checks(), grove.slashes()
        running, here = grove.running_grasses(), today(grove)
        rows = grove.places()[["block", "row"]].drop_duplicates()
    day = here if on is None else _day(on)
    reference = grasses()
    known = pd.DataFrame(reference["grasses"])
    missing = []
    parts, seed = pd.DataFrame(), pd.DataFrame()
    if settings.shed_enough is None:
        missing.append("the share of seed heads that must have shed (sward: shed_enough)")
    elif len(made):
        # A check says nothing of this year's seed after a slash, nor a year later
        fresh = made.assign(part=[part_of(line) for line in made.to_dict("records")])
        fresh = fresh[(fresh["date"] <= day.isoformat()) & (fresh["date"] > _after(fresh, slashes, day))]
        seed = sward.seed_readiness(fresh, known, shed_enough=settings.shed_enough)
        parts = sward.part_readiness(seed)
    left = [(line["block"], row) for line in slashes.to_dict("records") for row in line["left_rows"]]
    grouped = {name: group["months"] for name, group in _months(known).items()}
    return plain({
        "on": day, "parts": parts.to_dict("records"), "grasses": seed.to_dict("records"),
        "against": sward.against_slashing(day, settings.to_dict()),
        "groups": [{"group": name, **reference["groups"][name], "flowering_months": months}
                   for name, months in grouped.items()],
        "look_alikes": known[known["kind"] == "declared"][["grass", "common", "looks_like", "tell_apart", "source"]]
        .to_dict("records"),
        "known_grasses": known[known["kind"] != "declared"][["grass", "common", "kind", "group"]]
        .where(known["group"].notna(), None).to_dict("records"),
        "refuge": _next_refuge(rows, left).to_dict("records"), "slashes": slashes.to_dict("records"),
        "running": sward.runner_growth(pd.DataFrame(running)).to_dict("records"), "missing": missing,
        "source": {name: reference[name] for name in ("read_on", "licence", "note")},
    })  # fmt: skip


def _next_refuge(rows: pd.DataFrame, left: list[tuple[str, int]]) -> pd.DataFrame:
    told = sward.refuge_rows(rows, left_last_time=left)
    leave = told[told["leave"]].groupby("block")["row"].apply(list)
    return leave.rename("rows").reset_index() if len(leave) else pd.DataFrame(columns=["block", "rows"])


def _months(known: pd.DataFrame) -> dict[str, dict[str, list[int]]]:
    """Return the months in which heads of each group were reported."""
    native = known[known["kind"] == "native"]
    return {
        str(group): {"months": sorted({month for months in of["flowering_months"] for month in months})}
        for group, of in native.groupby("group")
    }


def _after(made: pd.DataFrame, slashes: pd.DataFrame, day: dt.date) -> pd.Series[str]:
    """Return, for each check, the day before which it is stale: a year back, or the last slash of its block."""
    last = slashes[slashes["date"] <= day.isoformat()].groupby("block")["date"].max()
    year = (day - dt.timedelta(days=365)).isoformat()
    return pd.Series([max(year, last.get(block, "")) for block in made["block"]], index=made.index, dtype="object")


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"the day is {text!r}", "it must be a day such as 2026-02-03") from None


def running_layer(where: Path) -> Any:
    """Return every sighting of a running grass as GeoJSON, oldest first, with the trend of its patch."""
    with open_grove(where, read_only=True) as grove:
        running = grove.running_grasses()
    trend = sward.runner_growth(pd.DataFrame(running)).set_index("patch")["trend"]
    lonlat = to_lonlat(running)
    lines = pd.DataFrame(lonlat[["patch", "grass", "date", "area_m2", "climbs", "note"]]).to_dict("records")
    features = [
        {"type": "Feature", "id": sighting, "geometry": shapely.geometry.mapping(shapely.set_precision(shape, 1e-7)),
         "properties": {**line, "trend": trend[line["patch"]]}}
        for sighting, shape, line in zip(lonlat["sighting"], lonlat.geometry, lines, strict=True)
    ]  # fmt: skip
    return plain({"type": "FeatureCollection", "features": features})


def tell_slashing(where: Path, *, on: str | None = None) -> Outcome:
    """Say when to slash, in words, for a person."""
    told = slashing_of(where, on=on)
    day = date_words(dt.date.fromisoformat(told["on"]))
    said = [f"Slashing on {day}:"]
    parts = [f"{part['part']}: {part['verdict']}; {part['why'].removesuffix('.')}." for part in told["parts"]]
    said += parts or ["No seed-head check of this season yet."]
    said += [f"Missing: {thing}." for thing in told["missing"]]
    tables = {}
    if told["grasses"]:
        seed = pd.DataFrame(told["grasses"])
        tables["Seed heads"] = pd.DataFrame({
            "part": seed["part"], "grass": seed["grass"].replace("", "unsure"), "grows in": seed["group"],
            "heads shed": [f"{row.shed} of {row.heads}" for row in seed.itertuples()], "verdict": seed["verdict"],
            "would be lost %": (100 * seed["would_lose"].astype(float)).round(),
        })  # fmt: skip
    alikes = pd.DataFrame(told["look_alikes"])
    alikes["looks_like"] = [", ".join(names) for names in alikes["looks_like"]]
    tables["Declared weeds that pass for native tussocks"] = alikes[["grass", "common", "looks_like", "tell_apart"]]
    if told["running"]:
        tables["Running grasses"] = pd.DataFrame(told["running"])
    return Outcome(said=tuple(said), tables=tables, cautions=tuple(told["against"]), figures=told)
