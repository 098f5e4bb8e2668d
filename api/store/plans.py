"""Write and read planned walks, as they were planned."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from api.store.ground import day, given_uuid
from api.store.history import Act, Row
from api.store.info import words
from api.store.refusals import Conflict, NotThere
from api.store.tables import WALK_PLAN
from api.store.times import now, to_text
from gridmap.errors import InputRefused


def add_plan(
    act: Act, *, plan: str | None, walk: str | None, date: object, name: str | None, settings: Mapping[str, Any],
    content: Mapping[str, Any],
) -> str:
    """Store a planned walk; sent again with the same settings, it is stored once."""
    on = day(date, "date of the walk")
    if on is None:
        raise InputRefused("the planned walk has no date", None, "give the day on which it is to be walked")
    row: Row = {
        "uuid": given_uuid(plan), "walk_uuid": given_uuid(walk), "date": on,
        "name": None if name is None else words(name, "name of the walk"), "made": now(),
        "settings": _json(settings), "content": _json(content),
    }
    held = act.connection.execute(select(WALK_PLAN).where(WALK_PLAN.c.uuid == row["uuid"])).mappings().first()
    if held is None:
        act.insert(WALK_PLAN, [row])
    elif any(held[name] != row[name] for name in ("walk_uuid", "date", "name", "settings")):
        raise Conflict(f"plan {row['uuid']} is stored already with other content", None, "make a new plan")
    return str(row["uuid"])


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)


def plans(connection: Connection) -> list[dict[str, Any]]:
    """Return every planned walk, the newest last."""
    return [_plan(dict(row)) for row in connection.execute(select(WALK_PLAN).order_by(WALK_PLAN.c.id)).mappings()]


def read_plan(connection: Connection, plan: str | None) -> dict[str, Any]:
    """Return one planned walk (UUID), the newest when none is named."""
    query = select(WALK_PLAN).order_by(WALK_PLAN.c.id.desc())
    found = connection.execute(query if plan is None else query.where(WALK_PLAN.c.uuid == plan)).mappings().first()
    if found is None:
        what = "no walk is planned yet" if plan is None else f"there is no planned walk {plan}"
        raise NotThere(what, None, "plan one with gridmap plan-walk")
    return _plan(dict(found))


def _plan(row: Row) -> dict[str, Any]:
    return {
        "plan": row["uuid"], "walk": row["walk_uuid"], "date": row["date"], "name": row["name"],
        "made": to_text(row["made"]), "settings": json.loads(row["settings"]), **json.loads(row["content"]),
    }
