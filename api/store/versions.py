"""Versions: the number of the last change of a thing, so that two windows never overwrite each other silently.

Every change is in the history; the number of a row's last change there is its version. Who edits says which version
it saw; the check is made inside the transaction of the edit, so nothing can come in between.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Connection, func, select, table
from sqlalchemy import column as named_column

from api.store.refusals import ChangedMeanwhile

CHANGE: Final = table(
    "change", named_column("id"), named_column("act"), named_column("table_name"), named_column("row_uuid")
)
OUTSIDE_EDIT: Final = table("outside_edit", named_column("id"))
SETTING: Final = table("setting", named_column("uuid"), named_column("name"))


@dataclass(frozen=True)
class Seen:
    """A row as its editor saw it: table, UUID, version (0 where there was none), and what it is called."""

    table_name: str
    row_uuid: str
    version: int
    thing: str


@dataclass
class Writing:
    """What the writer saw, and the acts (UUIDs) that were written while it was watched."""

    seen: tuple[Seen, ...] = ()
    acts: list[str] = field(default_factory=list)

    @property
    def act(self) -> str | None:
        """UUID of the last act that changed something, None where nothing was written."""
        return self.acts[-1] if self.acts else None


_WRITING: ContextVar[Writing | None] = ContextVar("writing", default=None)


@contextmanager
def watched(*seen: Seen) -> Iterator[Writing]:
    """Refuse every act of this block that would change what its editor has not seen; note the acts.

    Raises
    ------
    ChangedMeanwhile
        From the act itself; it is not written.
    """
    writing = Writing(seen)
    token = _WRITING.set(writing)
    try:
        yield writing
    finally:
        _WRITING.reset(token)


def begin(connection: Connection) -> None:
    """Check what the writer saw; called by every act inside its transaction, before it changes anything."""
    writing = _WRITING.get()
    if writing is None:
        return
    for thing in writing.seen:
        present = version(connection, thing.table_name, thing.row_uuid)
        if present != thing.version:
            raise ChangedMeanwhile(thing.thing, present)
    # What was seen is checked once: the act's own later parts change it
    writing.seen = ()


def wrote(act: str) -> None:
    """Note an act that changed something; called by every act when it writes its history."""
    writing = _WRITING.get()
    if writing is not None and writing.act != act:
        writing.acts.append(act)


def version(connection: Connection, table_name: str, row_uuid: str) -> int:
    """Return the number of a row's last change, 0 where it never was; a setting goes by its name."""
    if table_name == SETTING.name:
        found = connection.execute(select(SETTING.c.uuid).where(SETTING.c.name == row_uuid)).scalar()
        return 0 if found is None else _version(connection, table_name, str(found))
    return _version(connection, table_name, row_uuid)


def _version(connection: Connection, table_name: str, row_uuid: str) -> int:
    query = select(func.coalesce(func.max(CHANGE.c.id), 0))
    found = connection.execute(query.where(CHANGE.c.table_name == table_name, CHANGE.c.row_uuid == row_uuid))
    return int(found.scalar_one())


def versions(connection: Connection, table_name: str) -> dict[str, int]:
    """Return the version of every row of a table, by its UUID; rows that are gone among them."""
    query = select(CHANGE.c.row_uuid, func.max(CHANGE.c.id)).where(CHANGE.c.table_name == table_name)
    return {str(row[0]): int(row[1]) for row in connection.execute(query.group_by(CHANGE.c.row_uuid))}


def state(connection: Connection) -> tuple[int, int]:
    """Return the number of the last change of the whole grove, and how many edits by other programs wait."""
    last = connection.execute(select(func.coalesce(func.max(CHANGE.c.id), 0))).scalar_one()
    waiting = connection.execute(select(func.count()).select_from(OUTSIDE_EDIT)).scalar_one()
    return int(last), int(waiting)
