"""Counts of a walk, in: one line of a CSV file for one beaten tree."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from gridmap.errors import FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.places import coordinate_columns, point
from gridmap.exchange.table import Table, read_table
from gridmap.exchange.trees import MOST_NUMBER

WING_BUDS: Final = ("none", "some", "most")
REASONS: Final = ("planned", "extra", "suspected")
# Groups that need no prefix; a tally sheet may carry the plural.
GROUPS: Final = ("spider", "ladybird", "lacewing", "ant", "parasitic_wasp", "hoverfly", "predatory_bug", "other")
_GROUP_WORDS: Final = {
    **{group: group for group in GROUPS},
    **{f"{group}s": group for group in GROUPS},
    "hoverflies": "hoverfly",
}
_CATCH: Final = r"catch_[a-z][a-z0-9_]{0,39}"
_COLUMNS: Final = (
    *("taps", "nymphs", "adults", "wing_buds", "reason", "block", "row", "position", "tree", "longitude", "latitude"),
    *("easting", "northing", "time", "date", "observer", "uuid", "accuracy_m"),
    *_GROUP_WORDS,
)
# Limits that catch a slip of the pen (a row number in the wrong column), not a heavy tree.
MOST_TAPS: Final = 1_000
MOST_COUNTED: Final = 100_000


def read_counts(
    path: str | Path, *, crs: object = None, time_zone: str | None = None
) -> tuple[gpd.GeoDataFrame, list[tuple[int, str]]]:
    """Read the counts of a walk, and say which lines can't be used.

    Parameters
    ----------
    path : path
        CSV with a header. The tree by block, row and position, by tree (UUID), or by longitude and latitude or easting
        and northing; taps; nymphs, adults or both; optionally wing_buds (none, some, most), reason (planned, extra,
        suspected), time, date, observer, uuid (of the count), accuracy_m, and groups caught beside the pest: spider,
        ladybird, lacewing, ant, parasitic_wasp, hoverfly, predatory_bug, other, or catch_ and any word.
    crs : optional
        CRS of easting and northing.
    time_zone : str, optional
        Time zone of the grove, for times without an offset.

    Returns
    -------
    rows : GeoDataFrame
        The good lines: line, uuid, tree, block, row, position, taps, nymphs, adults, wing_buds, reason (planned where
        the file says nothing), time (UTC), date (local), observer, accuracy_m, catch_... [animals], geometry (None
        where the tree is not named by coordinates). ``attrs["ignored"]`` lists columns that nothing was read from. A
        line that repeats a UUID with the same content is left out.
    problems : list of (int, str)
        Line number (the header is line 1) and what is wrong, in the order of the file.

    Raises
    ------
    FileRefused
        When the file as a whole can't be read, or has no taps, no counts or no way to name a tree.

    Examples
    --------
    >>> read_counts("nowhere.csv")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    table = read_table(path, _COLUMNS, pattern=_CATCH)
    pair, source = coordinate_columns(table.columns, crs, table.name, needed=False)
    _check_columns(table, by_place=pair is not None)
    zone = _zone(time_zone)
    groups = _groups(table)
    problems = list(table.problems)
    records: list[dict[str, Any]] = []
    seen: dict[str, tuple[int, dict[str, Any]]] = {}
    for number, cells in table.rows:
        try:
            record = _count(cells, table.columns, groups, pair, zone)
            if _is_new(record, seen, number):
                records.append({"line": number, **record})
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    rows = _typed(records, list(groups.values()), source)
    rows.attrs["ignored"] = list(table.ignored)
    return rows, sorted(problems)


def catch_long(rows: pd.DataFrame) -> pd.DataFrame:
    """Turn the columns of caught groups into the long form.

    Parameters
    ----------
    rows : DataFrame
        uuid and catch_... columns, as `read_counts` gives them (with every uuid filled).

    Returns
    -------
    DataFrame
        count (the uuid), group, number [animals]; a group that was not looked for has no line, one not found has 0.

    Examples
    --------
    >>> rows = pd.DataFrame({"uuid": ["c1", "c2"], "catch_spider": [2, pd.NA], "catch_ant": [0, 5]})
    >>> catch_long(rows).values.tolist()
    [['c1', 'spider', 2], ['c1', 'ant', 0], ['c2', 'ant', 5]]
    """
    groups = [name for name in rows.columns if str(name).startswith("catch_")]
    long = rows.melt("uuid", groups, var_name="group", value_name="number", ignore_index=False).dropna(subset="number")
    long["group"] = long["group"].str.removeprefix("catch_")
    long = long.sort_index(kind="stable").rename(columns={"uuid": "count"}).astype({"number": "int64"})
    return long[["count", "group", "number"]].reset_index(drop=True)


