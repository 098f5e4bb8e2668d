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

from gridmap import checks
from gridmap.crs import LONLAT, parse_crs
from gridmap.errors import FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.files import MOST_LAYER_BYTES, check_file
from gridmap.exchange.kinds import kind_of
from gridmap.exchange.layers import read_layer
from gridmap.exchange.outlines import cells_of
from gridmap.exchange.places import coordinate_columns, point
from gridmap.exchange.table import Table, read_table, refusal

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
    path: str | Path,
    *,
    crs: object = None,
    layer: str | None = None,
    place_at: tuple[float, float] | None = None,
    rows: str = "needed",
    block: str | None = None,
) -> gpd.GeoDataFrame:
    """Read the trees of a grove, each with its block, row and position.

    Parameters
    ----------
    path : path
        CSV with longitude and latitude, or easting and northing with ``crs``; points of GeoJSON, GeoPackage, KML or a
        zipped Shapefile; waypoints of GPX.
        Columns block, row, position; optionally tree (UUID), status, elevation_m, canopy_height_m, canopy_width_m.
    crs : optional
        CRS of easting and northing, or of a file that names none.
    layer : str, optional
        As in `read_layer`.
    place_at : (longitude, latitude), optional
        Lays a CSV with a local grid, columns x_m (east) and y_m (north) [m], with its origin there [degrees, WGS 84].
    rows : str
        "needed": every tree has its row. "later": row and position may be missing, to be found from the positions.
    block : str, optional
        Block of the trees that name none.

    Returns
    -------
    GeoDataFrame
        block, row, position (missing only where the file has no such column: see `gridmap.ground.number_places`),
        tree (None where not given), status, elevation_m, canopy_height_m, canopy_width_m, geometry; CRS of the file.
        Row is missing only with ``rows="later"``. ``attrs["notes"]`` as in `read_layer`.

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
    later = checks.one_of(rows, ("needed", "later"), "rows") == "later"
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    if kind_of(path) != "CSV":
        frame = read_layer(path, layer=layer, crs=crs, kinds="Point")
        entries = list(enumerate(cells_of(frame, _COLUMNS), start=1))
        table = Table(path.name, tuple(entries[0][1]), (), entries, [], unit="entry")
        trees = _read(table, list(frame.geometry), frame.crs, later=later, block=block)
        trees.attrs["notes"] = list(frame.attrs.get("notes", []))
        return trees
    table = read_table(path, _COLUMNS)
    if place_at is not None:
        return _read(table, *local_grid(table, place_at), later=later, block=block)
    pair, source = coordinate_columns(table.columns, crs, path.name, needed=True)
    return _read(table, pair, source, later=later, block=block)


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


def _read(
    table: Table, places: tuple[str, str] | list[Any] | None, crs: Any, *, later: bool, block: str | None
) -> gpd.GeoDataFrame:
    """Read every line; all that is wrong is told at once."""
    needed = ([] if block else ["block"]) + ([] if later else ["row"])
    lacking = [name for name in needed if name not in table.columns]
    if lacking:
        rule = "every tree names its block" if later else "every tree names its block, row and position"
        remedy = "name the block of all of them" if lacking == ["block"] else None
        raise FileRefused(f"file {table.name} has no column {', '.join(lacking)}", rule, remedy)
    problems = list(table.problems)
    records: list[dict[str, Any]] = []
    seen: dict[Any, int] = {}
    for index, (number, cells) in enumerate(table.rows):
        try:
            told = {**cells, "block": cells.get("block") or block or ""}
            record = _tree(told, needs_row=not later, needs_position="position" in table.columns and not later)
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
    return frame.astype({"row": "Int64" if later else "int64", "position": "Int64"})


def _tree(cells: Mapping[str, str], *, needs_row: bool, needs_position: bool) -> dict[str, Any]:
    nan = float("nan")
    heights = {name: fields.decimal(cells, name, least=0.1, most=30) for name in ("canopy_height_m", "canopy_width_m")}
    elevation = fields.decimal(cells, "elevation_m", least=-450, most=6000)
    row = fields.whole(cells, "row", least=1, most=MOST_NUMBER, needed=needs_row)
    position = fields.whole(cells, "position", least=1, most=MOST_NUMBER, needed=needs_position)
    return {
        "block": fields.text(cells, "block", needed=True),
        "row": pd.NA if row is None else row,
        "position": pd.NA if position is None else position,
        "tree": fields.unique_id(cells, "tree"),
        "status": fields.word(cells, "status", STATUSES) or "alive",
        "elevation_m": nan if elevation is None else elevation,
        **{name: nan if value is None else value for name, value in heights.items()},
    }


def _given_point(shape: object) -> shapely.Point:
    if isinstance(shape, shapely.MultiPoint) and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    if shape is None or getattr(shape, "is_empty", False):
        raise FieldProblem("it has no position: a tree needs finite coordinates")
    if not isinstance(shape, shapely.Point):
        raise FieldProblem(f"its geometry is {getattr(shape, 'geom_type', 'missing')}: it must be a Point")
    return shapely.force_2d(shape)


def _check_twice(record: dict[str, Any], seen: dict[Any, int], number: int, unit: str) -> None:
    """Refuse a second living plant in one place, and a UUID that was used before."""
    keys: list[tuple[Any, ...]] = []
    numbered = record["row"] is not pd.NA and record["position"] is not pd.NA
    if numbered and record["status"] == "alive":
        keys.append((record["block"].casefold(), record["row"], record["position"]))
    if record["tree"] is not None:
        keys.append((record["tree"],))
    for key in keys:
        if key in seen:
            what = "tree" if len(key) == 1 else "place"
            raise FieldProblem(f"{what} {' '.join(map(str, key))} is in {unit} {seen[key]} already")
        seen[key] = number
