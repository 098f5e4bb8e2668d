"""History: every row that changes is written down, before and after, in the transaction that changes it.

The rows of one act of the grower (an import, a walk sent from the phone) share the act's UUID, and are undone together.
"""

from __future__ import annotations

import base64
import json
import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry
from sqlalchemy import Connection, Double, Integer, LargeBinary, Table, bindparam, insert, select
from sqlalchemy.exc import IntegrityError

from api.store import geopackage, versions
from api.store.geometry import Geometry
from api.store.tables import CHANGE, METADATA, OUTSIDE_EDIT, OWN_WRITE
from api.store.times import UTCTime, from_text, now, to_text
from gridmap.errors import InputRefused

Row = dict[str, Any]


def row_to_json(row: Mapping[str, Any]) -> str:
    """Return a row as JSON: shapes as hexadecimal well-known binary (exact), times in UTC, files in base 64; no key.

    Examples
    --------
    >>> row_to_json({"id": 4, "name": "East", "row_spacing_m": 6.5, "headland_m": None})
    '{"name": "East", "row_spacing_m": 6.5, "headland_m": null}'
    """
    return json.dumps({key: _plain(value) for key, value in row.items() if key != "id"}, allow_nan=False)


def _plain(value: object) -> object:
    if isinstance(value, BaseGeometry):
        return shapely.to_wkb(shapely.force_2d(value), hex=True, byte_order=1, include_srid=False)
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return to_text(value) if isinstance(value, datetime) else value


def row_from_json(table: Table, text: str) -> Row:
    """Return the row that `row_to_json` wrote down."""
    row: Row = json.loads(text)
    for name, value in row.items():
        if value is None:
            continue
        kind = table.columns[name].type
        if isinstance(kind, Geometry):
            row[name] = shapely.from_wkb(value)
        elif isinstance(kind, UTCTime):
            row[name] = from_text(value)
        elif isinstance(kind, LargeBinary):
            row[name] = base64.b64decode(value)
    return row


def geometry_column(table: Table) -> str | None:
    """Return the name of a table's geometry column."""
    return next((column.name for column in table.columns if isinstance(column.type, Geometry)), None)


