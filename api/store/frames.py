"""Read the grove file into frames; their columns are the contracts between the rooms (DEVELOPERS.md)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from sqlalchemy import Connection, Select, func, select

from api.store.tables import BLOCK, CATCH, CHANGE, COUNT, KEEP_OUT, PLACE, PLANT, ROW_LINE, WALK, ZONE

_FLOATS = {
    "row_bearing_deg",
    "row_spacing_m",
    "tree_spacing_m",
    "headland_m",
    "uphill_bearing_deg",
    "canopy_height_m",
    "canopy_width_m",
    "elevation_m",
    "upslope_m",
    "setback_m",
    "accuracy_m",
    "length_m",
    "litres",
}
_WHOLE = {
    "row",
    "position",
    "taps",
    "nymphs",
    "adults",
    "number",
    "from_position",
    "to_position",
    "run",
    "trees",
    "version",
}


def frame(connection: Connection, query: Select[Any]) -> pd.DataFrame:
    """Return what a query finds, each column of the same type whether or not there are rows.

    A figure that was not given is NaN; whole numbers become floats only where one of them is missing.
    """
    found = connection.execute(query)
    names = list(found.keys())
    rows = found.all()
    columns: dict[str, Any] = {}
    for index, name in enumerate(names):
        values = [row[index] for row in rows]
        if name in _FLOATS or (name in _WHOLE and None in values):
            columns[name] = pd.Series(values, dtype="float64")
        elif name in _WHOLE:
            columns[name] = pd.Series(values, dtype="int64")
        elif name in ("time", "at", "created"):
            columns[name] = pd.Series(pd.to_datetime(values, utc=True)).astype("datetime64[ms, UTC]")
        else:
            columns[name] = pd.Series(values, dtype="object")
    return pd.DataFrame(columns, columns=names)


def shapes(connection: Connection, query: Select[Any], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return what a query finds, with its column ``geometry`` in the grove's CRS."""
    table = frame(connection, query)
    return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(table["geometry"].to_numpy(), crs=crs), crs=crs)


