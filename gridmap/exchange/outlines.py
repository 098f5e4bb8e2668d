"""Outlines of blocks and keep-outs, in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.errors import FileRefused, RowsRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.layers import read_layer
from gridmap.exchange.table import column_name

KEEP_OUT_KINDS: Final = ("water", "hive", "dwelling", "neighbour", "bush", "other")
# Facts of a block that may ride along, with their limits [unit in the name]; generous, to catch a wrong unit only.
BLOCK_FACTS: Final[dict[str, tuple[float, float]]] = {
    "row_bearing_deg": (0, 360),
    "row_spacing_m": (0.5, 100),
    "tree_spacing_m": (0.3, 100),
    "headland_m": (0, 200),
    "uphill_bearing_deg": (0, 360),
    "canopy_height_m": (0.1, 30),
    "canopy_width_m": (0.1, 30),
}
MOST_SETBACK_M: Final = 5_000.0


def read_outlines(
    path: str | Path, *, layer: str | None = None, crs: object = None, name_column: str | None = None
) -> gpd.GeoDataFrame:
    """Read block outlines, with the facts of each block that ride along.

    Parameters
    ----------
    path : path
        GeoJSON or GeoPackage (see `read_layer`).
    layer, crs : optional
        As in `read_layer`.
    name_column : str, optional
        Column with the names of the blocks; else block or name, whatever their case; else Block 1, Block 2, ...

    Returns
    -------
    GeoDataFrame
        block, row_bearing_deg, row_spacing_m, tree_spacing_m, headland_m, uphill_bearing_deg, canopy_height_m,
        canopy_width_m (NaN where the file says nothing), geometry as drawn; CRS of the file.

    Raises
    ------
    FileRefused, CRSRefused
        As in `read_layer`.
    RowsRefused
        A name missing, a fact that is no number or outside its limits; every entry told by its number.

    Examples
    --------
    >>> read_outlines("nowhere.gpkg")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.gpkg is not there: it must be a file. Check its name and folder.
    """
    frame = read_layer(path, layer=layer, crs=crs, kinds="Polygon")
    cells = cells_of(frame)
    name_key = (
        column_name(name_column) if name_column else next((key for key in ("block", "name") if key in cells[0]), None)
    )

    def read(entry: Mapping[str, str], number: int) -> dict[str, Any]:
        name = f"Block {number}" if name_key is None else fields.text(entry, name_key, needed=True)
        facts = {
            key: _or_nan(fields.decimal(entry, key, least=least, most=most))
            for key, (least, most) in BLOCK_FACTS.items()
        }
        return {"block": name, **facts}

    return _frame(cells, read, frame, Path(path).name)


def read_keep_outs(
    path: str | Path,
    *,
    layer: str | None = None,
    crs: object = None,
    kind: str | None = None,
    setback_m: float | None = None,
) -> gpd.GeoDataFrame:
    """Read what must never be sprayed, with the distance to keep from it.

    Parameters
    ----------
    path : path
        GeoJSON or GeoPackage with columns kind (water, hive, dwelling, neighbour, bush, other), setback_m, and
        optionally name.
    layer, crs : optional
        As in `read_layer`.
    kind, setback_m : optional
        What the grower says of entries that say nothing themselves; the setback in metres.

    Returns
    -------
    GeoDataFrame
        name, kind, setback_m [m], geometry; CRS of the file.

    Raises
    ------
    FileRefused, CRSRefused
        As in `read_layer`.
    RowsRefused
        A kind or setback that is missing or not known: no distance is ever assumed.

    Examples
    --------
    >>> read_keep_outs("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    frame = read_layer(path, layer=layer, crs=crs, kinds="Polygon")

    told = {"kind": kind or "", "setback_m": "" if setback_m is None else str(setback_m)}

    def read(entry: Mapping[str, str], number: int) -> dict[str, Any]:
        entry = {**entry, **{name: entry.get(name) or value for name, value in told.items()}}
        kind = fields.word(entry, "kind", KEEP_OUT_KINDS, needed=True)
        setback_m = fields.decimal(entry, "setback_m", least=0, most=MOST_SETBACK_M, needed=True)
        return {"name": fields.text(entry, "name") or f"{kind} {number}", "kind": kind, "setback_m": setback_m}

    return _frame(cells_of(frame), read, frame, Path(path).name)


def cells_of(frame: gpd.GeoDataFrame) -> list[dict[str, str]]:
    """Return the attributes of every entry as the text that a table would hold."""
    names = {column: column_name(str(column)) for column in frame.columns if column != frame.geometry.name}
    twice = next((name for name in names.values() if list(names.values()).count(name) > 1), None)
    if twice is not None:
        raise FileRefused(
            f"column {twice} is there twice", "case and blanks in a name do not count", "rename or delete one"
        )
    return [
        {name: _as_text(value) for name, value in zip(names.values(), values, strict=True)}
        for values in frame[list(names)].itertuples(index=False, name=None)
    ] or [{}]


def _as_text(value: Any) -> str:
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else f"{number:.12f}"
    if isinstance(value, pd.Timestamp):
        return value.isoformat()
    return str(value)


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _frame(
    cells: list[dict[str, str]],
    read: Callable[[Mapping[str, str], int], dict[str, Any]],
    frame: gpd.GeoDataFrame,
    name: str,
) -> gpd.GeoDataFrame:
    """Read every entry; all that is wrong is told at once."""
    records, problems = [], []
    for number, entry in enumerate(cells, start=1):
        try:
            records.append(read(entry, number))
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    if problems:
        raise refusal(name, problems, "entry")
    return gpd.GeoDataFrame(records, geometry=frame.geometry.to_numpy(), crs=frame.crs)


def refusal(name: str, problems: list[tuple[int, str]], unit: str) -> RowsRefused:
    """Make the error that lists the first bad lines and holds all."""
    count = len(problems)
    shown = "; ".join(f"{unit} {number}: {text}" for number, text in problems[:5])
    rest = f"; and {count - 5} more" if count > 5 else ""
    plural = {"line": "lines", "entry": "entries"}[unit]
    what = f"{name} has {count} {plural if count > 1 else unit} that can't be used"
    return RowsRefused(what, shown + rest, "mend them and import again", problems=problems)
