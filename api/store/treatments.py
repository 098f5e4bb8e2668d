"""Treatments and what was written down of them: entries are added, never changed; a correction names its entry."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, insert, select

from api.store.ground import given_uuid
from api.store.history import Act
from api.store.info import words
from api.store.refusals import NotThere
from api.store.settings import to_json
from api.store.tables import CHECK_TREE, PLANT, TREATMENT, TREATMENT_ENTRY, WEATHER, ZONE_TREE
from api.store.times import now, to_milliseconds
from gridmap import checks
from gridmap.errors import InputRefused

#: What an entry can be. A field is a part of the record; the others are what happens while spraying.
KINDS: Final = ("field", "start", "wind", "run", "load", "stop", "resume", "finish", "leftover", "note", "correction")


@dataclass(frozen=True)
class Entry:
    """One line of a record: what (content), when it happened (at) and when it was written down (created), by whom."""

    uuid: str
    kind: str
    at: datetime
    content: dict[str, Any]
    corrects: str | None
    who: str
    created: datetime


@dataclass(frozen=True)
class StoredTreatment:
    """A treatment with its entries, oldest first; ``facts`` are label, sprayer and profile as they stood."""

    uuid: str
    zone: str
    name: str
    profile: str
    facts: dict[str, Any]
    created: datetime
    entries: tuple[Entry, ...]


def add_treatment(
    connection: Connection, *, zone: str, name: str, profile: str, facts: Mapping[str, Any],
    treatment: str | None = None,
) -> str:
    """Store a treatment of a zone; return its UUID. Sent again, it is stored once."""
    made = given_uuid(treatment)
    if connection.execute(select(TREATMENT.c.uuid).where(TREATMENT.c.uuid == made)).first():
        return made
    row = {"uuid": made, "zone_uuid": zone, "name": words(name, "name of the treatment"), "profile": profile,
           "facts": to_json(dict(facts), "facts of the treatment"), "created": now()}
    connection.execute(insert(TREATMENT).values(row))
    return made


def add_entries(
    connection: Connection, treatment: str, entries: Iterable[Mapping[str, Any]], *, who: str
) -> dict[str, int]:
    """Store entries (uuid if known, kind, at, content, corrects); one that is there already is left as it is.

    Raises
    ------
    InputRefused
        A kind that is none, a UUID that holds something else, a correction of what is not there. Nothing was stored.
    """
    if not connection.execute(select(TREATMENT.c.uuid).where(TREATMENT.c.uuid == treatment)).first():
        raise NotThere(f"there is no treatment {treatment}")
    held = {entry.uuid: entry for entry in read_entries(connection, treatment)}
    rows: list[dict[str, Any]] = []
    already = 0
    for given in entries:
        row = _row(given, treatment, who)
        same = held.get(row["uuid"])
        if same is not None:
            if (same.kind, same.content, same.corrects) != (row["kind"], json.loads(row["content"]), row["corrects"]):
                raise InputRefused(f"entry {row['uuid']} is stored with other content", "an entry is never changed",
                                   "write a correction that names it")
            already += 1
            continue
        known = {*held, *(one["uuid"] for one in rows)}
        if row["corrects"] is not None and row["corrects"] not in known:
            raise InputRefused(f"there is no entry {row['corrects']} to correct", "a correction names an entry of the "
                               "same treatment")
        if row["uuid"] not in {one["uuid"] for one in rows}:
            rows.append(row)
    if rows:
        connection.execute(insert(TREATMENT_ENTRY), rows)
    return {"stored": len(rows), "already": already}


def read_entries(connection: Connection, treatment: str) -> list[Entry]:
    """Return the entries of a treatment in the order in which they were written down."""
    found = connection.execute(
        select(TREATMENT_ENTRY).where(TREATMENT_ENTRY.c.treatment_uuid == treatment).order_by(TREATMENT_ENTRY.c.id)
    ).mappings()
    return [Entry(row["uuid"], row["kind"], row["at"], json.loads(row["content"]), row["corrects"], row["who"],
                  row["created"]) for row in found]


def read_treatments(connection: Connection, treatment: str | None = None) -> list[StoredTreatment]:
    """Return all treatments, oldest first, or the one that is named."""
    query = select(TREATMENT).order_by(TREATMENT.c.id)
    if treatment is not None:
        query = query.where(TREATMENT.c.uuid == treatment)
    found = connection.execute(query).mappings().all()
    if treatment is not None and not found:
        raise NotThere(f"there is no treatment {treatment}")
    return [StoredTreatment(row["uuid"], row["zone_uuid"], row["name"], row["profile"], json.loads(row["facts"]),
                            row["created"], tuple(read_entries(connection, row["uuid"]))) for row in found]


def set_check_trees(act: Act, zone: str, trees: Iterable[str]) -> None:
    """Let these trees of a zone stay unsprayed, in place of those named before."""
    wanted = list(dict.fromkeys(trees))
    members = set(act.connection.execute(select(ZONE_TREE.c.plant_uuid).where(ZONE_TREE.c.zone_uuid == zone)).scalars())
    for tree in wanted:
        if tree not in members:
            raise InputRefused(f"tree {tree} is not in the zone", "a check tree is a tree of the zone, left unsprayed")
    found = act.connection.execute(
        select(CHECK_TREE.c.plant_uuid, CHECK_TREE.c.uuid).where(CHECK_TREE.c.zone_uuid == zone))
    held = {row.plant_uuid: row.uuid for row in found}
    for tree, row in held.items():
        if tree not in wanted:
            act.delete(CHECK_TREE, row)
    act.insert(CHECK_TREE, [{"uuid": str(uuid.uuid4()), "zone_uuid": zone, "plant_uuid": tree}
                            for tree in wanted if tree not in held])


def read_check_trees(connection: Connection, zone: str) -> list[str]:
    """Return the trees (UUIDs) of a zone that stay unsprayed."""
    return list(connection.execute(
        select(CHECK_TREE.c.plant_uuid).join(PLANT, PLANT.c.uuid == CHECK_TREE.c.plant_uuid)
        .where(CHECK_TREE.c.zone_uuid == zone).order_by(CHECK_TREE.c.id)).scalars())


def set_weather(act: Act, name: str, hours: pd.DataFrame, told: Mapping[str, Any]) -> int:
    """Keep a weather table under its name; hours of it that are there already are replaced. Return how many it has."""
    name = words(name, "name of the weather table")
    row = act.connection.execute(select(WEATHER).where(WEATHER.c.name == name)).mappings().first()
    table = hours.assign(time=hours["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
    if row is not None:
        old = _hours(row["hours"])
        old = old[~old["time"].isin(hours["time"])]
        table = pd.concat([old.assign(time=old["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")), table]).sort_values("time")
    values = {"told": to_json(dict(told), "weather"), "hours": table.to_json(orient="split", index=False),
              "read": now()}
    if row is None:
        act.insert(WEATHER, [{"uuid": str(uuid.uuid4()), "name": name, **values}])
    else:
        act.update(WEATHER, row["uuid"], values)
    return len(table)


def read_weather(connection: Connection, name: str | None = None) -> tuple[str, pd.DataFrame, dict[str, Any]] | None:
    """Return name, hours (time in UTC) and what was told of a weather table; the latest read when none is named."""
    query = select(WEATHER).order_by(WEATHER.c.read.desc(), WEATHER.c.id.desc())
    if name is not None:
        query = query.where(WEATHER.c.name == name)
    row = connection.execute(query).mappings().first()
    if row is None:
        if name is not None:
            raise NotThere(f"there is no weather table {name!r}")
        return None
    return row["name"], _hours(row["hours"]), json.loads(row["told"])


def _hours(text: str) -> pd.DataFrame:
    """Read hours back as they were stored."""
    held = json.loads(text)
    frame = pd.DataFrame(held["data"], columns=held["columns"])
    frame["time"] = pd.to_datetime(frame["time"], utc=True)
    return frame.astype({name: "float64" for name in frame.columns if name != "time"})


def _row(given: Mapping[str, Any], treatment: str, who: str) -> dict[str, Any]:
    """Check one entry."""
    kind = checks.one_of(given.get("kind"), KINDS, "kind of an entry")
    at = given.get("at")
    if not isinstance(at, datetime):
        raise InputRefused(f"time of an entry is {at!r}", "it must be a time with its offset")
    corrects = given.get("corrects")
    if (kind == "correction") != (corrects is not None):
        raise InputRefused(f"an entry of kind {kind} corrects {corrects}",
                           "a correction, and nothing else, names an entry")
    return {"uuid": given_uuid(given.get("uuid")), "treatment_uuid": treatment, "kind": kind, "at": to_milliseconds(at),
            "content": to_json(dict(given.get("content") or {}), "entry"), "corrects": corrects, "who": who,
            "created": now()}
