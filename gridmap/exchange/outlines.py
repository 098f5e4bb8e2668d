"""Outlines of blocks and keep-outs, in."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.errors import FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.files import MOST_LAYER_BYTES, check_file
from gridmap.exchange.kinds import kind_of
from gridmap.exchange.layers import read_layer
from gridmap.exchange.outline_table import read_outline_table
from gridmap.exchange.rings import CLOSING_GAP_M
from gridmap.exchange.table import column_name, refusal

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
# Letters that a column of a Shapefile has at most (dBASE).
_SHORTEST: Final = 10


def read_outlines(
    path: str | Path,
    *,
    layer: str | None = None,
    crs: object = None,
    name_column: str | None = None,
    closing_gap_m: float = CLOSING_GAP_M,
) -> gpd.GeoDataFrame:
    """Read block outlines, with the facts of each block that ride along.

    Parameters
    ----------
    path : path
        GeoJSON, GeoPackage, KML, GPX, zipped Shapefile (see `read_layer`), or CSV (see `read_outline_table`).
    layer, crs, closing_gap_m : optional
        As in `read_layer`.
    name_column : str, optional
        Column with the names of the blocks; else block or name, whatever their case; else Block 1, Block 2, ...

    Returns
    -------
    GeoDataFrame
        block, row_bearing_deg, row_spacing_m, tree_spacing_m, headland_m, uphill_bearing_deg, canopy_height_m,
        canopy_width_m (NaN where the file says nothing), geometry as drawn; CRS of the file. ``attrs["notes"]``:
        gaps that were closed, entries that were left out.

    Raises
    ------
    FileRefused, CRSRefused, OutlineRefused
        As in `read_layer`.
    RowsRefused
        A name missing, a fact that is no number or outside its limits; every entry told by its number.

    Examples
    --------
    >>> read_outlines("nowhere.gpkg")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.gpkg is not there: it must be a file. Check its name and folder.
    """
    wanted = None if name_column is None else column_name(name_column)
    known = [*dict.fromkeys(([wanted] if wanted else []) + ["block", "name"]), *BLOCK_FACTS]
    frame = _layer_or_table(Path(path), known, layer, crs, closing_gap_m)
    cells = cells_of(frame, known)
    name_key = wanted or next((key for key in ("block", "name") if key in cells[0]), None)

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
    closing_gap_m: float = CLOSING_GAP_M,
) -> gpd.GeoDataFrame:
    """Read what must never be sprayed, with the distance to keep from it.

    Parameters
    ----------
    path : path
        As in `read_outlines`, with columns kind (water, hive, dwelling, neighbour, bush, other), setback_m, and
        optionally name.
    layer, crs, closing_gap_m : optional
        As in `read_layer`.
    kind, setback_m : optional
        What the grower says of entries that say nothing themselves; the setback in metres.

    Returns
    -------
    GeoDataFrame
        name, kind, setback_m [m], geometry; CRS of the file.

    Raises
    ------
    FileRefused, CRSRefused, OutlineRefused
        As in `read_layer`.
    RowsRefused
        A kind or setback that is missing or not known: no distance is ever assumed.

    Examples
    --------
    >>> read_keep_outs("nowhere.geojson")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.geojson is not there: it must be a file. Check its name and folder.
    """
    known = ("name", "kind", "setback_m")
    frame = _layer_or_table(Path(path), known, layer, crs, closing_gap_m)
    told = {"kind": kind or "", "setback_m": "" if setback_m is None else str(setback_m)}

    def read(entry: Mapping[str, str], number: int) -> dict[str, Any]:
        entry = {**entry, **{name: entry.get(name) or value for name, value in told.items()}}
        kind = fields.word(entry, "kind", KEEP_OUT_KINDS, needed=True)
        setback_m = fields.decimal(entry, "setback_m", least=0, most=MOST_SETBACK_M, needed=True)
        return {"name": fields.text(entry, "name") or f"{kind} {number}", "kind": kind, "setback_m": setback_m}

    return _frame(cells_of(frame, known), read, frame, Path(path).name)


def _layer_or_table(
    path: Path, known: Sequence[str], layer: str | None, crs: object, closing_gap_m: float
) -> gpd.GeoDataFrame:
    """Read outlines of a map file or a table; in a table of corners the first of the known columns names them."""
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    if kind_of(path) == "CSV":
        return read_outline_table(path, known, name=known[0], crs=crs)
    return read_layer(path, layer=layer, crs=crs, kinds="Polygon", closing_gap_m=closing_gap_m)


def cells_of(frame: gpd.GeoDataFrame, known: Collection[str] = ()) -> list[dict[str, str]]:
    """Return the attributes of every entry as the text that a table would hold.

    A Shapefile has names of ten letters at most: one of the ``known`` names that begins with such a name is meant.
    """
    names = {column: column_name(str(column)) for column in frame.columns if column != frame.geometry.name}
    if frame.attrs.get("ten_letters"):
        names = {column: _full_name(name, known, names.values()) for column, name in names.items()}
    twice = next((name for name in names.values() if list(names.values()).count(name) > 1), None)
    if twice is not None:
        raise FileRefused(
            f"column {twice} is there twice", "case and blanks in a name do not count", "rename or delete one"
        )
    return [
        {name: _as_text(value) for name, value in zip(names.values(), values, strict=True)}
        for values in frame[list(names)].itertuples(index=False, name=None)
    ] or [{}]


def _full_name(name: str, known: Collection[str], there: Collection[str]) -> str:
    """Return the one known name that a shortened one stands for, or the name itself."""
    meant = [full for full in known if full[:_SHORTEST] == name and len(full) > _SHORTEST and full not in there]
    return meant[0] if len(meant) == 1 and len(name) == _SHORTEST else name


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
    lines = frame.attrs.get("lines")
    for number, entry in enumerate(cells, start=1):
        try:
            records.append(read(entry, number))
        except FieldProblem as problem:
            problems.append((lines[number - 1] if lines else number, str(problem)))
    if problems:
        raise refusal(name, problems, "line" if lines else "entry")
    result = gpd.GeoDataFrame(records, geometry=frame.geometry.to_numpy(), crs=frame.crs)
    result.attrs["notes"] = list(frame.attrs.get("notes", []))
    return result
