"""Write walks and counts: each once, however often a phone sends it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import pandas as pd
from sqlalchemy import select

from api.store.ground import day, given_uuid, missing_to_none, refuse_lines, whole
from api.store.history import Act, Row
from api.store.info import Stored, words
from api.store.tables import CATCH, COUNT, PLANT, WALK
from api.store.times import to_milliseconds, to_text
from gridmap import checks
from gridmap.errors import InputRefused

# The name space of the UUID that one group of one count's catch gets, so that sending it twice stores it once
_CATCH = uuid.UUID("0e5b8f46-3a3e-4c46-9c0c-9f6d2b0a7c11")
# SQLite took at most 999 values in a statement before 3.32
_AT_ONCE = 900


def add_walk(
    act: Act, *, on: object, name: str | None, observer: str | None, note: str | None, walk: str | None
) -> str:
    """Store a walk, or find the same walk there; return its UUID."""
    row: Row = {
        "uuid": given_uuid(walk),
        "date": day(on, "date of the walk"),
        "name": None if name is None else words(name, "name of the walk"),
        "observer": None if observer is None else words(observer, "observer"),
        "note": None if note is None else words(note, "note"),
    }
    if row["date"] is None:
        raise InputRefused("the walk has no date", None, "give the day on which it was walked")
    held = act.connection.execute(select(WALK).where(WALK.c.uuid == row["uuid"])).mappings().first()
    if held is None:
        act.insert(WALK, [row])
    elif {key: held[key] for key in row} != row:
        raise InputRefused(f"walk {row['uuid']} is stored already with other content: {_difference(dict(held), row)}")
    return str(row["uuid"])


def add_counts(act: Act, counts: pd.DataFrame, catch: pd.DataFrame | None) -> Stored:
    """Store new counts with their catch, all or nothing; say how many were there already."""
    checks.columns(counts, ["walk", "tree", "taps", "nymphs", "adults", "reason"], "counts")
    given, problems = _given(act, counts, catch)
    held = _held(act, list(given))
    new: list[Row] = []
    for count, (line, row) in given.items():
        if count not in held:
            new.append(row)
        elif held[count] != row:
            told = _difference(held[count], row)
            problems.append((line, f"count {count} is stored already with other content: {told}"))
    refuse_lines(sorted(problems), "counts")
    act.insert(COUNT, [{key: value for key, value in row.items() if key != "catch"} for row in new])
    act.insert(
        CATCH,
        [
            {
                "uuid": catch_uuid(row["uuid"], group),
                "count_uuid": row["uuid"],
                "group": group,
                "number": number,
            }
            for row in new
            for group, number in row["catch"].items()
        ],
    )
    return Stored(new=len(new), already=len(given) - len(new))


def _given(
    act: Act, counts: pd.DataFrame, catch: pd.DataFrame | None
) -> tuple[dict[str, tuple[int, Row]], list[tuple[int, str]]]:
    """Return every count that was given by its UUID, with its line, and what is wrong with the others."""
    walks = set(act.connection.execute(select(WALK.c.uuid)).scalars())
    named = sorted({str(tree) for tree in counts["tree"]})
    plants: set[str] = set()
    # Only those that are named: a phone that sends one count must not wait for thousands of trees to be read
    for start in range(0, len(named), _AT_ONCE):
        some = named[start : start + _AT_ONCE]
        plants.update(act.connection.execute(select(PLANT.c.uuid).where(PLANT.c.uuid.in_(some))).scalars())
    given: dict[str, tuple[int, Row]] = {}
    problems: list[tuple[int, str]] = []
    caught = caught_of(catch)
    for number, record in enumerate(counts.to_dict("records"), start=2):
        line = int(record.get("line") or number)
        try:
            row = count_row({str(key): value for key, value in record.items()}, walks, plants, caught)
            twice = given.get(row["uuid"])
            if twice is not None and twice[1] != row:
                raise InputRefused(f"count {row['uuid']} is also on line {twice[0]}: {_difference(twice[1], row)}")
        except InputRefused as trouble:
            problems.append((line, str(trouble)))
        else:
            given.setdefault(row["uuid"], (line, row))
    strangers = sorted(set(caught) - {str(value) for value in counts.get("count", [])} - set(given))
    if strangers:
        raise InputRefused(f"catch names count {strangers[0]}", "every catch belongs to a count that comes with it")
    return given, problems


def count_row(
    record: Mapping[str, Any], walks: set[str], plants: set[str], caught: Mapping[str, dict[str, int]]
) -> Row:
    """Return one count as the file holds it, with its catch by group."""
    walk, tree = str(record["walk"]), str(record["tree"])
    if walk not in walks:
        raise InputRefused(f"there is no walk {walk}", None, "add the walk first")
    if tree not in plants:
        raise InputRefused(f"there is no tree {tree}", None, "add the tree first")
    count = given_uuid(record.get("count"))
    wing_buds = missing_to_none(record.get("wing_buds"))
    observer = missing_to_none(record.get("observer"))
    accuracy = missing_to_none(record.get("accuracy_m"))
    nymphs, adults = (_counted(record[name], name) for name in ("nymphs", "adults"))
    if nymphs is None and adults is None:
        raise InputRefused("neither nymphs nor adults were counted", "a count has one of them at least")
    return {
        "uuid": count,
        "walk_uuid": walk,
        "plant_uuid": tree,
        "time": moment(record.get("time")),
        "taps": whole(record["taps"], "taps", least=1),
        "nymphs": nymphs,
        "adults": adults,
        "wing_buds": None if wing_buds is None else checks.one_of(wing_buds, ("none", "some", "most"), "wing buds"),
        "reason": checks.one_of(record["reason"], ("planned", "extra", "suspected"), "reason"),
        "accuracy_m": None if accuracy is None else checks.number(accuracy, "accuracy", "m", least=0.0),
        "observer": None if observer is None else words(observer, "observer"),
        "catch": caught.get(count, {}),
    }


def _counted(value: object, name: str) -> int | None:
    value = missing_to_none(value)
    return None if value is None else whole(value, name, least=0)


def moment(value: object) -> datetime | None:
    """Return a moment in UTC as the file keeps it."""
    value = missing_to_none(value)
    if value is None:
        return None
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise InputRefused(f"time is {value!r}", "it must be like 2026-03-01T09:30:00+11:00") from None
    if not isinstance(value, datetime):
        raise InputRefused(f"time is {value!r}", "it must be a moment with its time zone")
    if isinstance(value, pd.Timestamp):
        value = value.to_pydatetime(warn=False)
    return to_milliseconds(value).astimezone(UTC)


def catch_uuid(count: str, group: str) -> str:
    """Return the UUID of one group of one count's catch, the same however often it is sent."""
    return str(uuid.uuid5(_CATCH, f"{count}/{group}"))


