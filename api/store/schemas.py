"""The schemas of a shared database: made for a grove, upgraded, and set aside before anything is done to one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, text

from api.store import catalogue, copying, database, migrations
from api.store.address import Address
from api.store.database_trouble import told
from gridmap.errors import GroveFileError, GroveReadOnly, NewerGroveFile


def engine_of(address: Address, kept: catalogue.Kept) -> Engine:
    """Return the engine whose transactions are about one grove of a database."""
    engine = database.engine_for(address)
    with told(address.name), database.reading(engine) as connection:
        extension = database.extension_schema(connection)
    if extension is None:
        raise GroveFileError(f"{address} has no PostGIS any more", "shapes are kept by it", "restore the extension")
    return database.for_grove(engine, kept.schema_name, extension)


@contextmanager
def new(address: Address, uuid: str, word: str = "") -> Iterator[tuple[Connection, str]]:
    """Make a schema for a grove; give a transaction that is about it, and its name. Whole or not there."""
    with (
        told(address.name),
        database.writing(database.engine_for(address)) as connection,
        connection.begin(),
    ):
        extension = catalogue.prepare(connection, address)
        schema = catalogue.schema_for(connection, uuid, word)
        connection.execute(text(f'CREATE SCHEMA "{schema}"'))
        connection.execute(text(f"SET LOCAL search_path = {database.search_path(schema, extension)}"))
        yield connection, schema


def bring_up_to_date(address: Address, kept: catalogue.Kept, *, read_only: bool) -> str | None:
    """Upgrade an older grove after a copy of it was set aside; return the copy's schema, None where it is of today."""
    engine = engine_of(address, kept)
    with database.reading(engine) as connection:
        number = migrations.applied(connection)
    if number > migrations.LATEST:
        raise NewerGroveFile(
            f"{address} was written by a newer gridmap",
            f"its layout has number {number}, this gridmap knows up to {migrations.LATEST}",
            "install the newer gridmap; the grove was not touched",
        )
    if number == migrations.LATEST:
        return None
    if read_only:
        raise GroveReadOnly(
            f"{address} is of an older gridmap",
            "it must be upgraded before it can be read, and was opened for reading only",
            "open it for writing once; a copy is set aside first",
        )
    aside = set_aside(address, kept, f"before_{number + 1}")
    with database.writing(engine) as connection, connection.begin():
        # Whoever upgrades the same grove meanwhile waits here, and finds it done
        connection.execute(text("LOCK TABLE migration IN ACCESS EXCLUSIVE MODE"))
        srs_id = int(connection.execute(text("SELECT crs_code FROM grove")).scalar_one())
        number = migrations.applied(connection)
        for migration in migrations.MIGRATIONS:
            if number < migration.NUMBER:
                migrations.apply(connection, migration, srs_id)
    return aside


def set_aside(address: Address, kept: catalogue.Kept, word: str) -> str:
    """Copy a grove as it stands into a schema that no catalogue names; return the schema."""
    with database.reading(engine_of(address, kept)) as source:
        number = migrations.applied(source)
        srs_id = int(source.execute(text("SELECT crs_code FROM grove")).scalar_one())
        with new(address, kept.uuid, word) as (target, schema):
            copying.lay_tables(target, srs_id, up_to=number)
            copying.copy_rows(source, target, number=number, srs_id=srs_id)
    return schema
