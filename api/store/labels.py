"""What every place was ever called: a label may change with its block, the place is found by the old one still."""

from __future__ import annotations

import json
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from api.store.tables import CHANGE

Label = tuple[str, int, int]


def label_history(connection: Connection) -> pd.DataFrame:
    """Return place, block, row, position, since (UTC), what, now of every label that a place ever had, oldest first."""
    query = (
        select(CHANGE.c.act, CHANGE.c.at, CHANGE.c.what, CHANGE.c.table_name, CHANGE.c.row_uuid, CHANGE.c.after)
        .where(CHANGE.c.table_name.in_(("place", "block")))
        .order_by(CHANGE.c.id)
    )
    names: dict[str, str] = {}
    places: dict[str, Label] = {}
    told: dict[str, Label] = {}
    lines: list[dict[str, object]] = []
    acts: dict[str, list[Any]] = {}
    for change in connection.execute(query):
        acts.setdefault(change.act, []).append(change)
    for changes in acts.values():
        for change in changes:
            _follow(change, names, places)
        # Labels count as they stand when an act is over, not as it passes through
        for place, label in _labels(changes, names, places).items():
            if told.get(place) != label:
                told[place] = label
                last = changes[-1]
                lines.append(
                    {"place": place, "block": label[0], "row": label[1], "position": label[2], "since": last.at}
                    | {"what": last.what}
                )
    frame = pd.DataFrame(lines, columns=["place", "block", "row", "position", "since", "what"])
    frame["since"] = pd.to_datetime(frame["since"], utc=True)
    current = {place: (names[held[0]], *held[1:]) for place, held in places.items()}
    labels = zip(frame["place"], frame["block"], frame["row"], frame["position"], strict=True)
    same = pd.Series([current.get(line[0]) == line[1:] for line in labels], dtype=bool)
    frame["now"] = same & ~frame.duplicated("place", keep="last")
    return frame


def _follow(change: Any, names: dict[str, str], places: dict[str, Label]) -> None:
    """Bring names and labels up to one change."""
    if change.after is None:
        (names if change.table_name == "block" else places).pop(change.row_uuid, None)
        return
    row = json.loads(change.after)
    if change.table_name == "block":
        names[change.row_uuid] = row["name"]
    else:
        places[change.row_uuid] = (row["block_uuid"], row["row"], row["position"])


def _labels(changes: list[Any], names: dict[str, str], places: dict[str, Label]) -> dict[str, Label]:
    """Return the labels of those places that an act touched, by themselves or by the name of their block."""
    touched = {change.row_uuid for change in changes}
    return {
        place: (names[block], row, position)
        for place, (block, row, position) in places.items()
        if (place in touched or block in touched) and block in names
    }
