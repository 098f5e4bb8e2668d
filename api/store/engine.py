"""Open the grove file: connections, locks and the journal. The one module that knows SQLite's ways.

Every connection gets the functions that a spatial index calls, foreign keys and full synchronisation. A write
transaction starts with BEGIN IMMEDIATE, since one that reads first and writes later is refused at once when another
process wrote in between, whatever the time-out. The journal is a rollback journal (DELETE), so that at rest a grove is
one file; a write-ahead log left by a desktop GIS is accepted and folded back in.

This process must not open the grove file in any other way (plain `open`, GDAL): closing it there drops SQLite's locks.
"""

from __future__ import annotations

import functools
import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from api.store.geometry import INDEX_FUNCTIONS
from api.store.trouble import told
from gridmap.errors import GroveFileError, NotAGroveFile

BUSY_TIMEOUT_S = 30.0
WRITES = "grove_writes"


def connect(
    path: Path, *, read_only: bool = False, busy_timeout_s: float = BUSY_TIMEOUT_S, new: bool = False
) -> sqlite3.Connection:
    """Return a connection of SQLite's own to a grove file; it opens no transaction by itself.

    Parameters
    ----------
    path : pathlib.Path
        The grove file.
    read_only : bool
        Refuse every write.
    busy_timeout_s : float
        How long to wait for another program's lock [s].
    new : bool
        Make the file when it is not there.
    """
    mode = "ro" if read_only else "rwc" if new else "rw"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=busy_timeout_s,
        isolation_level=None,
        check_same_thread=False,
    )
    for name, function in INDEX_FUNCTIONS.items():
        connection.create_function(name, 1, function, deterministic=True)
    try:
        connection.execute("PRAGMA foreign_keys=ON")
        # This one reads the file, so it can meet a lock
        connection.execute("PRAGMA synchronous=FULL")
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def engine_for(
    path: Path, *, read_only: bool = False, busy_timeout_s: float = BUSY_TIMEOUT_S, new: bool = False
) -> Engine:
    """Return an SQLAlchemy engine for a grove file; arguments as in `connect`. Between uses no connection is open.

    The same file gets the same engine: what SQLAlchemy has worked out of the statements is worked out once.
    """
    return _engine(path, read_only, busy_timeout_s, new)


@functools.lru_cache(maxsize=64)
def _engine(path: Path, read_only: bool, busy_timeout_s: float, new: bool) -> Engine:
    engine = create_engine(
        "sqlite://",
        creator=lambda: connect(path, read_only=read_only, busy_timeout_s=busy_timeout_s, new=new),
        poolclass=NullPool,
    )
    event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: Connection) -> None:
    """Take the write lock at the start of a transaction that is going to write; a reader takes none."""
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def writing(engine: Engine) -> Connection:
    """Return a connection whose transactions take the write lock at once."""
    return engine.connect().execution_options(**{WRITES: True})


def fold_log(path: Path) -> str:
    """Fold a write-ahead log back into the file and return to the rollback journal; say which journal is in use now.

    While another program has the file open for editing, SQLite keeps the log: then everything stays as it is.
    """
    try:
        with closing(connect(path, busy_timeout_s=0.0)) as connection:
            mode = str(connection.execute("PRAGMA journal_mode").fetchone()[0])
            if mode != "wal":
                return mode
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            return str(connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0])
    except sqlite3.OperationalError as error:
        # Somebody is at work: whoever is alone next folds it in
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return "in use"
        raise


def take_back(path: Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
    """Take back what a killed program left half written; who opens a file for reading only can't do it."""
    if path.with_name(f"{path.name}-journal").exists():
        # Any read does it, and leaves the journal of a program that is at work alone
        ask(path, "SELECT count(*) FROM sqlite_master", busy_timeout_s=busy_timeout_s)


def check_place(path: Path) -> None:
    """Refuse a path where no file can be opened: missing, a folder, or empty. The file itself is not touched."""
    if not path.exists():
        raise GroveFileError(
            f"there is no grove file {path.name}", None, "check the name and the folder, or make a new one"
        )
    if not path.is_file():
        raise NotAGroveFile(f"{path.name} is a folder", "a grove is one file", "give the file in it")
    if path.stat().st_size == 0:
        raise NotAGroveFile(f"{path.name} is empty", "it has 0 bytes", "restore a backup, or make a new grove")
    if not os.access(path, os.R_OK):
        raise GroveFileError(f"{path.name} can't be read", "its permissions forbid it", "ask its owner")


def writable(path: Path) -> bool:
    """Say whether the file and its folder (where the journal goes) can be written."""
    return os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)


def ask(path: Path, *statements: str, read_only: bool = False, busy_timeout_s: float = BUSY_TIMEOUT_S) -> list[object]:
    """Return the first value of each statement's first row (None where there is no row)."""
    with told(path):
        connection = connect(path, read_only=read_only, busy_timeout_s=busy_timeout_s)
        try:
            rows = [connection.execute(statement).fetchone() for statement in statements]
        finally:
            connection.close()
    return [None if row is None else row[0] for row in rows]
