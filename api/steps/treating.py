"""While spraying and after: the treatment begun, what happens written down, and the record as the law wants it."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

import data
from api.steps.facts import Facts, facts_of
from api.steps.outcome import Outcome, plain
from api.steps.record_fields import OF_THE_GROVE, effective, record_of, shown_fields
from api.steps.record_input import read_values
from api.steps.treatment import mix_zone
from api.store import Grove, Zone, open_grove
from api.store.refusals import NotThere
from api.store.treatments import StoredTreatment
from gridmap import treatment
from gridmap.checks import one_of
from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import END_USES, Application, Label, Progress, RecordProfile, judge_label, read_profiles

#: What the grower notes of the grove that terms of a label are judged by (setting "season").
SEASON: Final = "season"
_EVENTS: Final = ("run", "stop", "resume", "load", "finish", "leftover")


def profiles() -> dict[str, RecordProfile]:
    """Return the record profiles that gridmap carries."""
    return read_profiles(json.loads(data.path("reference", "spray_record_profiles.json").read_text("utf-8")))


def start_treatment(
    path: Path, *, zone: str | None = None, name: str | None = None, profile: str | None = None, on: str | None = None,
    treatment_uuid: str | None = None, who: str = "grower",
) -> Outcome:
    """Begin a treatment of a zone: the zone and the facts are frozen as they stand, and the label's terms are judged.

    Parameters
    ----------
    path : Path
        Grove.
    zone : str, optional
        UUID; the newest one when left out.
    name : str, optional
        What it is called; its day when left out.
    profile : str, optional
        Record profile; the one used last when left out (asked once).
    on : str, optional
        Local day, YYYY-MM-DD; today when left out.
    treatment_uuid : str, optional
        The maker's own UUID, so that it is stored once.
    who : str
        Who acts.
    """
    with open_grove(path) as grove:
        kept = grove.zone(zone)
        if not len(kept.trees):
            raise InputRefused("the zone holds no tree", "there is nothing to treat", "make a zone first")
        day = _day(on, ZoneInfo(grove.grove.time_zone))
        chosen = _profile(grove, profile, who)
        facts = facts_of(grove.settings())
        found = label_findings(grove, kept, facts.label, day)
        grove.freeze_zone(kept.uuid, who=who, what="begin a treatment")
        typed = grove.settings()
        made = grove.add_treatment(
            zone=kept.uuid, name=name or f"treatment of {day.isoformat()}", profile=chosen.profile,
            facts={"label": typed.get("label", {}), "sprayer": typed.get("sprayer", {}), "day": day.isoformat(),
                   "findings": [vars(one) for one in found]},
            treatment=treatment_uuid)
    forbidden = treatment.forbids(found)
    said = [one.words for one in found if one.weight == "forbids"]
    said += ["Zone and water only: no product figure is given."] if forbidden else []
    said += [f"Begun: {name or day.isoformat()}, {len(kept.trees)} trees in {len(kept.runs)} runs. "
             f"Record as for {chosen.name}: within {chosen.complete_within_hours:g} hours, kept "
             f"{chosen.keep_years:g} years."]
    said += [one.words for one in found if one.weight != "forbids"]
    return Outcome(said=tuple(said), figures={"treatment": made, "zone": kept.uuid, "profile": chosen.profile,
                                              "findings": [vars(one) for one in found], "forbidden": forbidden},
                   cautions=(*treatment.cautions("drift"), *treatment.cautions("date", facts.label)))


def set_record_facts(path: Path, given: Mapping[str, str | None], *, who: str = "grower") -> Outcome:
    """Keep what stands in every record and what the label's terms are judged by; an empty value takes one back.

    Parameters
    ----------
    path : Path
        Grove.
    given : mapping
        profile, state, end_use, fields of `OF_THE_GROVE`; harvest.BLOCK and grazing.BLOCK with the planned local day.
    who : str
        For the history.
    """
    with open_grove(path) as grove:
        season = dict(grove.setting(SEASON) or {})
        blocks = set(grove.blocks()["block"])
        for name, value in given.items():
            kind, dot, block = name.partition(".")
            if dot and kind in ("harvest", "grazing"):
                if block not in blocks:
                    raise InputRefused(f"block is {block!r}", f"the grove has {', '.join(sorted(blocks))}")
                held = dict(season.get(kind, {}))
                held.pop(block, None)
                season[kind] = held if not value else {**held, block: _day(value, ZoneInfo("UTC")).isoformat()}
                continue
            one_of(name, ("profile", "state", "end_use", *OF_THE_GROVE), "what stands in every record")
            if name == "profile" and value:
                one_of(value, profiles(), "record profile")
            if name == "end_use" and value:
                one_of(value, END_USES, "end use")
            season[name] = value or None
        grove.set_setting(SEASON, season, who=who, what="set record facts")
    shown = "; ".join(f"{name} {value}" for name, value in season.items() if value)
    return Outcome(said=(f"Kept: {shown}.",), figures={SEASON: season})


def label_findings(grove: Grove, zone: Zone, label: Label, day: dt.date) -> tuple[treatment.Finding, ...]:
    """Judge the label's terms for the blocks of a zone on a day."""
    season = grove.setting(SEASON) or {}
    blocks = sorted(set(zone.runs["block"]))
    dates = {key: {block: dt.date.fromisoformat(value) for block, value in season.get(key, {}).items()}
             for key in ("harvest", "grazing")}
    return judge_label(label, str(label.product), on=day, blocks=blocks, state=season.get("state"),
                       end_use=season.get("end_use"), season=applications(grove, day), **dates)


