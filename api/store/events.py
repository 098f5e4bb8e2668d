"""Write what phones recorded: each event once, in whatever order it arrives; a count is what its last event says.

"Last" goes by a logical clock, since phones' own clocks can't be trusted: the greatest (clock, device, event) wins.
What was overtaken is kept in the ledger, and every change of a count is in the history.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, func, insert, select

from api.store import counts
from api.store.ground import given_uuid, missing_to_none
from api.store.history import Act, Row
from api.store.info import words
from api.store.tables import CATCH, COUNT, COUNT_DETAIL, PLANT, SIGHTING, WALK, WALK_EVENT
from api.store.times import now
from gridmap import checks
from gridmap.errors import InputRefused

STORED, OVERTAKEN, DUPLICATE, REFUSED = "stored", "overtaken", "duplicate", "refused"
KINDS: Final = ("count", "remove", "sighting")
_DETAIL = uuid.UUID("6a2a1d5e-7b52-4a3c-9c55-0d5b1f0c6e21")
_AT_ONCE = 900
_FLAGS = ("wet", "windy")
_COUNTED = ("tree", "taps", "nymphs", "adults", "reason")


@dataclass(frozen=True)
class Answer:
    """What became of one event."""

    event: str
    answer: str
    problem: str | None = None


@dataclass(frozen=True)
class Known:
    """What there is already: walks and plants by UUID, the newest event of each subject, events that arrived."""

    walks: set[str]
    plants: set[str]
    newest: dict[str, tuple[int, str, str]]
    arrived: dict[str, str]


def take_in(act: Act, walk: str, device: str, events: Sequence[Mapping[str, Any]]) -> list[Answer]:
    """Store events of one walk and device, each by itself; say what became of each."""
    device = given_uuid(device)
    known = look_up(act.connection, events)
    answers = []
    for event in events:
        try:
            answers.append(_one(act, walk, device, event, known))
        except InputRefused as refused:
            answers.append(Answer(str(event.get("event")), REFUSED, str(refused)))
    return answers


def look_up(connection: Connection, events: Iterable[Mapping[str, Any]]) -> Known:
    """Read what some events have to be held against."""
    events = list(events)
    subjects = sorted({str(subject_of(event)) for event in events})
    newest: dict[str, tuple[int, str, str]] = {}
    table = WALK_EVENT.c
    for some in _parts(subjects):
        query = select(table.subject_uuid, table.clock, table.device, table.uuid).where(table.subject_uuid.in_(some))
        for subject, *rank in connection.execute(query):
            newest[subject] = max(newest.get(subject, (-1, "", "")), (rank[0], rank[1], rank[2]))
    arrived: dict[str, str] = {}
    for some in _parts(sorted({str(event.get("event")) for event in events})):
        found = connection.execute(select(table.uuid, table.content).where(table.uuid.in_(some)))
        arrived.update((row[0], row[1]) for row in found)
    plants: set[str] = set()
    for some in _parts(sorted({str(event.get("tree")) for event in events})):
        plants.update(connection.execute(select(PLANT.c.uuid).where(PLANT.c.uuid.in_(some))).scalars())
    return Known(set(connection.execute(select(WALK.c.uuid)).scalars()), plants, newest, arrived)


def _parts(values: Sequence[str]) -> Iterable[Sequence[str]]:
    return (values[start : start + _AT_ONCE] for start in range(0, len(values), _AT_ONCE))


def subject_of(event: Mapping[str, Any]) -> str | None:
    """Return the UUID of the count or sighting that an event is about."""
    return event.get("count") or event.get("sighting")


def content_of(event: Mapping[str, Any]) -> str:
    """Return an event as the ledger keeps it; what has no value, and the grower's yes, make no other event of it."""
    kept = {key: value for key, value in event.items() if value is not None and key != "confirmed"}
    return json.dumps(kept, sort_keys=True, ensure_ascii=False, allow_nan=False)


def _one(act: Act, walk: str, device: str, event: Mapping[str, Any], known: Known) -> Answer:
    made, content = given_uuid(event.get("event")), content_of(event)
    if made in known.arrived:
        if known.arrived[made] != content:
            raise InputRefused(
                f"event {made} is stored already with other content", "an event is for life", "send a new one"
            )
        return Answer(made, DUPLICATE)
    kind = checks.one_of(event.get("kind"), KINDS, "kind of an event")
    clock = int(checks.number(event.get("clock"), "clock", least=0, most=2**53))
    subject = given_uuid(subject_of(event))
    if subject_of(event) is None:
        raise InputRefused("the event names no count and no sighting", "it is about one of them")
    rank = (clock, device, made)
    wins = rank > known.newest.get(subject, (-1, "", ""))
    if wins:
        _apply(act, walk, kind, subject, event, known)
        known.newest[subject] = rank
    answer = STORED if wins else OVERTAKEN
    write_down(act.connection, walk, device, event, made, subject, clock, answer)
    known.arrived[made] = content
    return Answer(made, answer)


def write_down(
    connection: Connection, walk: str, device: str, event: Mapping[str, Any], made: str, subject: str, clock: int,
    answer: str,
) -> None:
    """Enter an event in the ledger."""
    row = {
        "uuid": made, "walk_uuid": walk, "subject_uuid": subject, "kind": str(event["kind"]), "clock": clock,
        "device": device, "answer": answer, "received": now(), "content": content_of(event),
    }
    connection.execute(insert(WALK_EVENT), [row])


