"""Make a grove file, or look at one before it is used: is it ours, of which version, and can it be written."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pyproj
from sqlalchemy import Connection

from api.store import engine, geopackage, history, migrations
from api.store.backup import beside, copy_grove, put_in_place
from api.store.tables import GROVE
from api.store.times import now
from api.store.trouble import read_only as refuse_read_only
from api.store.trouble import told
from gridmap.errors import GroveFileError, GroveReadOnly, NewerGroveFile, NotAGroveFile

_OURS = (
    "SELECT count(*) FROM sqlite_master WHERE type='table' AND name IN ('grove', 'migration', 'change', 'own_write')"
)


def make(path: Path, *, crs: pyproj.CRS, fields: Mapping[str, Any], who: str, up_to: int = migrations.LATEST) -> None:
    """Make a grove file; it appears under its name when it is whole, and never in place of another file."""
    with new_file(path) as temporary, told(path):
        new = engine.engine_for(temporary, new=True)
        with engine.writing(new) as connection, connection.begin():
            geopackage.lay_out(connection, crs)
            begin_grove(connection, crs=crs, fields=fields, who=who)
        migrations.upgrade(new, up_to=up_to)


def begin_grove(connection: Connection, *, crs: pyproj.CRS, fields: Mapping[str, Any], who: str) -> str:
    """Make the first tables, and in them the grove with its first act; return its UUID."""
    geodetic = crs.geodetic_crs
    row = {
        "uuid": str(uuid.uuid4()),
        "crs_authority": "EPSG",
        "crs_code": crs.to_epsg(),
        "datum": crs.name if geodetic is None else geodetic.name,
        "created": now(),
        **fields,
    }
    migrations.apply(connection, migrations.MIGRATIONS[0], row["crs_code"])
    history.begin_own_write(connection)
    act = history.Act(connection, who=who, what="new grove", srs_id=row["crs_code"])
    act.insert(GROVE, [row])
    act.finish()
    history.end_own_write(connection)
    return row["uuid"]


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Give a hidden name to write a new file under; it gets its own when the block has ended well."""
    if path.exists():
        raise GroveFileError(
            f"there is a file {path.name} already", "a new grove never replaces one", "give another name"
        )
    if not path.absolute().parent.is_dir():
        raise GroveFileError(f"there is no folder {path.absolute().parent.name}", None, "make the folder first")
    temporary = beside(path, "new")
    try:
        yield temporary
        try:
            put_in_place(temporary, path)
        except PermissionError as error:
            raise refuse_read_only(path) from error
    finally:
        temporary.unlink(missing_ok=True)
        temporary.with_name(f"{temporary.name}-journal").unlink(missing_ok=True)


def look(path: Path, *, read_only: bool, busy_timeout_s: float) -> int:
    """Return the number of the last migration that a grove file has had; refuse what is no grove file, unchanged.

    Raises
    ------
    NotAGroveFile, NewerGroveFile, GroveReadOnly, GroveFileError
        As their names say; nothing was changed.
    """
    engine.check_place(path)
    if not read_only and not engine.writable(path):
        raise refuse_read_only(path)
    if read_only and engine.writable(path):
        engine.take_back(path, busy_timeout_s=busy_timeout_s)
    application, ours = engine.ask(
        path, "PRAGMA application_id", _OURS, read_only=read_only, busy_timeout_s=busy_timeout_s
    )
    if application != geopackage.APPLICATION_ID:
        raise NotAGroveFile(f"{path.name} is no grove file", "it is a database, but not a GeoPackage", "check the name")
    if ours != 4:
        raise NotAGroveFile(
            f"{path.name} is no grove file",
            "it is a GeoPackage, but holds no grove",
            "make a grove and import its layers",
        )
    refuse_cut_off(path, read_only=read_only, busy_timeout_s=busy_timeout_s)
    (number,) = engine.ask(
        path, "SELECT coalesce(max(number), 0) FROM migration", read_only=read_only, busy_timeout_s=busy_timeout_s
    )
    if int(str(number)) > migrations.LATEST:
        raise NewerGroveFile(
            f"{path.name} was written by a newer gridmap",
            f"its layout has number {number}, this gridmap knows up to {migrations.LATEST}",
            "install the newer gridmap; the file was not touched",
        )
    return int(str(number))


def refuse_cut_off(path: Path, *, read_only: bool, busy_timeout_s: float) -> None:
    """Refuse a file that is shorter than it says; SQLite itself does not notice when only the last page is cut."""
    pages, size, journal = engine.ask(
        path,
        "PRAGMA page_count",
        "PRAGMA page_size",
        "PRAGMA journal_mode",
        read_only=read_only,
        busy_timeout_s=busy_timeout_s,
    )
    # The size is asked after the number of pages: another process may let the file grow in between, never shrink
    if journal != "wal" and path.stat().st_size < int(str(pages)) * int(str(size)):
        raise NotAGroveFile(
            f"{path.name} is cut off or damaged", "it is shorter than it says of itself", "restore a backup"
        )


def bring_up_to_date(path: Path, *, busy_timeout_s: float) -> Path | None:
    """Upgrade an older grove file after a copy of it was set aside; return the copy, None when the file is of today."""
    number = look(path, read_only=False, busy_timeout_s=busy_timeout_s)
    if number == migrations.LATEST:
        return None
    aside = free_name(path, f"before-migration-{number + 1}")
    copy_grove(path, aside, busy_timeout_s=busy_timeout_s)
    with told(path):
        migrations.upgrade(engine.engine_for(path, busy_timeout_s=busy_timeout_s))
    return aside


def refuse_older(path: Path, number: int) -> None:
    """Refuse to read an older file that may not be upgraded."""
    if number < migrations.LATEST:
        raise GroveReadOnly(
            f"{path.name} is of an older gridmap",
            "it must be upgraded before it can be read, and was opened for reading only",
            "open it for writing once; a copy is set aside first",
        )


def free_name(path: Path, word: str) -> Path:
    """Return NAME.word.gpkg beside a file, numbered when an earlier copy has that name."""
    for number in range(1, 1000):
        name = f"{path.stem}.{word}{'' if number == 1 else f'-{number}'}{path.suffix}"
        if not path.with_name(name).exists():
            return path.with_name(name)
    raise GroveFileError(f"there are too many copies beside {path.name}", None, "move them to another folder")
