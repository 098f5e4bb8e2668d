"""Columns on their way out: text that is text, names that a format can hold, a label for each shape."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pandas.api import types

from gridmap.exchange.fields import clean
from gridmap.exchange.table import FORMULA

_SHORTEST = 10


def plain(
    frame: gpd.GeoDataFrame,
    *,
    text_times: bool = False,
    reserved: Iterable[str] = (),
    letters_only: bool = False,
    most_bytes: int | None = None,
) -> tuple[gpd.GeoDataFrame, dict[str, str]]:
    """Make every attribute a number, a time or clean text under a name that the format can hold.

    Parameters
    ----------
    frame : GeoDataFrame
        Any.
    text_times : bool
        Write times as ISO 8601 text, for formats without a type for them.
    reserved : iterable of str
        Names that the format keeps for itself, lower case; such a column gets an underscore.
    letters_only : bool
        Names of letters, digits and underscores only (they become XML elements).
    most_bytes : int, optional
        Longest text in UTF-8.

    Returns
    -------
    frame : GeoDataFrame
        With the geometry in a column "geometry" and a fresh index.
    renamed : dict
        Old name to new.

    Examples
    --------
    >>> frame = gpd.GeoDataFrame({"fid": [" a "]}, geometry=[shapely.Point(1, 2)])
    >>> table, renamed = plain(frame, reserved=["fid"])
    >>> table["fid_"].tolist(), renamed
    (['a'], {'fid': 'fid_'})
    """
    names: dict[str, str] = {}
    columns: dict[str, Any] = {}
    taken = set(reserved)
    for column in frame.columns:
        if column == frame.geometry.name:
            continue
        wanted = clean(str(column)) or "column"
        if letters_only:
            wanted = re.sub(r"[^A-Za-z0-9_]", "_", wanted)
            wanted = wanted if wanted[0].isalpha() else f"c_{wanted}"
        while wanted.casefold() in taken:
            wanted += "_"
        taken.add(wanted.casefold())
        if wanted != column:
            names[str(column)] = wanted
        columns[wanted] = _values(frame[column], text_times=text_times, most_bytes=most_bytes)
    table = gpd.GeoDataFrame(columns, geometry=frame.geometry.to_numpy(), crs=frame.crs, index=range(len(frame)))
    return table, names


def short_names(names: Sequence[str]) -> dict[str, str]:
    """Give every column a name of at most ten plain letters, unique whatever the case.

    Examples
    --------
    >>> short_names(["mean_per_beat", "median_per_beat", "row", "from_position", "from_positions"])
    {'mean_per_beat': 'mean_per_b', 'median_per_beat': 'median_per', 'row': 'row', 'from_position': 'from_posit',
    'from_positions': 'from_pos_2'}
    """
    short: dict[str, str] = {}
    for name in names:
        ascii_name = re.sub(r"[^A-Za-z0-9_]", "_", name) or "column"
        candidate, number = ascii_name[:_SHORTEST], 2
        while candidate.casefold() in {used.casefold() for used in short.values()}:
            ending = f"_{number}"
            candidate, number = ascii_name[: _SHORTEST - len(ending)].rstrip("_") + ending, number + 1
        short[name] = candidate
    return short


def labelled(table: gpd.GeoDataFrame, note_column: str, note: str | None) -> gpd.GeoDataFrame:
    """Add the name that a map shows beside each shape, from what is there to name it by, and the note.

    Examples
    --------
    >>> run = {"block": ["Creek"], "row": [3], "from_position": [4], "to_position": [9]}
    >>> labelled(gpd.GeoDataFrame(run, geometry=[shapely.Point()]), "desc", None)["name"].tolist()
    ['Creek, row 3, 4 to 9']
    """
    given = {str(column).casefold(): column for column in table.columns}
    if "name" not in given:
        parts = {"zone": "{}", "block": "{}", "row": "row {}", "position": "position {}"}
        label = pd.Series("", index=table.index, dtype=object)
        for column, form in parts.items():
            if column in given:
                label += [f", {form.format(value)}" if not pd.isna(value) else "" for value in table[given[column]]]
        if {"from_position", "to_position"} <= set(given):
            label += [
                f", {first} to {last}" for first, last in zip(table["from_position"], table["to_position"], strict=True)
            ]
        label = label.str.removeprefix(", ")
        numbered = pd.Series([str(number) for number in range(1, len(table) + 1)], index=table.index, dtype=object)
        table = table.assign(name=label.where(label != "", numbered))
    return table.assign(**{note_column: note}) if note else table


def csv_table(
    table: gpd.GeoDataFrame, places: gpd.GeoDataFrame, decimals: int, *, note: str | None, wkt: bool
) -> pd.DataFrame:
    """Return the table with longitude and latitude; no cell that a spreadsheet would run."""
    result = pd.DataFrame(table.drop(columns=table.geometry.name))
    for column in result:
        if not types.is_numeric_dtype(result[column].dtype):
            result[column] = [_safe(value) for value in result[column]]
    result.columns = pd.Index([_safe(name) for name in result.columns])
    shapes = places.geometry.to_numpy()
    xy = shapely.get_coordinates(shapely.point_on_surface(shapes)).reshape(-1, 2)
    result["longitude"], result["latitude"] = np.round(xy, decimals).T
    if wkt:
        result["wkt"] = shapely.to_wkt(shapes, rounding_precision=decimals + 2)
    if note:
        result["note"] = _safe(note)
    return result


def _safe(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def _values(column: pd.Series[Any], *, text_times: bool, most_bytes: int | None) -> Any:
    dtype = column.dtype
    if types.is_bool_dtype(dtype) or types.is_numeric_dtype(dtype):
        return column.to_numpy() if isinstance(dtype, np.dtype) else column.array
    if isinstance(dtype, pd.DatetimeTZDtype) or types.is_datetime64_dtype(dtype):
        if not text_times:
            return column.array
        return np.array([None if pd.isna(value) else value.isoformat() for value in column], dtype=object)
    return np.array([_as_text(value, most_bytes) for value in column], dtype=object)


def _as_text(value: Any, most_bytes: int | None) -> str | None:
    if isinstance(value, (list, tuple, dict)):
        value = json.dumps(value, default=str, ensure_ascii=False)
    elif value is None or pd.isna(value):
        return None
    text = clean(str(value))
    return text if most_bytes is None else text.encode()[:most_bytes].decode(errors="ignore")
