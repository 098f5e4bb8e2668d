"""Which columns of a table say where a thing is, in which CRS, and the place of one line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import shapely

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem


def coordinate_columns(
    columns: tuple[str, ...], crs: object, name: str, *, needed: bool
) -> tuple[tuple[str, str] | None, Any]:
    """Tell which two columns hold the place, and in which CRS."""
    metres, degrees = {"easting", "northing"} <= set(columns), {"longitude", "latitude"} <= set(columns)
    if metres and (crs is not None or not degrees):
        if crs is None:
            rule = "easting and northing need one"
            raise CRSRefused(f"file {name} names no CRS", rule, "name it, for instance EPSG:7855")
        source = parse_crs(crs)
        if not source.is_projected:
            raise CRSRefused(f"easting and northing of {name} can't be in {source.name}", "that is in degrees")
        return ("easting", "northing"), source
    if degrees:
        source = parse_crs(crs) if crs is not None else parse_crs(LONLAT)
        if not source.is_geographic:
            raise CRSRefused(f"longitude and latitude of {name} can't be in {source.name}", "that is in metres")
        return ("longitude", "latitude"), source
    if needed:
        rule = "a table of trees needs longitude and latitude, or easting and northing"
        raise FileRefused(f"file {name} has no coordinates", rule)
    return None, None


def point(cells: Mapping[str, str], pair: tuple[str, str], *, needed: bool) -> shapely.Point | None:
    """Read the place of one line; None where both cells are empty and not needed."""
    x, y = (fields.decimal(cells, name, needed=needed) for name in pair)
    if x is None and y is None:
        return None
    if x is None or y is None:
        raise FieldProblem(f"{pair[0] if x is None else pair[1]} is missing")
    if pair[0] == "longitude" and abs(y) > 90 and abs(x) <= 90:
        raise FieldProblem(f"latitude is {y:g}: it must be between -90 and 90; longitude and latitude look swapped")
    if pair[0] == "longitude" and (abs(x) > 180 or abs(y) > 90):
        raise FieldProblem(f"longitude, latitude are {x:g}, {y:g}: they must be within 180 and 90 degrees")
    return shapely.Point(x, y)