def caught_of(catch: pd.DataFrame | None) -> dict[str, dict[str, int]]:
    """Return the catch of every count, by group; groups in the order of the alphabet."""
    if catch is None or catch.empty:
        return {}
    checks.columns(catch, ["count", "group", "number"], "catch")
    caught: dict[str, dict[str, int]] = {}
    for count, group, number in zip(catch["count"], catch["group"], catch["number"], strict=True):
        groups = caught.setdefault(given_uuid(str(count)), {})
        group = words(group, "group of a catch")
        if group in groups:
            raise InputRefused(f"catch names {group!r} twice for count {count}", "each group has one number")
        groups[group] = whole(number, f"number of {group}", least=0)
    return {count: dict(sorted(groups.items())) for count, groups in caught.items()}


def _held(act: Act, uuids: list[str]) -> dict[str, Row]:
    """Return what the file holds of these counts, in the form of `count_row`."""
    held: dict[str, Row] = {}
    for start in range(0, len(uuids), _AT_ONCE):
        some = uuids[start : start + _AT_ONCE]
        for row in act.connection.execute(select(COUNT).where(COUNT.c.uuid.in_(some))).mappings():
            held[row["uuid"]] = {**{key: value for key, value in row.items() if key != "id"}, "catch": {}}
        query = select(CATCH.c.count_uuid, CATCH.c.group, CATCH.c.number).where(CATCH.c.count_uuid.in_(some))
        for count, group, number in act.connection.execute(query.order_by(CATCH.c.group)):
            held[count]["catch"][group] = number
    return held


def _difference(held: Row, given: Row) -> str:
    """Return where two entries differ, both shown."""
    return ", ".join(
        f"{name.removesuffix('_uuid').replace('_', ' ')} {_shown(held[name])} is stored, {_shown(value)} is given"
        for name, value in given.items()
        if held[name] != value
    )


def _shown(value: object) -> str:
    if isinstance(value, datetime):
        return to_text(value)
    if isinstance(value, dict):
        return " ".join(f"{group} {number}" for group, number in value.items()) or "nothing"
    return "nothing" if value is None else str(value)
