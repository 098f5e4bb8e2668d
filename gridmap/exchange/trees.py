"""Tree positions that carry block, row and position, in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import pyproj
import shapely
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion

from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.files import MOST_LAYER_BYTES, SQLITE, check_file, start_of
from gridmap.exchange.layers import read_layer
from gridmap.exchange.outlines import cells_of, refusal
from gridmap.exchange.table import Table, read_table

MOST_NUMBER: Final = 100_000
STATUSES: Final = ("alive", "gone")
_COLUMNS: Final = (
    "block",
    "row",
    "position",
    "longitude",
    "latitude",
    "easting",
    "northing",
    "x_m",
    "y_m",
    "tree",
    "status",
    "elevation_m",
    "canopy_height_m",
    "canopy_width_m",
)


def read_trees(
    path: str | Path, *, crs: object = None, layer: str | None = None, place_at: tuple[float, float] | None = None
) -> gpd.GeoDataFrame:
    """Read the trees of a grove, each with its block, row and position.

    Parameters
    ----------
    path : path
        CSV with longitude and latitude, or easting and northing with ``crs``; GeoJSON or GeoPackage of points.
        Columns block, row, position; optionally tree (UUID), status, elevation_m, canopy_height_m, canopy_width_m.
    crs : optional
        CRS of easting and northing, or of a file that names none.
    layer : str, optional
        Layer of a GeoPackage.
    place_at : (longitude, latitude), optional
        Lays a CSV with a local grid, columns x_m (east) and y_m (north) [m], with its origin there [degrees, WGS 84].

    Returns
    -------
    GeoDataFrame
        block, row, position (missing only where the file has no such column: see `gridmap.ground.number_places`),
        tree (None where not given), status, elevation_m, canopy_height_m, canopy_width_m, geometry; CRS of the file.

    Raises
    ------
    FileRefused, CRSRefused
        The file, its columns or its CRS.
    RowsRefused
        Every line that can't be used, by its number: not a whole number, no position, a place or a tree given twice.

    Examples
    --------
    >>> read_trees("nowhere.csv")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    start = start_of(path).lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith((SQLITE, b"{")):
        frame = read_layer(path, layer=layer, crs=crs, kinds="Point")
        rows = list(enumerate(cells_of(frame), start=1))
        names = tuple(rows[0][1])
        table = Table(path.name, names, (), rows, [], unit="entry")
        return _read(table, list(frame.geometry), frame.crs)
    table = read_table(path, _COLUMNS)
    if place_at is not None:
        return _read(table, *local_grid(table, place_at))
    pair, source = coordinate_columns(table.columns, crs, path.name, needed=True)
    return _read(table, pair, source)


def local_grid(table: Table, place_at: tuple[float, float]) -> tuple[tuple[str, str], pyproj.CRS]:
    """Tell the columns of a local grid, and the CRS that has its origin where the grower lays it.

    A transverse Mercator projection about the origin: true to scale there, and its north is north.
    """
    if not {"x_m", "y_m"} <= set(table.columns):
        rule = "a grid that is laid at a place has them, in metres from its origin"
        raise FileRefused(f"file {table.name} has no columns x_m and y_m", rule)
    longitude, latitude = place_at
    projection = TransverseMercatorConversion(latitude_natural_origin=latitude, longitude_natural_origin=longitude)
    grid = ProjectedCRS(projection, name="local grid", geodetic_crs=parse_crs(LONLAT))
    return ("x_m", "y_m"), pyproj.CRS.from_wkt(grid.to_wkt())


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


def _read(table: Table, places: tuple[str, str] | list[Any] | None, crs: Any) -> gpd.GeoDataFrame:
    """Read every line; all that is wrong is told at once."""
    lacking = [name for name in ("block", "row") if name not in table.columns]
    if lacking:
        rule = "every tree names its block, row and position"
        raise FileRefused(f"file {table.name} has no column {', '.join(lacking)}", rule)
    problems = list(table.problems)
    records: list[dict[str, Any]] = []
    seen: dict[Any, int] = {}
    for index, (number, cells) in enumerate(table.rows):
        try:
            record = _tree(cells, needs_position="position" in table.columns)
            if isinstance(places, list):
                record["geometry"] = _given_point(places[index])
            else:
                record["geometry"] = point(cells, places, needed=True) if places else None
            _check_twice(record, seen, number, table.unit)
            records.append(record)
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    if problems:
        raise refusal(table.name, sorted(problems), table.unit)
    if not records:
        raise FileRefused(f"file {table.name} has no trees", "there is nothing to take in")
    frame = gpd.GeoDataFrame(records, geometry="geometry", crs=crs)
    return frame.astype({"row": "int64", "position": "Int64"})


def _tree(cells: Mapping[str, str], *, needs_position: bool) -> dict[str, Any]:
    nan = float("nan")
    heights = {name: fields.decimal(cells, name, least=0.1, most=30) for name in ("canopy_height_m", "canopy_width_m")}
    elevation = fields.decimal(cells, "elevation_m", least=-450, most=6000)
    position = fields.whole(cells, "position", least=1, most=MOST_NUMBER, needed=needs_position)
    return {
        "block": fields.text(cells, "block", needed=True),
        "row": fields.whole(cells, "row", least=1, most=MOST_NUMBER, needed=True),
        "position": pd.NA if position is None else position,
        "tree": fields.unique_id(cells, "tree"),
        "status": fields.word(cells, "status", STATUSES) or "alive",
        "elevation_m": nan if elevation is None else elevation,
        **{name: nan if value is None else value for name, value in heights.items()},
    }


def _given_point(shape: object) -> shapely.Point:
    if isinstance(shape, shapely.MultiPoint) and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    if not isinstance(shape, shapely.Point) or shape.is_empty:
        raise FieldProblem(f"its geometry is {getattr(shape, 'geom_type', 'missing')}: it must be a Point")
    return shape


def _check_twice(record: dict[str, Any], seen: dict[Any, int], number: int, unit: str) -> None:
    """Refuse a second living plant in one place, and a UUID that was used before."""
    keys: list[tuple[Any, ...]] = []
    if record["position"] is not pd.NA and record["status"] == "alive":
        keys.append((record["block"].casefold(), record["row"], record["position"]))
    if record["tree"] is not None:
        keys.append((record["tree"],))
    for key in keys:
        if key in seen:
            what = "tree" if len(key) == 1 else "place"
            raise FieldProblem(f"{what} {' '.join(map(str, key))} is in {unit} {seen[key]} already")
        seen[key] = number