def _apply(act: Act, walk: str, kind: str, subject: str, event: Mapping[str, Any], known: Known) -> None:
    """Make the count or sighting what the event says."""
    if kind == "remove":
        _remove(act, subject, COUNT if event.get("count") else SIGHTING)
    elif kind == "sighting":
        _put(act, SIGHTING, _sighting(walk, subject, event, known))
    else:
        _put_count(act, walk, subject, event, known)


def _put(act: Act, table: Any, row: Row) -> None:
    held = act.connection.execute(select(table.c.uuid).where(table.c.uuid == row["uuid"])).first()
    if held is None:
        act.insert(table, [row])
    else:
        act.update(table, row["uuid"], {key: value for key, value in row.items() if key != "uuid"})


def _put_count(act: Act, walk: str, subject: str, event: Mapping[str, Any], known: Known) -> None:
    groups = dict(event.get("catch") or {})
    caught = counts.caught_of(pd.DataFrame(
        [{"count": subject, "group": group, "number": number} for group, number in groups.items()],
        columns=["count", "group", "number"],
    ))
    given = {**dict.fromkeys(_COUNTED), **event, "walk": walk, "time": event.get("at")}
    row = counts.count_row(given, known.walks, known.plants, caught)
    catch = row.pop("catch")
    held = act.connection.execute(select(COUNT.c.walk_uuid).where(COUNT.c.uuid == subject)).scalar()
    if held is not None and held != walk:
        raise InputRefused(f"count {subject} belongs to another walk", "a count stays with its walk")
    detail = _detail(subject, event)
    _put(act, COUNT, row)
    present = {
        group: (made, number)
        for made, group, number in act.connection.execute(
            select(CATCH.c.uuid, CATCH.c.group, CATCH.c.number).where(CATCH.c.count_uuid == subject)
        )
    }
    for group, (made, _) in present.items():
        if group not in catch:
            act.delete(CATCH, made)
    for group, number in catch.items():
        made = present[group][0] if group in present else counts.catch_uuid(subject, group)
        _put(act, CATCH, {"uuid": made, "count_uuid": subject, "group": group, "number": number})
    _put(act, COUNT_DETAIL, detail)


def _detail(subject: str, event: Mapping[str, Any]) -> Row:
    flags: Row = {}
    for name in _FLAGS:
        value = event.get(name)
        if value is not None and not isinstance(value, bool):
            raise InputRefused(f"{name} is {value!r}", "it must be true or false")
        flags[name] = None if value is None else int(value)
    return {
        "uuid": str(uuid.uuid5(_DETAIL, subject)), "count_uuid": subject, **flags, **_position(event),
        "note": _words(event, "note"),
    }


def _position(event: Mapping[str, Any]) -> Row:
    """Return where the phone was, both or neither."""
    longitude, latitude = (missing_to_none(event.get(name)) for name in ("longitude", "latitude"))
    if (longitude is None) != (latitude is None):
        raise InputRefused("a position has longitude or latitude alone", "it needs both")
    if longitude is None:
        return {"longitude": None, "latitude": None}
    return {
        "longitude": checks.number(longitude, "longitude", "degrees", least=-180, most=180),
        "latitude": checks.number(latitude, "latitude", "degrees", least=-90, most=90),
    }


def _words(event: Mapping[str, Any], name: str) -> str | None:
    value = missing_to_none(event.get(name))
    return None if value is None or value == "" else words(value, name)


def _sighting(walk: str, subject: str, event: Mapping[str, Any], known: Known) -> Row:
    tree, accuracy = event.get("tree"), missing_to_none(event.get("accuracy_m"))
    if walk not in known.walks:
        raise InputRefused(f"there is no walk {walk}", None, "add the walk first")
    if tree is not None and tree not in known.plants:
        raise InputRefused(f"there is no tree {tree}", None, "choose the tree")
    return {
        "uuid": subject, "walk_uuid": walk, "plant_uuid": tree, "time": counts.moment(event.get("at")),
        "what": words(event.get("what"), "what was seen"), "note": _words(event, "note"), **_position(event),
        "accuracy_m": None if accuracy is None else checks.number(accuracy, "accuracy", "m", least=0.0),
        "observer": _words(event, "observer"),
    }


def _remove(act: Act, subject: str, table: Any) -> None:
    """Take a count back with all that hangs on it; what is not there need not be taken back."""
    connection = act.connection
    if table is COUNT:
        for part in (CATCH, COUNT_DETAIL):
            for made in connection.execute(select(part.c.uuid).where(part.c.count_uuid == subject)).scalars().all():
                act.delete(part, made)
    if connection.execute(select(table.c.uuid).where(table.c.uuid == subject)).first() is not None:
        act.delete(table, subject)


def clock_of(connection: Connection, walk: str) -> int:
    """Return the greatest clock of a walk's events, 0 where there is none."""
    query = select(func.coalesce(func.max(WALK_EVENT.c.clock), 0)).where(WALK_EVENT.c.walk_uuid == walk)
    return int(connection.execute(query).scalar_one())


def ledger(connection: Connection, walk: str, after: int = 0, most: int | None = None) -> list[Row]:
    """Return the events of a walk in the order of arrival: number, device, answer and what was sent."""
    table = WALK_EVENT.c
    query = select(table.id, table.device, table.answer, table.content).order_by(table.id)
    query = query.where(table.walk_uuid == walk, table.id > after)
    found = connection.execute(query if most is None else query.limit(most))
    return [
        {"number": int(number), "device": device, "answer": answer, **json.loads(content)}
        for number, device, answer, content in found
    ]
