"""Write what happens to plants: they go, they are replanted, and their places are surveyed anew."""

from __future__ import annotations

from collections.abc import Iterable

import geopandas as gpd
import pyproj
from sqlalchemy import Connection, func, select

from api.store.ground import _number, day, frame_lines, given_uuid, one_shape
from api.store.history import Act
from api.store.tables import CHANGE, COUNT, PLACE, PLANT, WALK
from gridmap.errors import InputRefused

#: How acts that draw a block anew begin in the history; a tree that such an act retired comes back with its ground.
REDRAWN = "redraw block"


def retire(act: Act, trees: Iterable[str], on: object, *, check_counts: bool = True) -> None:
    """Let plants be gone from a day on; their places stay as gaps, their counts stay with them.

    Parameters
    ----------
    act : Act
        The act that it is part of.
    trees : iterable of str
        UUIDs of living plants.
    on : date or str
        The first day on which they were not there, YYYY-MM-DD.
    check_counts : bool
        Whether a count on or after that day speaks against it.

    Raises
    ------
    InputRefused
        A plant that is not there or gone already, one that was planted or counted later.
    """
    gone = day(on, "the day on which it was gone")
    counted = last_counts(act.connection) if check_counts else {}
    for tree in trees:
        plant = act.connection.execute(select(PLANT).where(PLANT.c.uuid == tree)).mappings().first()
        if plant is None or plant["status"] != "alive":
            raise InputRefused(f"tree {tree} is {'not there' if plant is None else 'gone already'}")
        if gone is not None and plant["planted"] is not None and plant["planted"] > gone:
            raise InputRefused(
                f"the tree is said to be gone on {gone}", f"it was planted on {plant['planted']}", "check the day"
            )
        if gone is not None and counted.get(tree, "") > gone:
            raise InputRefused(
                f"the tree is said to be gone on {gone}", f"it was beaten on {counted[tree]}", "check the day"
            )
        act.update(PLANT, tree, {"status": "gone", "gone_on": gone})


def revive(act: Act, trees: Iterable[str]) -> None:
    """Let plants live again that were said to be gone; a place with another living plant is refused by the tables."""
    for tree in trees:
        act.update(PLANT, tree, {"status": "alive", "gone_on": None})


def plant_in(
    act: Act,
    place: str,
    on: object,
    *,
    canopy_height_m: object = None,
    canopy_width_m: object = None,
    plant: str | None = None,
) -> str:
    """Set a new plant (its UUID made here, unless given) into a place without a living one; return its UUID."""
    row = {
        "uuid": given_uuid(plant),
        "place_uuid": place,
        "status": "alive",
        "planted": day(on, "planting"),
        "canopy_height_m": _number(canopy_height_m, "canopy height", over=0.0),
        "canopy_width_m": _number(canopy_width_m, "canopy width", over=0.0),
    }
    act.insert(PLANT, [row])
    return str(row["uuid"])


def move_places(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> None:
    """Set places (place, geometry) where a survey found them; labels and plants stay."""
    for line in frame_lines(frame, ["place", "geometry"], "places", crs):
        act.update(PLACE, line["place"], {"geom": one_shape(line["geometry"], "Point", f"place {line['place']}")})


def last_counts(connection: Connection) -> dict[str, str]:
    """Return the day of the last walk on which each plant was counted, YYYY-MM-DD."""
    query = (
        select(COUNT.c.plant_uuid, func.max(WALK.c.date))
        .join_from(COUNT, WALK, COUNT.c.walk_uuid == WALK.c.uuid)
        .group_by(COUNT.c.plant_uuid)
    )
    return {tree: str(last) for tree, last in connection.execute(query).all()}


def plant_days(connection: Connection, trees: Iterable[str]) -> dict[str, tuple[str | None, str | None]]:
    """Return the days on which plants were planted and were gone, YYYY-MM-DD, by their UUID; None where not said."""
    query = select(PLANT.c.uuid, PLANT.c.planted, PLANT.c.gone_on).where(PLANT.c.uuid.in_(list(trees)))
    return {row.uuid: (_text(row.planted), _text(row.gone_on)) for row in connection.execute(query)}


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def retired_by_redrawing(connection: Connection, trees: Iterable[str]) -> list[str]:
    """Return those plants whose last change is that a redrawn outline left them out."""
    found = []
    for tree in trees:
        last = connection.execute(
            select(CHANGE.c.what)
            .where(CHANGE.c.table_name == "plant", CHANGE.c.row_uuid == tree)
            .order_by(CHANGE.c.id.desc())
        ).first()
        if last is not None and last.what.startswith(REDRAWN):
            found.append(tree)
    return found