def applications(grove: Grove, day: dt.date) -> list[Application]:
    """Return the applications recorded in the season of a day: what was really treated, block by block."""
    month, first = (int(part) for part in grove.grove.season_start.split("-"))
    start = dt.date(day.year, month, first)
    start = start if start <= day else dt.date(day.year - 1, month, first)
    found = []
    for stored in grove.treatments():
        done = progress_of(grove, stored)
        when = started_on(stored, ZoneInfo(grove.grove.time_zone))
        label = stored.facts.get("label") or {}
        if len(done.done) and start <= when <= day:
            found.append(Application(when, str(label.get("product")), str(label.get("mode_of_action") or ""),
                                     tuple(sorted(set(done.done["block"])))))
    return found


def write_down(
    path: Path, kind: str, content: Mapping[str, Any], *, treatment_uuid: str | None = None, at: str | None = None,
    corrects: str | None = None, entry: str | None = None, who: str = "grower",
) -> Outcome:
    """Write one thing down of a treatment, at once, with its time; what was written is corrected by a new entry.

    Parameters
    ----------
    path : Path
        Grove.
    kind : str
        One of `api.store.treatments.KINDS`.
    content : mapping
        What: run and litres; wind_km_per_h and wind_from; field and value; and so on.
    treatment_uuid : str, optional
        The newest when left out.
    at : str, optional
        When it happened, local unless it says its offset; now when left out.
    corrects, entry : str, optional
        Entry that is corrected; the maker's own UUID.
    who : str
        Who writes.
    """
    line = {"uuid": entry, "kind": kind, "at": at, "content": dict(content), "corrects": corrects}
    stored = write_down_all(path, [line], treatment_uuid=treatment_uuid, who=who)
    told = show_record(path, treatment_uuid=treatment_uuid)
    return Outcome(said=(f"Written down: {kind}.", *told.said), figures={**stored, **told.figures}, tables=told.tables)


