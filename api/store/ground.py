"""Write the ground: blocks, keep-outs, rows, places and the plants in them."""

from __future__ import annotations

import math
import numbers
import uuid
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from shapely.geometry.base import BaseGeometry
from sqlalchemy import Connection, select

from api.store.history import Act, Row
from api.store.info import words
from api.store.tables import BLOCK, KEEP_OUT, PLACE, PLANT, ROW_LINE
from gridmap import checks
from gridmap.errors import CRSRefused, InputRefused, OutlineRefused, RowsRefused

KINDS = ("water", "hive", "dwelling", "neighbour", "bush", "other")
_BEARINGS = ("row_bearing_deg", "uphill_bearing_deg")
_BLOCK_FACTS = (*_BEARINGS, "row_spacing_m", "tree_spacing_m", "headland_m", "canopy_height_m", "canopy_width_m")


def add_blocks(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> list[str]:
    """Store new blocks; return their UUIDs in the frame's order."""
    lines = frame_lines(frame, ["block", "geometry"], "blocks", crs)
    known = set(block_uuids(act.connection))
    rows = []
    for line in lines:
        name = words(line["block"], "name of a block")
        if name in known:
            raise InputRefused(
                f"block {name!r} is in the grove already", "a block's name is its own", "name it otherwise"
            )
        known.add(name)
        row: Row = {
            "uuid": given_uuid(line.get("uuid")),
            "name": name,
            "geom": one_shape(line["geometry"], "Polygon", f"block {name!r}"),
        }
        row.update(_block_facts({column: line.get(column) for column in _BLOCK_FACTS}, name))
        rows.append(row)
    act.insert(BLOCK, rows)
    return [row["uuid"] for row in rows]


def set_block(act: Act, block: str, facts: Mapping[str, object]) -> None:
    """Change facts of one block; None takes a fact back."""
    names = {known: name for name, known in block_uuids(act.connection).items()}
    act.update(BLOCK, block, _block_facts(facts, names.get(block, block)))


def _block_facts(facts: Mapping[str, object], name: str) -> Row:
    """Return facts of a block, each checked."""
    row: Row = {}
    for column, value in facts.items():
        value, shown = missing_to_none(value), f"{_say(column)} of block {name!r}"
        if checks.one_of(column, _BLOCK_FACTS, "fact of a block") in _BEARINGS:
            row[column] = None if value is None else checks.bearing_deg(value, shown)
        elif column == "headland_m":
            row[column] = _number(value, shown, least=0.0)
        else:
            row[column] = _number(value, shown, over=0.0)
    return row


def add_keep_outs(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> list[str]:
    """Store new keep-outs; return their UUIDs in the frame's order."""
    rows = []
    for line in frame_lines(frame, ["kind", "setback_m", "geometry"], "keep-outs", crs):
        name = missing_to_none(line.get("name"))
        shown = "a keep-out" if name is None else f"keep-out {name!r}"
        if missing_to_none(line["setback_m"]) is None:
            raise InputRefused(f"{shown} has no setback", "only the grower knows it", "type it in metres, 0 for none")
        rows.append(
            {
                "uuid": given_uuid(line.get("keep_out")),
                "name": None if name is None else str(name),
                "kind": checks.one_of(line["kind"], KINDS, f"kind of {shown}"),
                "setback_m": checks.number(line["setback_m"], f"setback of {shown}", "m", least=0.0),
                "geom": one_shape(line["geometry"], "Polygon", shown),
            }
        )
    act.insert(KEEP_OUT, rows)
    return [row["uuid"] for row in rows]


def add_rows(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> list[str]:
    """Store the lines of new rows; return their UUIDs in the frame's order."""
    blocks = block_uuids(act.connection)
    rows = []
    for line in frame_lines(frame, ["block", "row", "geometry"], "rows", crs):
        row = whole(line["row"], "row", least=1)
        rows.append(
            {
                "uuid": given_uuid(line.get("uuid")),
                "block_uuid": _block(blocks, line["block"]),
                "row": row,
                "geom": one_shape(line["geometry"], "LineString", f"row {row} of block {line['block']!r}"),
            }
        )
    act.insert(ROW_LINE, rows)
    return [row["uuid"] for row in rows]


def add_places_and_plants(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> pd.DataFrame:
    """Store new places and the plants in them; return block, row, position, place, tree in the frame's order."""
    blocks = block_uuids(act.connection)
    found = act.connection.execute(select(PLACE.c.block_uuid, PLACE.c.row, PLACE.c.position)).all()
    taken = {tuple(place) for place in found}
    places: list[Row] = []
    plants: list[Row] = []
    told: list[Row] = []
    problems: list[tuple[int, str]] = []
    for number, line in enumerate(frame_lines(frame, ["block", "row", "position", "geometry"], "places", crs), start=2):
        try:
            place, plant = _place_and_plant(line, blocks)
            label = (place["block_uuid"], place["row"], place["position"])
            if label in taken:
                raise InputRefused(
                    f"block {line['block']}, row {label[1]}, position {label[2]} is in the grove already"
                )
        except InputRefused as trouble:
            problems.append((int(line.get("line") or number), str(trouble)))
            continue
        taken.add(label)
        places.append(place)
        if plant is not None:
            plants.append(plant)
        told.append(
            {
                "block": line["block"],
                "row": label[1],
                "position": label[2],
                "place": place["uuid"],
                "tree": None if plant is None else plant["uuid"],
            }
        )
    refuse_lines(problems, "places")
    act.insert(PLACE, places)
    act.insert(PLANT, plants)
    return pd.DataFrame(told, columns=["block", "row", "position", "place", "tree"])


def _place_and_plant(line: Mapping[str, Any], blocks: Mapping[str, str]) -> tuple[Row, Row | None]:
    """Return one place and the plant in it, None for a gap."""
    shown = f"{line['block']}/{line['row']}/{line['position']}"
    place: Row = {
        "uuid": given_uuid(line.get("place")),
        "block_uuid": _block(blocks, line["block"]),
        "row": whole(line["row"], "row", least=1),
        "position": whole(line["position"], "position", least=1),
        "geom": one_shape(line["geometry"], "Point", f"place {shown}"),
        "elevation_m": _number(line.get("elevation_m"), f"elevation of {shown}"),
        "upslope_m": _number(line.get("upslope_m"), f"distance upslope of {shown}"),
    }
    status = missing_to_none(line.get("status")) or "alive"
    if checks.one_of(status, ("alive", "gone", "gap"), f"status of {shown}") == "gap":
        return place, None
    plant: Row = {
        "uuid": given_uuid(line.get("tree")),
        "place_uuid": place["uuid"],
        "status": status,
        "planted": day(line.get("planted"), f"planting of {shown}"),
        "canopy_height_m": _number(line.get("canopy_height_m"), f"canopy height of {shown}", over=0.0),
        "canopy_width_m": _number(line.get("canopy_width_m"), f"canopy width of {shown}", over=0.0),
    }
    return place, plant


def block_uuids(connection: Connection) -> dict[str, str]:
    """Return the UUID of every block by its name."""
    return {row.name: row.uuid for row in connection.execute(select(BLOCK.c.name, BLOCK.c.uuid))}


def refuse_lines(problems: list[tuple[int, str]], name: str) -> None:
    """Refuse a table with bad lines; the message shows the first three."""
    if problems:
        first = "; ".join(f"line {line}: {what.removesuffix('.')}" for line, what in problems[:3])
        more = f"; and {len(problems) - 3} more" if len(problems) > 3 else ""
        raise RowsRefused(
            f"{len(problems)} of the {name} can't be stored", first + more, "nothing was stored", problems
        )


def missing_to_none(value: Any) -> Any:
    """Return None for every way in which a frame says that there is no value."""
    return (
        None
        if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and math.isnan(value))
        else value
    )


def given_uuid(value: object) -> str:
    """Return a UUID in its usual form, a new one where none is given.

    Examples
    --------
    >>> given_uuid("6BA7B810-9DAD-11D1-80B4-00C04FD430C8")
    '6ba7b810-9dad-11d1-80b4-00c04fd430c8'
    """
    value = missing_to_none(value)
    if value is None:
        return str(uuid.uuid4())
    try:
        return str(uuid.UUID(str(value)))
    except ValueError:
        raise InputRefused(f"uuid is {str(value)!r}", "it must be 32 hexadecimal digits in five groups") from None


def whole(value: object, name: str, *, least: int) -> int:
    """Return a whole number of at least ``least``; 3.0 is one, 3.5 is none.

    Examples
    --------
    >>> whole(3.0, "row", least=1)
    3
    """
    result = checks.number(missing_to_none(value), name, least=float(least))
    if not result.is_integer():
        raise InputRefused(f"{name} is {result:g}", "it must be a whole number")
    return int(value) if isinstance(value, numbers.Integral) else int(result)


def day(value: object, name: str) -> str | None:
    """Return a day as YYYY-MM-DD, None where none is given.

    Examples
    --------
    >>> day(date(2026, 3, 1), "walk")
    '2026-03-01'
    """
    value = missing_to_none(value)
    if value is None:
        return None
    if isinstance(value, datetime):
        value = value.date()
    try:
        return (value if isinstance(value, date) else date.fromisoformat(str(value))).isoformat()
    except ValueError:
        raise InputRefused(f"{name} is {value!r}", "it must be a day, YYYY-MM-DD") from None


def frame_lines(frame: gpd.GeoDataFrame, needed: Iterable[str], name: str, crs: pyproj.CRS) -> list[dict[str, Any]]:
    """Return the lines of a frame that is in the grove's CRS, its shapes under ``geometry``."""
    checks.columns(frame, [column for column in needed if column != "geometry"], name)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputRefused(f"{name} are a {type(frame).__name__}", "they must be a GeoDataFrame in the grove's CRS")
    if frame.crs is None or not pyproj.CRS.from_user_input(frame.crs).equals(crs, ignore_axis_order=True):
        shown = "without a CRS" if frame.crs is None else f"in {frame.crs.name}"
        raise CRSRefused(f"{name} are {shown}", f"the grove is kept in {crs.name}", "transform them first")
    lines = pd.DataFrame(frame.drop(columns=frame.geometry.name)).to_dict("records")
    return [
        {**{str(key): value for key, value in line.items()}, "geometry": shape}
        for line, shape in zip(lines, frame.geometry, strict=True)
    ]


def one_shape(geometry: BaseGeometry | None, kind: str, shown: str) -> BaseGeometry:
    """Return a shape of the kind that its table holds; a set of one is that one."""
    if geometry is None or geometry.is_empty:
        raise OutlineRefused(f"{shown} has no shape", None, "draw it")
    if geometry.geom_type == f"Multi{kind}" and len(geometry.geoms) == 1:
        geometry = geometry.geoms[0]
    if geometry.geom_type != kind:
        raise OutlineRefused(f"{shown} is a {geometry.geom_type}", f"it must be one {kind}", "give each its own line")
    if not all(math.isfinite(value) for value in geometry.bounds):
        raise OutlineRefused(f"{shown} has a coordinate that is no number", "every coordinate must be finite")
    if not geometry.is_valid:
        raise OutlineRefused(
            f"{shown} crosses or touches itself", "its outline must be simple", "mend it before it is stored"
        )
    return geometry


def _number(value: object, name: str, *, over: float | None = None, least: float | None = None) -> float | None:
    value = missing_to_none(value)
    return None if value is None else checks.number(value, name, "m", over=over, least=least)


def _say(column: str) -> str:
    """Return a column's name in words, without its unit."""
    return column.rpartition("_")[0].replace("_", " ")


def _block(blocks: Mapping[str, str], name: object) -> str:
    found = blocks.get(name) if isinstance(name, str) else None
    if found is None:
        raise InputRefused(
            f"there is no block {name!r}", f"the grove has {', '.join(blocks) or 'none'}", "add the block first"
        )
    return found
