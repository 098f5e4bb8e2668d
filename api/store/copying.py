"""Move all that a grove is, row by row and number by number, from one store into an empty one, and check it there."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry
from sqlalchemy import Connection, MetaData, Table, insert, select, text

from api.store import engine, geopackage, history, migrations, opening, postgis
from api.store.geometry import Geometry
from api.store.history import Row
from api.store.times import to_text
from api.store.trouble import told
from gridmap.errors import GroveFileError

_AT_ONCE = 1000
# Each store has its own line there, which is its lock
_OWN = ("own_write",)


def tables_of(number: int) -> list[Table]:
    """Return the tables as migration ``number`` left them, each after those that it refers to."""
    metadata = MetaData()
    for migration in migrations.MIGRATIONS:
        if number >= migration.NUMBER:
            migration.define(metadata)
    return [table for table in metadata.sorted_tables if table.name not in _OWN]


def lay_tables(connection: Connection, srs_id: int, *, up_to: int) -> None:
    """Make the empty tables of a grove; the caller holds the transaction."""
    for migration in migrations.MIGRATIONS:
        if up_to >= migration.NUMBER:
            migrations.apply(connection, migration, srs_id)


def write_file(source: Connection, path: Path) -> dict[str, int]:
    """Write the grove that a connection reads to a new grove file; it appears under its name when it is whole."""
    number = migrations.applied(source)
    srs_id = int(source.execute(text("SELECT crs_code FROM grove")).scalar_one())
    with (
        opening.new_file(path) as temporary,
        told(path),
        engine.writing(engine.engine_for(temporary, new=True)) as target,
        target.begin(),
    ):
        geopackage.lay_out(target, geopackage.grove_crs(srs_id))
        lay_tables(target, srs_id, up_to=number)
        return copy_rows(source, target, number=number, srs_id=srs_id)


def copy_rows(source: Connection, target: Connection, *, number: int, srs_id: int) -> dict[str, int]:
    """Copy every row into tables that `lay_tables` made, in one transaction of the target.

    Parameters
    ----------
    source, target : sqlalchemy.Connection
        The source reads one state; the target writes.
    number : int
        Migration that both have had.
    srs_id : int
        EPSG code of the grove's CRS.

    Returns
    -------
    dict of str to int
        How many rows each table has.

    Raises
    ------
    GroveFileError
        When what came out of the target is not what went in.
    """
    history.begin_own_write(target)
    copied: dict[str, int] = {}
    frozen: dict[str, tuple[Table, list[str]]] = {}
    for table in tables_of(number):
        if table.name == "migration":
            # What happened to the source happened to its copy
            target.execute(table.delete())
        copied[table.name] = 0
        for rows in _rows(source, table):
            for row in rows:
                # A frozen zone takes no runs and trees any more, so it is frozen when they are in
                if row.get("frozen") == 1:
                    frozen.setdefault(table.name, (table, []))[1].append(row["uuid"])
                    row["frozen"] = 0
            target.execute(insert(table), [_placed(row, srs_id) for row in rows])
            copied[table.name] += len(rows)
            _widen(target, table, rows)
        if target.dialect.name != "sqlite":
            postgis.count_on(target, table)
    for table, uuids in frozen.values():
        for uuid in uuids:
            target.execute(table.update().where(table.c.uuid == uuid).values(frozen=1))
    geopackage.note_change(target, [name for name, rows in copied.items() if rows])
    history.end_own_write(target)
    for table in tables_of(number):
        if digest(source, table) != digest(target, table):
            raise GroveFileError(
                f"table {table.name} did not arrive as it was", "nothing was kept of the copy", "report this"
            )
    return copied


def digest(connection: Connection, table: Table) -> str:
    """Return the SHA-256 of a table's rows in order: equal where two stores hold the same, shapes to the last bit."""
    found = hashlib.sha256()
    for rows in _rows(connection, table):
        for row in rows:
            found.update(repr([(name, _plain(value)) for name, value in row.items()]).encode())
    return found.hexdigest()


def _rows(connection: Connection, table: Table) -> Iterator[list[Row]]:
    """Yield a table's rows in the order of their numbers, some at a time."""
    key = table.columns["id"] if "id" in table.columns else next(iter(table.primary_key.columns))
    last: Any = None
    while True:
        query = select(table).order_by(key).limit(_AT_ONCE)
        found = connection.execute(query if last is None else query.where(key > last)).mappings().all()
        if not found:
            return
        rows = [dict(row) for row in found]
        last = rows[-1][key.name]
        yield rows


def _placed(row: Row, srs_id: int) -> Row:
    return {
        name: shapely.set_srid(value, srs_id) if isinstance(value, BaseGeometry) else value
        for name, value in row.items()
    }


def _widen(target: Connection, table: Table, rows: list[Row]) -> None:
    column = next((column.name for column in table.columns if isinstance(column.type, Geometry)), None)
    shapes = [row[column] for row in rows if row[column] is not None and not row[column].is_empty] if column else []
    if shapes:
        west, south, east, north = (float(value) for value in shapely.total_bounds(shapes))
        geopackage.widen(target, table.name, (west, south, east, north))


def _plain(value: object) -> object:
    """Return a value in the one form in which both stores give it."""
    if isinstance(value, BaseGeometry):
        return shapely.to_wkb(shapely.force_2d(value), byte_order=1, include_srid=False)
    if isinstance(value, (bytes, memoryview)):
        return bytes(value)
    return to_text(value) if isinstance(value, datetime) else value
