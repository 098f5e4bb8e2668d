"""What SQLite says, in the grower's words: one clear line for each way in which a grove file can't be used."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from gridmap.errors import (
    GridmapError,
    GroveBusy,
    GroveFileError,
    GroveReadOnly,
    InputRefused,
    NotAGroveFile,
)

_SIDE_FILES = "-journal and -wal files beside it belong to it"


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Run a block on a grove file; what the database refuses comes out as one clear line."""
    try:
        yield
    except sqlite3.Error as error:
        raise explain(error, path) from error
    except DBAPIError as error:
        if not isinstance(error.orig, sqlite3.Error):
            raise
        raise explain(error.orig, path) from error


def explain(error: sqlite3.Error, path: Path) -> GridmapError:
    """Return the error that tells a grower what a refusal of SQLite means for this file.

    Examples
    --------
    >>> print(explain(sqlite3.DatabaseError("file is not a database"), Path("notes.txt")))
    notes.txt can't be used as a grove file: file is not a database.
    """
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    name = path.name
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return GroveBusy(
            f"{name} is kept locked by another program",
            "nothing was changed",
            "finish or close the edit there and try again",
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return read_only(path)
    if primary == sqlite3.SQLITE_NOTADB:
        return NotAGroveFile(f"{name} is no grove file", "it is not a GeoPackage", "check the name")
    if primary == sqlite3.SQLITE_CORRUPT:
        return NotAGroveFile(f"{name} is cut off or damaged", f"nothing was changed; {_SIDE_FILES}", "restore a backup")
    if primary in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return GroveFileError(
            f"{name} can't be written: {error}", "nothing was changed", "look at the disk and the space left on it"
        )
    if primary == sqlite3.SQLITE_CONSTRAINT:
        return InputRefused(f"{name} can't hold this", _constraint(str(error)), "nothing was changed")
    return GroveFileError(f"{name} can't be used as a grove file", str(error))


def _constraint(said: str) -> str:
    """Return in words which rule of the tables was broken.

    Examples
    --------
    >>> _constraint("UNIQUE constraint failed: plant.uuid")
    'there is already a plant with this uuid'
    >>> _constraint("CHECK constraint failed: taps > 0")
    'its rule is taps > 0'
    """
    kind, _, detail = said.partition(" constraint failed")
    detail = detail.removeprefix(": ")
    table, columns = detail.partition(".")[0], detail.replace(f"{detail.partition('.')[0]}.", "").replace("_", " ")
    if kind == "UNIQUE":
        return f"there is already a {table} with this {columns}"
    if kind == "FOREIGN KEY":
        return "it names an entry that is not there, or another entry needs it"
    if kind == "CHECK":
        return f"its rule is {detail}"
    return f"a {table} must have its {columns}" if kind == "NOT NULL" else said


def read_only(path: Path) -> GroveReadOnly:
    """Return the error for a file or a folder that can't be written."""
    return GroveReadOnly(
        f"{path.name} or its folder can't be written",
        "the grove file and the folder it is in must be writable",
        "copy it to a folder of your own, or open it for reading only",
    )
