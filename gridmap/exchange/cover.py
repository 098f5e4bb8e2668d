"""Cover surveys, in: one line of a CSV file for one look at the floor of a row."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gridmap.errors import FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.table import read_table, refusal
from gridmap.exchange.trees import MOST_NUMBER

COVER_METHODS: Final = ("points", "stations", "percent", "daubenmire")
COVER_PARTS: Final = ("grass", "dead_grass", "litter", "rock", "bare")
_COLUMNS: Final = (*COVER_PARTS, "block", "row", "position", "method", "date", "observer", "uuid")
MOST_HITS: Final = 10_000


def read_cover(path: str | Path, *, method: str | None = None) -> tuple[pd.DataFrame, list[tuple[int, str]]]:
    """Read looks at the floor, and say which lines can't be used.

    Parameters
    ----------
    path : path
        CSV with a header: block, row, optionally position; some of grass (living), dead_grass, litter, rock, bare as
        hits, per cent or Daubenmire's class; optionally method (points, stations, percent, daubenmire), date,
        observer, uuid.
    method : str, optional
        Method of lines that name none.

    Returns
    -------
    looks : DataFrame
        The good lines: line, uuid, block, row, position, method, date, observer and the parts (NaN where empty).
    problems : list of (int, str)
        Line number (the header is line 1) and what is wrong.

    Raises
    ------
    FileRefused
        The file as a whole can't be read, or tells no row, no part or no method.

    Examples
    --------
    >>> read_cover("nowhere.csv")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    table = read_table(path, _COLUMNS)
    has = set(table.columns)
    if not {"block", "row"} <= has:
        raise FileRefused(f"file {table.name} has no columns block and row", "each look belongs to a row")
    parts: list[str] = [part for part in COVER_PARTS if part in has]
    if not parts:
        raise FileRefused(f"file {table.name} tells no part of the floor", f"it needs some of {', '.join(COVER_PARTS)}")
    if method is None and "method" not in has:
        raise FileRefused(f"file {table.name} does not say how it was measured",
                          f"a column method, or the option, says one of {', '.join(COVER_METHODS)}")
    problems = list(table.problems)
    records: list[dict[str, Any]] = []
    for number, cells in table.rows:
        try:
            records.append({"line": number, **_look(cells, parts, method)})
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    names = ["line", "uuid", "block", "row", "position", "method", "date", "observer", *parts]
    looks = pd.DataFrame(records, columns=names, dtype=object)
    looks = looks.astype({"line": "int64", "row": "Int64", "position": "Int64", **dict.fromkeys(parts, "float64")})
    looks.attrs["ignored"] = list(table.ignored)
    return looks, sorted(problems)


def _look(cells: Mapping[str, str], parts: list[str], method: str | None) -> dict[str, Any]:
    _, date = fields.moment({"date": cells.get("date", "")}, None)
    return {
        "uuid": fields.unique_id(cells, "uuid"),
        "block": fields.text(cells, "block", needed=True),
        "row": fields.whole(cells, "row", least=1, most=MOST_NUMBER, needed=True),
        "position": fields.whole(cells, "position", least=1, most=MOST_NUMBER),
        "method": fields.word(cells, "method", COVER_METHODS) or method or _no_method(),
        "date": date,
        "observer": fields.text(cells, "observer"),
        **{part: fields.decimal(cells, part, least=0, most=MOST_HITS) for part in parts},
    }


def _no_method() -> str:
    raise FieldProblem(f"method is missing: it must be one of {', '.join(COVER_METHODS)}")


def read_seed_checks(path: str | Path) -> pd.DataFrame:
    """Read seed-head checks: one line for one grass in one part of the grove.

    Parameters
    ----------
    path : path
        CSV with date, block, heads (looked at), shed; optionally from_row and to_row, grass (empty: unsure), observer.

    Returns
    -------
    DataFrame
        Those columns, None where a cell is empty.

    Raises
    ------
    FileRefused
        The file as a whole can't be read.
    RowsRefused
        Every line that can't be used, by its number.

    Examples
    --------
    >>> read_seed_checks("nowhere.csv")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    table = read_table(path, ("date", "block", "from_row", "to_row", "grass", "heads", "shed", "observer"))
    lacking = {"date", "block", "heads", "shed"} - set(table.columns)
    if lacking:
        raise FileRefused(f"file {table.name} has no column {', '.join(sorted(lacking))}", "each check has them")
    problems, records = list(table.problems), []
    for number, cells in table.rows:
        try:
            records.append({
                "date": fields.moment({"date": cells["date"]}, None)[1] or _missing("date"),
                "block": fields.text(cells, "block", needed=True),
                **{name: fields.whole(cells, name, least=1, most=MOST_NUMBER) for name in ("from_row", "to_row")},
                "grass": fields.text(cells, "grass"),
                "heads": fields.whole(cells, "heads", least=1, most=MOST_HITS, needed=True),
                "shed": fields.whole(cells, "shed", least=0, most=MOST_HITS, needed=True),
                "observer": fields.text(cells, "observer"),
            })
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    if problems:
        raise refusal(table.name, sorted(problems), table.unit)
    return pd.DataFrame(records, dtype=object)


def _missing(name: str) -> str:
    raise FieldProblem(f"{name} is missing")