def write_down_all(
    path: Path, lines: Sequence[Mapping[str, Any]], *, treatment_uuid: str | None = None, who: str = "grower"
) -> dict[str, int]:
    """Write several entries down, all or none; one that is there already is left as it is."""
    with open_grove(path) as grove:
        stored = treatment_of(grove, treatment_uuid)
        zone = ZoneInfo(grove.grove.time_zone)
        entries = [{**line, "at": _moment(line.get("at"), zone), "content": read_values(line.get("content") or {})}
                   for line in lines]
        # What can't be read back into a record is refused before anything is stored.
        progress_of(grove, stored, extra=entries)
        return grove.add_entries(stored.uuid, entries, who=who)


def show_record(path: Path, *, treatment_uuid: str | None = None, now: dt.datetime | None = None) -> Outcome:
    """Show a record: every field the profile asks for, what is missing, how long is left, how far the work has come."""
    with open_grove(path, read_only=True) as grove:
        stored = treatment_of(grove, treatment_uuid)
        zone = ZoneInfo(grove.grove.time_zone)
        done = progress_of(grove, stored)
        held = grove.zone(stored.zone)
        season = grove.setting(SEASON) or {}
        facts = Facts(**{**vars(facts_of(grove.settings())), "label": Label.from_dict(stored.facts.get("label") or {})})
        loads = _loads_left(grove, done, facts) if len(done.left) and len(done.done) else pd.DataFrame()
        ground = treated_ground(grove, held, done)
        values = record_of(stored, done, zone=zone, season=season, geometry=ground, crs=grove.crs)
    profile = profiles()[stored.profile]
    missing = treatment.missing_fields(values, profile)
    ended = next((one.at for one in reversed(stored.entries) if one.kind == "finish"), None)
    moment = now or dt.datetime.now(dt.UTC)
    left = treatment.left_words(treatment.time_left(ended or moment, moment, profile), missing)
    fields = shown_fields(values, profile)
    said = [f"{stored.name}: {len(done.done)} of {len(done.done) + len(done.left)} trees done.", left]
    if done.stopped:
        said.append(done.stopped)
    if len(done.left) and len(done.done):
        said.append(f"Left: {len(done.left)} trees in {done.left['run'].nunique()} runs.")
    if len(done.done) and math.isfinite(done.litres) and math.isfinite(done.planned_litres_per_tree):
        said.append(f"{done.litres_per_tree:.1f} L a tree used, {done.planned_litres_per_tree:.1f} planned.")
    tables = {"Record": fields}
    if len(loads):
        shown = ["load", "kind", "mix_l", "water_l", "product", "product_unit", "covers"]
        tables["Loads for what is left"] = loads[shown]
    figures = {
        "treatment": stored.uuid, "zone": stored.zone, "name": stored.name, "profile": profile.profile,
        "record": plain(values), "missing": list(missing), "hours_left": None if ended is None else
        treatment.time_left(ended, moment, profile).total_seconds() / 3600, "source": profile.source,
        "trees_done": len(done.done), "trees_left": len(done.left), "runs_done": list(done.runs_done),
        "runs_left": list(done.runs_left), "stopped": done.stopped, "litres": done.litres,
        "litres_per_tree": done.litres_per_tree, "planned_litres_per_tree": done.planned_litres_per_tree,
        "loads_left": plain(loads.to_dict("records")), "findings": stored.facts.get("findings", []),
        "entries": [plain({"entry": one.uuid, "kind": one.kind, "at": one.at, "content": one.content,
                           "corrects": one.corrects, "who": one.who, "written": one.created})
                    for one in stored.entries]}
    return Outcome(said=tuple(said), figures=figures, tables=tables, cautions=treatment.cautions("date", facts.label))


def progress_of(grove: Grove, stored: StoredTreatment, extra: Iterable[Mapping[str, Any]] = ()) -> Progress:
    """Work out how far a treatment has come, corrections laid over what they correct."""
    zone = grove.zone(stored.zone)
    trees = zone.trees[zone.trees["run"].notna() & (zone.trees["why"] != "dropped")]
    places = grove.trees(include_gone=True)[["tree", "block", "row", "position"]]
    order = trees.merge(places, on="tree", how="left").drop(columns="why").astype({"run": "int64"})
    order = order[~order["tree"].isin(grove.check_trees(stored.zone))]
    runs = zone.runs.set_index("run")
    order["litres"] = order["run"].map(runs["litres"] / runs["trees"])
    return treatment.progress(order, effective(stored, extra))


