"""Keep where heights come from, what they say of each place, and the points that are no trees: gates, refill points."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from sqlalchemy import Connection, select

from api.store.frames import shapes
from api.store.ground import frame_lines, given_uuid, missing_to_none, one_shape
from api.store.history import Act
from api.store.info import words
from api.store.tables import PLACE, POINT_OF_INTEREST, TERRAIN
from api.store.times import now
from gridmap import checks
from gridmap.errors import InputRefused

POINT_KINDS = ("gate", "refill", "other")
# A place's figures are kept to the millimetre: what differs by less is no change, and makes no history.
_DECIMALS = 3


@dataclass(frozen=True)
class Terrain:
    """Where heights come from.

    Attributes
    ----------
    source : {"dem", "heights"}
        A DEM, or heights measured at trees.
    file_name, file_sha256 : str or None
        The file they were read from, and the hexadecimal digest of its content.
    crs, vertical_unit : str or None
        Of the file.
    cell_width_m, cell_height_m : float or None
        Of the cells around the grove as they were read, before any thinning [m].
    heights : int or None
        How many heights were read.
    read : datetime.datetime
        UTC.
    geotiff : bytes or None
        The DEM around the grove, thinned where need be, in the grove's CRS and metres.
    """

    source: str
    file_name: str | None
    file_sha256: str | None
    crs: str | None
    vertical_unit: str | None
    cell_width_m: float | None
    cell_height_m: float | None
    heights: int | None
    read: datetime
    geotiff: bytes | None


def set_terrain(act: Act, source: str, content: dict[str, Any]) -> str:
    """Store where heights come from, in place of what was stored for the same source; return its UUID."""
    checks.one_of(source, ("dem", "heights"), "source of heights")
    row = {**dict.fromkeys(column.name for column in TERRAIN.columns if column.name not in ("id", "uuid")), **content}
    row |= {"source": source, "read": now()}
    held = act.connection.execute(select(TERRAIN.c.uuid).where(TERRAIN.c.source == source)).scalar()
    if held is not None:
        act.update(TERRAIN, held, row)
        return str(held)
    uuid = given_uuid(None)
    act.insert(TERRAIN, [{"uuid": uuid, **row}])
    return uuid


def read_terrain(connection: Connection) -> dict[str, Terrain]:
    """Return what is known of the heights, by its source."""
    found = connection.execute(select(TERRAIN)).mappings()
    return {
        row["source"]: Terrain(**{name: row[name] for name in row if name not in ("id", "uuid")}) for row in found
    }


def set_places(act: Act, frame: pd.DataFrame) -> int:
    """Store elevation_m and upslope_m of places (by their UUID in ``place``); return how many changed."""
    checks.columns(frame, ["place", "elevation_m", "upslope_m"], "heights of places")
    changes = {}
    for line in frame.to_dict("records"):
        figures = {name: missing_to_none(line[name]) for name in ("elevation_m", "upslope_m")}
        changes[line["place"]] = {
            name: None if value is None else round(checks.number(value, name), _DECIMALS)
            for name, value in figures.items()
        }
    return act.update_many(PLACE, changes)


def add_points(act: Act, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> list[str]:
    """Store gates, refill points and other points; return their UUIDs in the frame's order."""
    taken = set(act.connection.execute(select(POINT_OF_INTEREST.c.name)).scalars())
    rows = []
    for line in frame_lines(frame, ["name", "kind", "geometry"], "points", crs):
        name = words(line["name"], "name of a point")
        if name in taken:
            raise InputRefused(f"point {name!r} is in the grove already", "its name is its own", "name it otherwise")
        taken.add(name)
        rows.append(
            {
                "uuid": given_uuid(line.get("uuid")),
                "name": name,
                "kind": checks.one_of(line["kind"], POINT_KINDS, f"kind of point {name!r}"),
                "geom": one_shape(line["geometry"], "Point", f"point {name!r}"),
            }
        )
    act.insert(POINT_OF_INTEREST, rows)
    return [row["uuid"] for row in rows]


def points(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return point (uuid), name, kind, geometry, in the order of their names."""
    table = POINT_OF_INTEREST.c
    query = select(table.uuid.label("point"), table.name, table.kind, table.geom.label("geometry"))
    return shapes(connection, query.order_by(table.name), crs)
