"""Gates, refill points and measured heights, in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely

from gridmap.crs import parse_crs
from gridmap.errors import FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.files import MOST_LAYER_BYTES, SQLITE, check_file, start_of
from gridmap.exchange.layers import read_layer
from gridmap.exchange.outlines import cells_of
from gridmap.exchange.places import coordinate_columns, point
from gridmap.exchange.table import read_table, refusal

POINT_KINDS: Final = ("gate", "refill", "other")
_LABEL: Final = ("block", "row", "position")
_HEIGHT_COLUMNS: Final = (*_LABEL, "longitude", "latitude", "easting", "northing", "elevation_m")
# Dry land with trees on it; generous, to catch a wrong unit only.
_LOWEST_M, _HIGHEST_M = -450.0, 6000.0


def read_points(
    path: str | Path, *, layer: str | None = None, crs: object = None, kind: str | None = None
) -> gpd.GeoDataFrame:
    """Read gates, refill points and other points that the work starts or stops at.

    Parameters
    ----------
    path : path
        A map file of points (see `read_layer`) with a column kind (gate, refill, other) and optionally name.
    layer, crs : optional
        As in `read_layer`.
    kind : str, optional
        What the grower says of entries that say nothing themselves.

    Returns
    -------
    GeoDataFrame
        name (the kind and the entry's number where the file has none), kind, geometry (Point); CRS of the file.

    Raises
    ------
    FileRefused, CRSRefused
        As in `read_layer`.
    RowsRefused
        A kind that is missing or not known, or an entry that is no point.

    Examples
    --------
    >>> read_points("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    frame = read_layer(path, layer=layer, crs=crs, kinds="Point")

    def read(entry: Mapping[str, str], number: int) -> dict[str, Any]:
        entry = {**entry, "kind": entry.get("kind") or kind or ""}
        found = fields.word(entry, "kind", POINT_KINDS, needed=True)
        place = _point(frame.geometry.iloc[number - 1])
        return {"name": fields.text(entry, "name") or f"{found} {number}", "kind": found, "geometry": place}

    return _all(list(enumerate(cells_of(frame), start=1)), read, Path(path).name, "entry", frame.crs)


def read_heights(path: str | Path, *, layer: str | None = None, crs: object = None) -> gpd.GeoDataFrame:
    """Read heights that were measured at trees, or anywhere in the grove.

    Parameters
    ----------
    path : path
        CSV, or a map file of points, with elevation_m [m] and where it was measured: block, row and position of a
        tree, or coordinates of its own.
    layer, crs : optional
        As in `read_trees`.

    Returns
    -------
    GeoDataFrame
        block, row, position (missing where coordinates stand instead), elevation_m, geometry (None where the tree
        is named); CRS of the file, None where no line has coordinates. Lines without a height are left out.

    Raises
    ------
    FileRefused, CRSRefused
        The file, its columns or its CRS.
    RowsRefused
        Every line that can't be used, by its number.

    Examples
    --------
    >>> read_heights("nowhere.csv")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    if start_of(path).lstrip(b"\xef\xbb\xbf \t\r\n").startswith((SQLITE, b"{")):
        frame = read_layer(path, layer=layer, crs=crs, kinds="Point")
        entries = list(enumerate(cells_of(frame), start=1))
        if "elevation_m" not in entries[0][1]:
            raise FileRefused(f"file {path.name} has no column elevation_m", "heights are in metres")
        shapes = list(frame.geometry)
        return _all(entries, lambda cells, number: _height(cells, _point(shapes[number - 1])), path.name, "entry",
                    frame.crs)  # fmt: skip
    table = read_table(path, _HEIGHT_COLUMNS)
    if "elevation_m" not in table.columns:
        raise FileRefused(f"file {path.name} has no column elevation_m", "heights are in metres")
    named = set(_LABEL) <= set(table.columns)
    pair, source = coordinate_columns(table.columns, crs, path.name, needed=not named)
    if table.problems:
        raise refusal(path.name, table.problems, table.unit)

    def read(cells: Mapping[str, str], _number: int) -> dict[str, Any] | None:
        return _height(cells, None if pair is None else point(cells, pair, needed=not named))

    return _all(table.rows, read, path.name, table.unit, source)


def _point(shape: Any) -> shapely.Point:
    if isinstance(shape, shapely.MultiPoint) and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    if not isinstance(shape, shapely.Point) or shape.is_empty:
        raise FieldProblem(f"its geometry is {getattr(shape, 'geom_type', 'missing')}: it must be a Point")
    return shape


def _height(cells: Mapping[str, str], place: Any) -> dict[str, Any] | None:
    """Read one line; None where it has no height."""
    height = fields.decimal(cells, "elevation_m", least=_LOWEST_M, most=_HIGHEST_M)
    if height is None:
        return None
    needed = place is None
    return {
        "block": fields.text(cells, "block", needed=needed),
        **{name: fields.whole(cells, name, least=1, most=100_000, needed=needed) for name in ("row", "position")},
        "elevation_m": height,
        "geometry": place,
    }


def _all(rows: list[tuple[int, dict[str, str]]], read: Any, name: str, unit: str, crs: Any) -> gpd.GeoDataFrame:
    """Read every line; all that is wrong is told at once."""
    records, problems = [], []
    for number, cells in rows:
        try:
            record = read(cells, number)
        except FieldProblem as problem:
            problems.append((number, str(problem)))
            continue
        if record is not None:
            records.append(record)
    if problems:
        raise refusal(name, problems, unit)
    if not records:
        raise FileRefused(f"file {name} has nothing to take in", "every line is empty")
    frame = pd.DataFrame(records)
    placed = gpd.GeoSeries(frame.pop("geometry"), crs=None if crs is None else parse_crs(crs))
    return gpd.GeoDataFrame(frame, geometry=placed, crs=placed.crs)