def _check_columns(table: Table, *, by_place: bool) -> None:
    has = set(table.columns)
    if "taps" not in has:
        raise FileRefused(
            f"file {table.name} has no column taps", "a count means nothing without its effort", "add taps per tree"
        )
    if not has & {"nymphs", "adults"}:
        raise FileRefused(f"file {table.name} has neither nymphs nor adults", "there is nothing counted in it")
    if not ({"block", "row", "position"} <= has or "tree" in has or by_place):
        rule = "a tree is named by block, row and position, by tree, or by coordinates"
        raise FileRefused(f"file {table.name} names no trees", rule)


def _zone(time_zone: str | None) -> zoneinfo.ZoneInfo | None:
    try:
        return zoneinfo.ZoneInfo(time_zone) if time_zone else None
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise FileRefused(f"time zone {time_zone!r} is not known", "it must be as Australia/Melbourne") from None


def _count(
    cells: Mapping[str, str],
    columns: tuple[str, ...],
    groups: Mapping[str, str],
    pair: tuple[str, str] | None,
    zone: zoneinfo.ZoneInfo | None,
) -> dict[str, Any]:
    """Read one line."""
    block = fields.text(cells, "block")
    row, position = (
        fields.whole(cells, name, least=1, most=MOST_NUMBER, needed=block is not None) for name in ("row", "position")
    )
    tree = fields.unique_id(cells, "tree")
    geometry = point(cells, pair, needed=False) if pair else None
    if block is None and tree is None and geometry is None:
        raise FieldProblem("it names no tree: give block, row and position, or tree, or coordinates")
    time, date = fields.moment(cells, zone)
    counted = {
        name: fields.whole(cells, name, least=0, most=MOST_COUNTED, needed=True) if name in columns else None
        for name in ("nymphs", "adults")
    }
    wing_buds = fields.word(cells, "wing_buds", WING_BUDS)
    if wing_buds in ("some", "most") and counted["nymphs"] == 0:
        raise FieldProblem(f"wing_buds is {wing_buds}, but nymphs is 0")
    return {
        "uuid": fields.unique_id(cells, "uuid"),
        "tree": tree,
        "block": block,
        "row": row,
        "position": position,
        "taps": fields.whole(cells, "taps", least=1, most=MOST_TAPS, needed=True),
        **counted,
        "wing_buds": wing_buds,
        "reason": fields.word(cells, "reason", REASONS) or "planned",
        "time": time,
        "date": date,
        "observer": fields.text(cells, "observer"),
        "accuracy_m": fields.decimal(cells, "accuracy_m", least=0, most=100_000),
        **{group: fields.whole(cells, column, least=0, most=MOST_COUNTED) for column, group in groups.items()},
        "geometry": geometry,
    }


def _groups(table: Table) -> dict[str, str]:
    """Return the columns of groups caught beside the pest, and the column of the result that each fills."""
    groups: dict[str, str] = {}
    for column in table.columns:
        if column in _GROUP_WORDS or re.fullmatch(_CATCH, column):
            word = column.removeprefix("catch_")
            group = f"catch_{_GROUP_WORDS.get(word, word)}"
            if group in groups.values():
                raise FileRefused(
                    f"column {column} of {table.name} is a second one for {group.removeprefix('catch_')}", "add them up"
                )
            groups[column] = group
    return groups


def _is_new(record: dict[str, Any], seen: dict[str, tuple[int, dict[str, Any]]], number: int) -> bool:
    """Tell whether a line is to be stored: the same UUID with the same content is stored once."""
    key = record["uuid"]
    if key is None:
        return True
    if key not in seen:
        seen[key] = (number, record)
        return True
    first, other = seen[key]
    differing = [name for name, value in record.items() if value != other[name]]
    if differing:
        raise FieldProblem(f"uuid {key} is in line {first} already, with other {', '.join(differing)}")
    return False


def _typed(records: list[dict[str, Any]], groups: list[str], crs: Any) -> gpd.GeoDataFrame:
    first = ["line", "uuid", "tree", "block", "row", "position", "taps", "nymphs", "adults", "wing_buds", "reason"]
    names = [*first, "time", "date", "observer", "accuracy_m", *groups, "geometry"]
    frame = pd.DataFrame(records, columns=names, dtype=object)
    whole = ["line", "row", "position", "taps", "nymphs", "adults", *groups]
    frame = frame.astype(dict.fromkeys(whole, "Int64")).astype({"accuracy_m": "float64", "line": "int64"})
    frame["time"] = pd.to_datetime(frame["time"], utc=True)
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(frame["geometry"], crs=crs))
