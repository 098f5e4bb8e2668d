"""Numbered changes of the file's layout, in order.

A migration that was released is never changed: the next one changes what it made. Each is a module with ``NUMBER``,
``WHAT``, ``define(metadata)`` (the tables as they stand after it) and ``upgrade(connection, srs_id)`` (the same done to
a file). Each is applied and recorded in one transaction, begun explicitly since Python's SQLite module begins none
before a CREATE.
"""

from __future__ import annotations

import importlib.metadata
from typing import Protocol, cast

from sqlalchemy import Connection, Engine, MetaData, Table, column, inspect, table, text

from api.store.engine import writing
from api.store.migrations import (
    m0001_grove,
    m0002_zone,
    m0003_terrain,
    m0004_devices,
    m0005_treatment,
    m0006_sward,
    m0007_walk,
)
from api.store.times import UTCTime, now


class Migration(Protocol):
    """One numbered change of the layout."""

    NUMBER: int
    WHAT: str

    def define(self, metadata: MetaData) -> list[Table]:
        """Add or change table definitions."""

    def upgrade(self, connection: Connection, srs_id: int) -> None:
        """Change a file."""


MIGRATIONS: tuple[Migration, ...] = (
    cast(Migration, m0001_grove),
    cast(Migration, m0002_zone),
    cast(Migration, m0003_terrain),
    cast(Migration, m0004_devices),
    cast(Migration, m0005_treatment),
    cast(Migration, m0006_sward),
    cast(Migration, m0007_walk),
)
LATEST = MIGRATIONS[-1].NUMBER
_RECORD = table("migration", column("number"), column("what"), column("applied", UTCTime()), column("program"))


def applied(connection: Connection) -> int:
    """Return the number of the last migration that a grove has had, 0 for none."""
    if not inspect(connection).has_table("migration"):
        return 0
    return int(connection.execute(text("SELECT coalesce(max(number), 0) FROM migration")).scalar_one())


def apply(connection: Connection, migration: Migration, srs_id: int) -> None:
    """Apply one migration and record it; the caller holds the transaction."""
    migration.upgrade(connection, srs_id)
    connection.execute(
        _RECORD.insert().values(
            number=migration.NUMBER,
            what=migration.WHAT,
            applied=now(),
            program=f"gridmap {importlib.metadata.version('gridmap')}",
        )
    )


def upgrade(engine: Engine, *, up_to: int = LATEST) -> None:
    """Apply every migration that a grove file lacks, each in a transaction of its own.

    Another process may upgrade the same file: who comes second finds it done.
    """
    with writing(engine) as connection:
        for migration in MIGRATIONS:
            with connection.begin():
                if applied(connection) < migration.NUMBER <= up_to:
                    srs_id = int(connection.execute(text("SELECT crs_code FROM grove")).scalar_one())
                    apply(connection, migration, srs_id)