def treated_ground(grove: Grove, zone: Zone, done: Progress) -> BaseGeometry:
    """Return the part of a zone's outline whose trees are ticked off: a record may not claim what was not sprayed.

    Each tree stands for the ground nearer to it than to any other tree of the zone; the grove's CRS [m].
    """
    if done.left.empty and not grove.check_trees(zone.uuid):
        return zone.geometry
    members = grove.trees(include_gone=True)
    members = members[members["tree"].isin(set(zone.trees.loc[zone.trees["why"] != "dropped", "tree"]))]
    if done.done.empty:
        return shapely.MultiPolygon()
    own = [zone.geometry]
    if len(members) > 1:
        points = shapely.MultiPoint(members.geometry.to_list())
        own = list(shapely.get_parts(shapely.voronoi_polygons(points, extend_to=zone.geometry)))
    sprayed = members.loc[members["tree"].isin(set(done.done["tree"])), "geometry"].to_numpy()
    index = shapely.STRtree(own)
    _, hit = index.query(sprayed, predicate="intersects")
    return shapely.intersection(zone.geometry, shapely.union_all([own[i] for i in sorted(set(hit.tolist()))]))


def _loads_left(grove: Grove, done: Progress, facts: Facts) -> pd.DataFrame:
    """Plan the loads for what is left anew."""
    living = grove.trees()
    left = done.left[done.left["tree"].isin(living["tree"])]
    try:
        _, loads = mix_zone(left, living, grove.blocks(), facts)
    except InputMissing:
        return pd.DataFrame()
    return loads


def treatment_of(grove: Grove, treatment_uuid: str | None) -> StoredTreatment:
    """Return a treatment, the newest when none is named."""
    if treatment_uuid is not None:
        return grove.treatment(treatment_uuid)
    held = grove.treatments()
    if not held:
        raise NotThere("the grove has no treatment yet", None, "begin one first: gridmap start-treatment")
    return held[-1]


def started_on(stored: StoredTreatment, zone: ZoneInfo) -> dt.date:
    """Return the local day on which a treatment was begun, as written down; the planned one where it was not."""
    start = next((one["at"] for one in effective(stored) if one["kind"] == "start"), None)
    return dt.date.fromisoformat(str(stored.facts.get("day"))) if start is None else start.astimezone(zone).date()


def _profile(grove: Grove, name: str | None, who: str) -> RecordProfile:
    """Return the record profile, which is asked once."""
    known = profiles()
    season = dict(grove.setting(SEASON) or {})
    if name is None and season.get("profile") is None:
        raise InputMissing("it is not said where the record must satisfy the law", f"say one of {', '.join(known)}",
                           "it is asked once", missing=["the record profile of your region"])
    chosen = one_of(name or season["profile"], known, "record profile")
    if season.get("profile") != chosen:
        grove.set_setting(SEASON, {**season, "profile": chosen}, who=who)
    return known[chosen]


def _day(text: str | None, zone: ZoneInfo) -> dt.date:
    """Read a local day; today when none is given."""
    if text is None:
        return dt.datetime.now(zone).date()
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"the day is {text!r}", "it must be as 2026-11-03") from None


def _moment(given: object, zone: ZoneInfo) -> dt.datetime:
    """Read a time; without an offset it is the grove's own, now when none is given."""
    if given is None:
        return dt.datetime.now(dt.UTC)
    try:
        found = given if isinstance(given, dt.datetime) else dt.datetime.fromisoformat(str(given))
    except ValueError:
        raise InputRefused(f"the time is {given!r}", "it must be as 2026-11-03T18:30") from None
    return found.replace(tzinfo=zone) if found.tzinfo is None else found
