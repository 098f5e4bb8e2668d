"""Change or take out a gate, refill point or other point that is there; adding one is in `api.store.terrain`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from api.store.ground import one_shape
from api.store.history import Act, Row
from api.store.info import words
from api.store.tables import POINT_OF_INTEREST
from api.store.terrain import POINT_KINDS
from gridmap import checks
from gridmap.errors import InputRefused


def set_point(act: Act, point: str, changes: Mapping[str, Any]) -> None:
    """Change name, kind or geometry (Point in the grove's CRS) of the point with this UUID."""
    row: Row = {}
    for field, value in changes.items():
        checks.one_of(field, ("name", "kind", "geometry"), "fact of a point")
        if field == "name":
            row["name"] = words(value, "name of a point")
            names = select(POINT_OF_INTEREST.c.name).where(POINT_OF_INTEREST.c.uuid != point)
            if row["name"] in set(act.connection.execute(names).scalars()):
                raise InputRefused(f"point {row['name']!r} is in the grove already", "its name is its own")
        elif field == "kind":
            row["kind"] = checks.one_of(value, POINT_KINDS, "kind of the point")
        else:
            row["geom"] = one_shape(value, "Point", "the point")
    act.update(POINT_OF_INTEREST, point, row)


def remove_point(act: Act, point: str) -> None:
    """Take out the point with this UUID; the history keeps it."""
    act.delete(POINT_OF_INTEREST, point)
