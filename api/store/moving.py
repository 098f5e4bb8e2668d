"""Give counts to other trees: the grower was in another block than the phone was told."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Final

from sqlalchemy import select

from api.store.events import STORED, clock_of, write_down
from api.store.history import Act
from api.store.refusals import NotThere
from api.store.tables import COUNT, PLANT
from gridmap.errors import InputRefused

#: The grove itself, where a phone has its own UUID.
GROVE_DEVICE: Final = "00000000-0000-0000-0000-000000000000"


def move_counts(act: Act, walk: str, moves: Mapping[str, str]) -> int:
    """Give counts (UUID) to other trees (UUID); return the clock after it.

    Each move is an event too, so that what a phone sends late does not undo it.
    """
    connection = act.connection
    if not moves:
        raise InputRefused("no count is named", "a move is of one count at least", "choose the counts")
    clock = clock_of(connection, walk) + 1
    plants = set(connection.execute(select(PLANT.c.uuid)).scalars())
    for count, tree in moves.items():
        held = connection.execute(select(COUNT.c.walk_uuid).where(COUNT.c.uuid == count)).scalar()
        if held != walk:
            raise NotThere(f"walk {walk} has no count {count}", None, "choose one of its counts")
        if tree not in plants:
            raise NotThere(f"there is no tree {tree}", None, "choose a tree")
        act.update(COUNT, count, {"plant_uuid": tree})
        event = {"event": str(uuid.uuid4()), "kind": "move", "clock": clock, "count": count, "tree": tree}
        write_down(connection, walk, GROVE_DEVICE, event, str(event["event"]), count, clock, STORED)
    return clock
