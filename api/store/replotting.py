"""Write blocks drawn anew: outlines, labels, rows, blocks split and merged; no place and no plant is ever deleted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from shapely.geometry.base import BaseGeometry
from sqlalchemy import Connection, select

from api.store.ground import (
    _BLOCK_FACTS,
    _block,
    block_uuids,
    frame_lines,
    given_uuid,
    one_shape,
    refuse_lines,
    whole,
)
from api.store.history import Act, Row
from api.store.info import words
from api.store.tables import BLOCK, COUNT, PLACE, PLANT, ROW_LINE
from gridmap.errors import InputRefused


def set_outline(act: Act, block: str, outline: BaseGeometry, *, name: str | None = None) -> None:
    """Give the block with this UUID a new outline in the grove's CRS, and a new name where one is given."""
    changes: Row = {"geom": one_shape(outline, "Polygon", "the outline")}
    if name is not None:
        changes["name"] = _free_name(act.connection, name, of=block)
    act.update(BLOCK, block, changes)


def copy_block(act: Act, block: str, outline: BaseGeometry, *, name: str) -> str:
    """Store a block with the facts of another one; return its UUID."""
    found = act.connection.execute(select(BLOCK).where(BLOCK.c.uuid == block)).mappings().one()
    row: Row = {fact: found[fact] for fact in _BLOCK_FACTS}
    row |= {"uuid": given_uuid(None), "name": _free_name(act.connection, name)}
    row["geom"] = one_shape(outline, "Polygon", f"block {name!r}")
    act.insert(BLOCK, [row])
    return str(row["uuid"])


def remove_block(act: Act, block: str) -> None:
    """Take out a block whose places are all in another one by now; the tables refuse any other."""
    act.delete(BLOCK, block)


def relabel(act: Act, frame: pd.DataFrame) -> None:
    """Give places (place, block, row, position) other labels; what they were called before stays in the history.

    Raises
    ------
    RowsRefused
        A label that another place has; nothing was stored.
    """
    blocks = block_uuids(act.connection)
    query = select(PLACE.c.uuid, PLACE.c.block_uuid, PLACE.c.row, PLACE.c.position)
    held = {row.uuid: tuple(row[1:]) for row in act.connection.execute(query)}
    wanted = {
        line["place"]: (
            _block(blocks, line["block"]),
            whole(line["row"], "row", least=1),
            whole(line["position"], "position", least=1),
        )
        for line in frame.to_dict("records")
    }
    changed = {place: label for place, label in wanted.items() if held[place] != label}
    labels = list((held | wanted).values())
    _refuse_twice(frame, wanted, labels)
    # A label is free only once its place has left it: those that hold one which another gets step aside first, to the
    # negative of their new row number
    given = set(changed.values())
    for place, (block, row, position) in changed.items():
        if held[place] in given:
            act.update(PLACE, place, {"block_uuid": block, "row": -row, "position": position})
    for place, (block, row, position) in changed.items():
        act.update(PLACE, place, {"block_uuid": block, "row": row, "position": position})


def _refuse_twice(frame: pd.DataFrame, wanted: Mapping[str, tuple[Any, ...]], labels: list[tuple[Any, ...]]) -> None:
    often = pd.Series(labels).value_counts()
    problems = [
        (number, f"{line['block']}/{line['row']}/{line['position']} is another place's label")
        for number, line in enumerate(frame.to_dict("records"), start=1)
        if often[wanted[line["place"]]] > 1
    ]
    refuse_lines(problems, "labels")


def set_rows(act: Act, blocks: Iterable[str], frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> None:
    """Make the row lines of these blocks (UUIDs) those of a frame (block, row, geometry)."""
    blocks, names = list(blocks), block_uuids(act.connection)
    wanted = {
        (_block(names, line["block"]), whole(line["row"], "row", least=1)): one_shape(
            line["geometry"], "LineString", f"row {line['row']} of block {line['block']}"
        )
        for line in frame_lines(frame, ["block", "row", "geometry"], "rows", crs)
    }
    query = select(ROW_LINE.c.uuid, ROW_LINE.c.block_uuid, ROW_LINE.c.row).where(ROW_LINE.c.block_uuid.in_(blocks))
    held = {(row.block_uuid, row.row): row.uuid for row in act.connection.execute(query)}
    for label, uuid in held.items():
        if label in wanted:
            act.update(ROW_LINE, uuid, {"geom": wanted[label]})
        else:
            act.delete(ROW_LINE, uuid)
    new = [
        {"uuid": given_uuid(None), "block_uuid": label[0], "row": label[1], "geom": line}
        for label, line in wanted.items()
        if label not in held
    ]
    act.insert(ROW_LINE, new)


def keep_canopies(act: Act, block: str) -> None:
    """Give the trees of a block its canopy as their own, where they have none, before the block's is taken off."""
    found = act.connection.execute(select(BLOCK).where(BLOCK.c.uuid == block)).mappings().one()
    plants = act.connection.execute(
        select(PLANT).join(PLACE, PLANT.c.place_uuid == PLACE.c.uuid).where(PLACE.c.block_uuid == block)
    ).mappings()
    for plant in plants.all():
        own = {
            name: found[name]
            for name in ("canopy_height_m", "canopy_width_m")
            if plant[name] is None and found[name] is not None
        }
        if own:
            act.update(PLANT, plant["uuid"], own)


def counted_blocks(connection: Connection) -> set[str]:
    """Return the names of the blocks in which a tree was ever counted, one that is gone included."""
    query = (
        select(BLOCK.c.name)
        .distinct()
        .join_from(COUNT, PLANT, COUNT.c.plant_uuid == PLANT.c.uuid)
        .join(PLACE, PLANT.c.place_uuid == PLACE.c.uuid)
        .join(BLOCK, PLACE.c.block_uuid == BLOCK.c.uuid)
    )
    return {row.name for row in connection.execute(query)}


def _free_name(connection: Connection, name: object, *, of: str | None = None) -> str:
    """Return a block's name that no other block has, whatever their case."""
    name = words(name, "name of a block")
    for known, uuid in block_uuids(connection).items():
        if known.casefold() == name.casefold() and uuid != of:
            raise InputRefused(
                f"block {name!r} is in the grove already", "a block's name is its own", "name it otherwise"
            )
    return name