def blocks(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return the `blocks` contract, in the order of their names."""
    table = BLOCK.c
    found = shapes(
        connection,
        select(
            table.name.label("block"),
            table.geom.label("geometry"),
            table.row_bearing_deg,
            table.row_spacing_m,
            table.tree_spacing_m,
            table.headland_m,
            table.uphill_bearing_deg,
            table.canopy_height_m,
            table.canopy_width_m,
            table.uuid,
        ).order_by(table.name),
        crs,
    )
    # Map area: in the projected CRS, one hectare is 10,000 square metres
    found.insert(found.columns.get_loc("uuid"), "area_ha", found.geometry.area / 10_000)
    return found


def rows(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return block, row, geometry (LineString), uuid of every row."""
    return shapes(
        connection,
        select(BLOCK.c.name.label("block"), ROW_LINE.c.row, ROW_LINE.c.geom.label("geometry"), ROW_LINE.c.uuid)
        .join_from(ROW_LINE, BLOCK, ROW_LINE.c.block_uuid == BLOCK.c.uuid)
        .order_by(BLOCK.c.name, ROW_LINE.c.row),
        crs,
    )


def keep_outs(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return the `keep_outs` contract."""
    table = KEEP_OUT.c
    return shapes(
        connection,
        select(
            table.uuid.label("keep_out"), table.name, table.kind, table.setback_m, table.geom.label("geometry")
        ).order_by(table.id),
        crs,
    )


def trees(connection: Connection, crs: pyproj.CRS, *, include_gone: bool) -> gpd.GeoDataFrame:
    """Return the `trees` contract by block, row, position; a tree without a canopy of its own has its block's."""
    query = (
        select(
            PLANT.c.uuid.label("tree"),
            PLACE.c.uuid.label("place"),
            BLOCK.c.name.label("block"),
            PLACE.c.row,
            PLACE.c.position,
            PLACE.c.geom.label("geometry"),
            PLACE.c.elevation_m,
            PLACE.c.upslope_m,
            func.coalesce(PLANT.c.canopy_height_m, BLOCK.c.canopy_height_m).label("canopy_height_m"),
            func.coalesce(PLANT.c.canopy_width_m, BLOCK.c.canopy_width_m).label("canopy_width_m"),
            PLANT.c.status,
        )
        .join_from(PLANT, PLACE, PLANT.c.place_uuid == PLACE.c.uuid)
        .join(BLOCK, PLACE.c.block_uuid == BLOCK.c.uuid)
        .order_by(BLOCK.c.name, PLACE.c.row, PLACE.c.position, PLANT.c.id)
    )
    return shapes(connection, query if include_gone else query.where(PLANT.c.status == "alive"), crs)


def places(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return place, block, row, position, geometry, elevation_m, upslope_m, tree (None in a gap)."""
    return shapes(
        connection,
        select(
            PLACE.c.uuid.label("place"),
            BLOCK.c.name.label("block"),
            PLACE.c.row,
            PLACE.c.position,
            PLACE.c.geom.label("geometry"),
            PLACE.c.elevation_m,
            PLACE.c.upslope_m,
            PLANT.c.uuid.label("tree"),
        )
        .join_from(PLACE, BLOCK, PLACE.c.block_uuid == BLOCK.c.uuid)
        .outerjoin(PLANT, (PLANT.c.place_uuid == PLACE.c.uuid) & (PLANT.c.status == "alive"))
        .order_by(BLOCK.c.name, PLACE.c.row, PLACE.c.position),
        crs,
    )


def walks(connection: Connection) -> pd.DataFrame:
    """Return the `walks` contract in the order of their dates; dates are `datetime.date`."""
    found = frame(
        connection,
        select(WALK.c.uuid.label("walk"), WALK.c.date, WALK.c.name, WALK.c.observer).order_by(WALK.c.date, WALK.c.id),
    )
    found["date"] = pd.Series([date.fromisoformat(value) for value in found["date"]], dtype="object")
    return found


def counts(connection: Connection, of: Sequence[str] | None) -> pd.DataFrame:
    """Return the `counts` contract of some walks (None: of all), in the order in which they were stored."""
    table = COUNT.c
    query = select(
        table.uuid.label("count"),
        table.walk_uuid.label("walk"),
        table.plant_uuid.label("tree"),
        table.time,
        table.taps,
        table.nymphs,
        table.adults,
        table.wing_buds,
        table.reason,
        table.accuracy_m,
        table.observer,
    ).order_by(table.id)
    return frame(connection, query if of is None else query.where(table.walk_uuid.in_(of)))


def catch(connection: Connection, of: Sequence[str] | None) -> pd.DataFrame:
    """Return the `catch` contract of some walks (None: of all)."""
    query = select(CATCH.c.count_uuid.label("count"), CATCH.c.group, CATCH.c.number).order_by(CATCH.c.id)
    if of is not None:
        query = query.join(COUNT, CATCH.c.count_uuid == COUNT.c.uuid).where(COUNT.c.walk_uuid.in_(of))
    return frame(connection, query)


def zones(connection: Connection, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return zone (uuid), name, version, frozen, walk, created, geometry, area_ha of every version, oldest first."""
    table = ZONE.c
    found = shapes(
        connection,
        select(
            table.uuid.label("zone"),
            table.name,
            table.version,
            table.frozen,
            table.walk_uuid.label("walk"),
            table.created,
            table.geom.label("geometry"),
        ).order_by(table.id),
        crs,
    )
    found["frozen"] = found["frozen"].astype(bool)
    found["area_ha"] = found.geometry.area / 10_000
    return found


def history(connection: Connection, limit: int | None) -> pd.DataFrame:
    """Return act, who, at, what, table, row, before, after, newest first; before and after are JSON."""
    table = CHANGE.c
    query = select(
        table.act,
        table.who,
        table.at,
        table.what,
        table.table_name.label("table"),
        table.row_uuid.label("row"),
        table.before,
        table.after,
    ).order_by(table.id.desc())
    # "row" is a uuid here, not a row's number
    found = connection.execute(query if limit is None else query.limit(limit))
    changes = pd.DataFrame(found.all(), columns=list(found.keys()), dtype="object")
    changes["at"] = pd.Series(pd.to_datetime(changes["at"], utc=True)).astype("datetime64[ms, UTC]")
    return changes


def listed(value: str | Iterable[str] | None) -> list[str] | None:
    """Return one UUID or several as a list; None stays None.

    Examples
    --------
    >>> listed("4f")
    ['4f']
    """
    if value is None:
        return None
    return [value] if isinstance(value, str) else list(value)
