"""A CSV file as growers' spreadsheets save it: commas, semicolons or tabs, a byte order mark, decimal commas."""

from __future__ import annotations

import csv
import dataclasses
import difflib
import io
import re
from collections.abc import Collection
from pathlib import Path
from typing import Final

from gridmap.errors import FileRefused, RowsRefused
from gridmap.exchange.files import MOST_ROWS, MOST_TABLE_BYTES, read_bytes, text_of

_SEPARATORS: Final = (",", ";", "\t", "|")
_ALIASES: Final = {"lon": "longitude", "long": "longitude", "lng": "longitude", "lat": "latitude"}
_MOST_COLUMNS: Final = 200
# A spreadsheet runs a cell that starts like this; `write_layer` puts an apostrophe before it, which is taken off here.
FORMULA: Final = ("=", "+", "-", "@")


@dataclasses.dataclass(frozen=True)
class Table:
    """Rows of a file by column name, with the number that a message names each by.

    Parameters
    ----------
    name : str
        File name.
    columns : tuple of str
        Columns that are known, in the order of the file.
    ignored : tuple of str
        Columns that nothing is read from.
    rows : list of (int, dict)
        Line (CSV) or entry number, and the text of each known cell.
    problems : list of (int, str)
        Lines with too few or too many cells.
    unit : str
        What the number counts: line or entry.
    """

    name: str
    columns: tuple[str, ...]
    ignored: tuple[str, ...]
    rows: list[tuple[int, dict[str, str]]]
    problems: list[tuple[int, str]]
    unit: str = "line"


def read_table(path: str | Path, known: Collection[str], pattern: str = r"(?!)") -> Table:
    """Read a CSV file by its column names.

    Parameters
    ----------
    path : path
        The file, at most 20 MB and 200,000 lines.
    known : collection of str
        Column names; case, blanks and hyphens in the file do not matter.
    pattern : str
        Regular expression for more names that are known.

    Returns
    -------
    Table
        With the header as line 1.

    Raises
    ------
    FileRefused
        No text, no known column, a name given twice or nearly right, a quotation mark that never closes.

    Examples
    --------
    >>> read_table("nowhere.csv", ["taps"])
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    text = text_of(read_bytes(path, most_bytes=MOST_TABLE_BYTES), path.name, "CSV")
    if not text.strip():
        raise FileRefused(f"file {path.name} is empty", "it holds blank lines only", "export it again")
    # A spreadsheet may name its separator in a line of its own before the header.
    hint = re.match(r"sep=([,;\t|])\r?\n", text)
    separator = hint[1] if hint else _separator(text, known, pattern)
    lines = _lines(text, separator, path.name)[1 if hint else 0 :]
    if not lines:
        raise FileRefused(f"file {path.name} is empty", "it has no header", "export it again")
    _, header = lines[0]
    names = [column_name(cell) for cell in header]
    columns, ignored = _check_header(names, known, pattern, path.name)
    rows: list[tuple[int, dict[str, str]]] = []
    problems: list[tuple[int, str]] = []
    for line, cells in lines[1:]:
        if len(cells) != len(names):
            problems.append((line, f"it has {len(cells)} cells where the header has {len(names)}"))
            continue
        rows.append((line, {name: _cell(cell) for name, cell in zip(names, cells, strict=True) if name in columns}))
    return Table(path.name, tuple(columns), tuple(ignored), rows, problems)


def column_name(cell: str) -> str:
    """Return the name of a column as it is matched: lower case, underscores."""
    name = re.sub(r"[\s\-]+", "_", cell.strip().casefold())
    return _ALIASES.get(name, name)


def _separator(text: str, known: Collection[str], pattern: str) -> str:
    """Choose the separator that finds most known names in the header (a sniffer guesses from the data and errs)."""
    header = next(line for line in text.splitlines() if line.strip())

    def score(separator: str) -> int:
        cells = next(csv.reader([header], delimiter=separator))
        return sum(_is_known(column_name(cell), known, pattern) for cell in cells)

    return max(_SEPARATORS, key=score)


def _lines(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    """Split into cells; the number is that of the line where a record starts."""
    # A cell may be as long as the file: an outline as text is. The limit of the module is put back below.
    limit = csv.field_size_limit(MOST_TABLE_BYTES)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    found: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                found.append((line, cells))
            line = reader.line_num + 1
            if len(found) > MOST_ROWS + 1:
                raise FileRefused(
                    f"file {name} has over {MOST_ROWS:,} lines", "that is no grove's", "cut it into walks"
                )
    except csv.Error as trouble:
        rule = f"the record that starts in line {line}: {trouble}"
        raise FileRefused(f"file {name} is cut off or no CSV", rule, "export it again") from None
    finally:
        csv.field_size_limit(limit)
    return found


def _check_header(names: list[str], known: Collection[str], pattern: str, file: str) -> tuple[list[str], list[str]]:
    """Return known and ignored names; refuse what can only be a slip of the pen."""
    if len(names) > _MOST_COLUMNS:
        raise FileRefused(f"file {file} has {len(names):,} columns", f"at most {_MOST_COLUMNS} are read", "cut it down")
    columns = [name for name in names if _is_known(name, known, pattern)]
    ignored = [name for name in names if name not in columns]
    twice = next((name for name in columns if columns.count(name) > 1), None)
    if twice is not None:
        raise FileRefused(f"column {twice} is there twice in {file}", "a column is read once", "rename or delete one")
    if not columns:
        rule = f"the first line must name the columns, such as {', '.join(list(known)[:6])}"
        raise FileRefused(f"file {file} has no known column", rule, "put a header on top")
    for name in ignored:
        near = difflib.get_close_matches(name, [word for word in known if word not in columns], n=1, cutoff=0.8)
        if near:
            what = f"column {name!r} of {file} is not known"
            raise FileRefused(what, f"it looks like {near[0]}", f"write {near[0]}, or give it a quite different name")
    return columns, ignored


def _is_known(name: str, known: Collection[str], pattern: str) -> bool:
    return name in known or re.fullmatch(pattern, name) is not None


def _cell(cell: str) -> str:
    """Take the apostrophe off that keeps a spreadsheet from running a cell."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA) else cell


def refusal(name: str, problems: list[tuple[int, str]], unit: str) -> RowsRefused:
    """Make the error that lists the first bad lines and holds all."""
    count = len(problems)
    shown = "; ".join(f"{unit} {number}: {text}" for number, text in problems[:5])
    rest = f"; and {count - 5} more" if count > 5 else ""
    plural = {"line": "lines", "entry": "entries"}[unit]
    what = f"{name} has {count} {plural if count > 1 else unit} that can't be used"
    return RowsRefused(what, shown + rest, "mend them and import again", problems=problems)