class Act:
    """One act that is being written: every change goes through here, so none is without its history.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Inside a write transaction.
    who, what : str
        Who acts, and what the act is called in the history.
    srs_id : int
        The grove's CRS, as the file numbers it.
    """

    def __init__(self, connection: Connection, *, who: str, what: str, srs_id: int) -> None:
        for name, value in (("who", who), ("what", what)):
            if not isinstance(value, str) or not value.strip():
                raise InputRefused(f"{name} is {value!r}", "the history names who did what")
        self.connection = connection
        self.uuid = str(uuid.uuid4())
        self.who = who
        self.what = what
        self.at = now()
        self.srs_id = srs_id
        self._changed: set[str] = set()
        self._shrunk: set[str] = set()
        versions.begin(connection)

    def insert(self, table: Table, rows: Sequence[Row]) -> None:
        """Store new rows; shapes are in the grove's CRS."""
        if not rows:
            return
        rows = [self._placed(table, {**dict.fromkeys(table.columns.keys()), **row}) for row in rows]
        for row in rows:
            row.pop("id", None)
        self.connection.execute(insert(table), rows)
        self._write_down(table, [(row["uuid"], None, row_to_json(row)) for row in rows])
        column = geometry_column(table)
        shapes = [row[column] for row in rows if row[column] is not None] if column else []
        if shapes:
            west, south, east, north = (float(value) for value in shapely.total_bounds(shapes))
            geopackage.widen(self.connection, table.name, (west, south, east, north))

    def update(self, table: Table, row_uuid: str, changes: Row) -> None:
        """Change some columns of the row with this UUID."""
        before = self._row(table, row_uuid)
        if before is None:
            raise InputRefused(f"there is no {table.name} {row_uuid}")
        changes = self._placed(table, changes)
        after = {**before, **changes}
        if row_to_json(after) == row_to_json(before):
            return
        self.connection.execute(table.update().where(table.c.uuid == row_uuid).values(changes))
        self._write_down(table, [(row_uuid, row_to_json(before), row_to_json(after))])
        if geometry_column(table) in changes:
            self._shrunk.add(table.name)

    def update_many(self, table: Table, changes: Mapping[str, Row]) -> int:
        """Change the same columns, none of them a shape, of many rows by their UUIDs; return how many differ."""
        held = {row["uuid"]: dict(row) for row in self.connection.execute(select(table)).mappings()}
        written: list[tuple[str, str | None, str | None]] = []
        values = []
        for row_uuid, change in changes.items():
            if row_uuid not in held:
                raise InputRefused(f"there is no {table.name} {row_uuid}")
            before = held[row_uuid]
            placed = self._placed(table, change)
            if all(before[name] == value for name, value in placed.items()):
                continue
            written.append((row_uuid, row_to_json(before), row_to_json({**before, **placed})))
            values.append({"of": row_uuid, **{f"new_{name}": value for name, value in placed.items()}})
        if values:
            names = [name.removeprefix("new_") for name in values[0] if name != "of"]
            statement = table.update().where(table.c.uuid == bindparam("of"))
            self.connection.execute(statement.values({name: bindparam(f"new_{name}") for name in names}), values)
            self._write_down(table, written)
        return len(values)

    def delete(self, table: Table, row_uuid: str) -> None:
        """Take out the row with this UUID; the history keeps it."""
        before = self._row(table, row_uuid)
        if before is None:
            raise InputRefused(f"there is no {table.name} {row_uuid}")
        self.connection.execute(table.delete().where(table.c.uuid == row_uuid))
        self._write_down(table, [(row_uuid, row_to_json(before), None)])
        if geometry_column(table):
            self._shrunk.add(table.name)

    def note(self, table: Table, row_uuid: str, before: str | None, after: str | None) -> None:
        """Write down a change that another program made already."""
        self._write_down(table, [(row_uuid, before, after)])
        if geometry_column(table):
            self._shrunk.add(table.name)

    def finish(self) -> None:
        """Bring the list of contents up to date; last thing before the commit."""
        if not self._changed:
            return
        for name in sorted(self._shrunk):
            geopackage.measure_extent(self.connection, name)
        geopackage.note_change(self.connection, {*self._changed, CHANGE.name})

    def _row(self, table: Table, row_uuid: str) -> Row | None:
        found = self.connection.execute(select(table).where(table.c.uuid == row_uuid)).mappings().first()
        return None if found is None else dict(found)

    def _placed(self, table: Table, row: Row) -> Row:
        """Return a row as the file will give it back; its shape gets the SRID that its header carries there."""
        placed = dict(row)
        for name, value in row.items():
            kind = table.columns[name].type
            if value is None:
                continue
            if isinstance(kind, Geometry):
                placed[name] = shapely.set_srid(value, self.srs_id)
            elif isinstance(kind, Double):
                placed[name] = float(value)
            elif isinstance(kind, Integer):
                placed[name] = int(value)
        return placed

    def _write_down(self, table: Table, changes: Iterable[tuple[str, str | None, str | None]]) -> None:
        common = {"act": self.uuid, "who": self.who, "at": self.at, "what": self.what, "table_name": table.name}
        rows = [
            {**common, "row_uuid": row_uuid, "before": before, "after": after} for row_uuid, before, after in changes
        ]
        self.connection.execute(insert(CHANGE), rows)
        self._changed.add(table.name)
        versions.wrote(self.uuid)


def begin_own_write(connection: Connection) -> None:
    """Tell the triggers that watch other programs that this transaction is gridmap's own."""
    connection.execute(OWN_WRITE.update().values(writing=1))


def end_own_write(connection: Connection) -> None:
    """Set the watch again; the commit follows."""
    connection.execute(OWN_WRITE.update().values(writing=0))


