"""Which groves a shared database holds: a schema ``gridmap`` with a line for each, beside the groves' own schemas.

Whoever may open a grove is said in the grove itself (`api.store.devices`), so a token for one grove is worth nothing at
another.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Column, Connection, Integer, MetaData, Table, Text, func, inspect, select, text
from sqlalchemy.exc import ProgrammingError

from api.store import database
from api.store.address import Address
from api.store.database_trouble import told
from api.store.times import UTCTime
from gridmap.errors import GroveFileError, GroveReadOnly, InputRefused, NewerGroveFile, NotAGroveFile

SCHEMA = "gridmap"
# Any number that nobody else takes for a lock; groves are made one at a time
_LOCK = 7_120_551_903_318_405
_LAYOUT_NUMBER = 1
_METADATA = MetaData(schema=SCHEMA)
GROVE = Table(
    "grove",
    _METADATA,
    Column("uuid", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("schema_name", Text, nullable=False, unique=True),
    Column("created", UTCTime, nullable=False),
    comment="Groves of this database; the name is that of the grove's own line",
)
_LAYOUT = Table("layout", _METADATA, Column("number", Integer, nullable=False), comment="Layout of this schema")


@dataclass(frozen=True)
class Kept:
    """A grove in a shared database: its UUID, what it is called, the schema that it lies in, and since when [UTC]."""

    uuid: str
    name: str
    schema_name: str
    created: datetime


def listed(address: Address) -> list[Kept]:
    """Return every grove of a database in the order of names; none where gridmap was never used there."""
    with told(address.name), database.reading(database.engine_for(address)) as connection:
        return _listed(connection)


def find(address: Address) -> Kept:
    """Return the grove that an address names by its UUID or its name; the only one where it names none.

    Raises
    ------
    GroveFileError
        When there is none, or several that it could be.
    """
    with told(address.name), database.reading(database.engine_for(address)) as connection:
        groves = _listed(connection)
    wanted = address.grove
    fitting = [grove for grove in groves if wanted is None or wanted.lower() == grove.uuid] or [
        grove for grove in groves if wanted == grove.name
    ]
    if len(fitting) == 1:
        return fitting[0]
    if not groves:
        raise GroveFileError(f"{address} holds no grove", None, "make one with gridmap new, or bring one with copy")
    if not fitting:
        raise GroveFileError(f"there is no grove {wanted!r} in {address.of(None)}", None, "look at gridmap groves")
    raise GroveFileError(
        f"{address} could be {len(fitting)} groves", None, "put the grove's uuid (see gridmap groves) after a # mark"
    )


def prepare(connection: Connection, address: Address) -> str:
    """Make ready for a new grove, alone until the transaction ends; return the schema that PostGIS lies in."""
    connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
    if connection.execute(text("SHOW server_encoding")).scalar_one() != "UTF8":
        raise GroveFileError(f"{address.of(None)} is not in UTF-8", "names are of any language", "make another")
    extension = database.extension_schema(connection)
    if extension is None:
        try:
            connection.execute(text("CREATE EXTENSION postgis WITH SCHEMA public"))
        except ProgrammingError as error:
            raise GroveReadOnly(
                f"{address.of(None)} has no PostGIS",
                "shapes are kept by it",
                "ask whoever looks after the database for CREATE EXTENSION postgis",
            ) from error
        extension = "public"
    if not inspect(connection).has_table("layout", schema=SCHEMA):
        connection.execute(text(f"CREATE SCHEMA IF NOT EXISTS {SCHEMA}"))
        _METADATA.create_all(connection, checkfirst=False)
        connection.execute(_LAYOUT.insert().values(number=_LAYOUT_NUMBER))
    return extension


def enter(connection: Connection, grove: Kept) -> None:
    """Enter a grove, whose schema is made in the same transaction."""
    connection.execute(
        GROVE.insert().values(
            uuid=grove.uuid, name=grove.name, schema_name=grove.schema_name, created=grove.created
        )
    )


def taken(connection: Connection, uuid: str) -> Kept | None:
    """Return the grove of this UUID, None where there is none."""
    row = connection.execute(select(GROVE).where(GROVE.c.uuid == uuid)).mappings().first()
    return None if row is None else Kept(**row)


def follow_name(connection: Connection, schema: str) -> None:
    """Let the catalogue call a grove what the grove calls itself; the connection's transaction is about this grove."""
    connection.execute(
        text(
            f"UPDATE {SCHEMA}.grove AS known SET name = own.name FROM grove AS own "
            "WHERE known.schema_name = :schema AND known.name <> own.name"
        ),
        {"schema": schema},
    )


def schema_for(connection: Connection, uuid: str, word: str = "") -> str:
    """Return the name of a schema that is not there yet, for a grove or for a copy of it that is set aside."""
    # 63 letters is the longest name: 6 and 32 and what is left for the word
    start = f"grove_{re.sub('[^0-9a-f]', '', uuid)[:32]}{f'_{word}' if word else ''}"
    used = set(inspect(connection).get_schema_names())
    for number in range(1, 1000):
        name = start if number == 1 else f"{start}_{number}"
        if name not in used:
            return name
    raise GroveFileError(f"there are too many copies of grove {uuid}", None, "drop the oldest schemas")


def _listed(connection: Connection) -> list[Kept]:
    if not inspect(connection).has_table("layout", schema=SCHEMA):
        return []
    number = connection.execute(select(func.max(_LAYOUT.c.number))).scalar()
    if number is None:
        raise NotAGroveFile("schema gridmap was not made by gridmap", None, "take another database")
    if number > _LAYOUT_NUMBER:
        raise NewerGroveFile(
            "the database was laid out by a newer gridmap",
            f"its layout has number {number}, this gridmap knows up to {_LAYOUT_NUMBER}",
            "install the newer gridmap",
        )
    found = connection.execute(select(GROVE).order_by(GROVE.c.name, GROVE.c.uuid)).mappings()
    return [Kept(**row) for row in found]


def refuse_name(address: Address, *, name: str, uuid: str | None) -> None:
    """Refuse to make or bring a grove under an address that names another one."""
    if address.grove is not None and address.grove not in (name, uuid):
        raise InputRefused(
            f"the address names grove {address.grove!r}, the grove is called {name!r}",
            "an address names the grove that is there",
            "leave out what stands after the # mark",
        )