def undo(act: Act, undone: str) -> None:
    """Take back all rows of an earlier act, if nothing has touched them since.

    Raises
    ------
    InputRefused
        When there is no such act, or a later one changed one of its rows.
    """
    connection = act.connection
    rows = connection.execute(select(CHANGE).where(CHANGE.c.act == undone).order_by(CHANGE.c.id.desc())).all()
    if not rows:
        raise InputRefused(f"there is no act {undone} to undo")
    _refuse_if_touched(act, undone, rows)
    act.what = f"undo: {rows[0].what}"
    try:
        for row in rows:
            _put_back(act, row)
    except IntegrityError as error:
        raise InputRefused(
            f"{rows[0].what!r} can't be undone",
            str(error.orig).splitlines()[0] if "frozen" in str(error.orig) else "other entries were made on top of it",
            "undo what came later first",
        ) from error


def _put_back(act: Act, change: Any) -> None:
    """Make one row again what it was before a change."""
    table = METADATA.tables[change.table_name]
    if change.before is None:
        act.delete(table, change.row_uuid)
    elif change.after is None:
        act.insert(table, [row_from_json(table, change.before)])
    else:
        act.update(table, change.row_uuid, row_from_json(table, change.before))


def _refuse_if_touched(act: Act, undone: str, rows: Sequence[Any]) -> None:
    """Refuse to take back an act whose entries are not as it left them; a later act that was undone is no hindrance."""
    left: dict[tuple[str, str], str | None] = {}
    for row in rows:
        left.setdefault((row.table_name, row.row_uuid), row.after)
    for (table_name, row_uuid), after in left.items():
        held = act._row(METADATA.tables[table_name], row_uuid)
        if (None if held is None else row_to_json(held)) == after:
            continue
        newer = act.connection.execute(
            select(CHANGE.c.what, CHANGE.c.at)
            .where(CHANGE.c.table_name == table_name, CHANGE.c.row_uuid == row_uuid, CHANGE.c.act != undone)
            .order_by(CHANGE.c.id.desc())
        ).first()
        since = "another program" if newer is None else f"{newer.what!r} of {to_text(newer.at)}"
        raise InputRefused(
            f"{rows[0].what!r} can't be undone", f"{since} changed the same entries later", "undo that first"
        )


def outside_edits(connection: Connection) -> int:
    """Return how many edits by other programs wait to be taken into the history."""
    return len(connection.execute(select(OUTSIDE_EDIT.c.id)).all())


def take_in_outside_edits(act: Act) -> int:
    """Write what other programs edited into the history; return how many rows changed.

    What a row was before comes from the history itself. A row that was edited and put back counts as unchanged. The
    tables refuse most of what can't be; what they can't see (an outline that crosses itself, entries left without what
    they belong to) is named in the history, for the grower to mend or undo.
    """
    connection = act.connection
    edits = connection.execute(select(OUTSIDE_EDIT.c.table_name, OUTSIDE_EDIT.c.row_uuid).distinct()).all()
    changes: list[tuple[Table, str, str | None, str | None]] = []
    doubts = _orphans(connection)
    for table_name, row_uuid in edits:
        table = METADATA.tables[table_name]
        known = connection.execute(
            select(CHANGE.c.after)
            .where(CHANGE.c.table_name == table_name, CHANGE.c.row_uuid == row_uuid)
            .order_by(CHANGE.c.id.desc())
        ).first()
        row = act._row(table, row_uuid)
        before, after = None if known is None else known.after, None if row is None else row_to_json(row)
        if before != after:
            changes.append((table, row_uuid, before, after))
            doubts += _doubts(table, row)
    if doubts:
        act.what = f"{act.what}; look at: {', '.join(doubts[:3])}"
    for change in changes:
        act.note(*change)
    connection.execute(OUTSIDE_EDIT.delete())
    return len(changes)


def _doubts(table: Table, row: Row | None) -> list[str]:
    """Return what is wrong with the shape of a row that another program edited."""
    column = geometry_column(table)
    if row is None or column is None or row[column] is None:
        return []
    shown = f"{table.name} {row.get('name') or row['uuid']}"
    if row[column].is_empty and table.name != "zone":
        return [f"{shown} has no shape"]
    return [] if row[column].is_valid else [f"{shown} crosses or touches itself"]


def _orphans(connection: Connection) -> list[str]:
    """Return in which tables entries name something that is gone; other programs need not keep the references."""
    if connection.dialect.name != "sqlite":
        return []
    found = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"{table} without its {parent}" for table, parent in sorted({(row[0], row[2]) for row in found})]
