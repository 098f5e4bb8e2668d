"""Connect to a shared database. The one module that knows how PostgreSQL begins a transaction.

Each grove lies in a schema of its own with the tables of the grove file. Connections are pooled, so which grove a
transaction is about is said at its beginning and forgotten at its end (SET LOCAL). A reader sees one state
(REPEATABLE READ). A writer takes the grove's one line of ``own_write`` first, so writers of a grove wait for each other
as they do on a file, and what one reads before it writes is what the one before left.
"""

from __future__ import annotations

import os
from contextlib import suppress

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError

from api.store.address import Address
from gridmap.errors import InputRefused

BUSY_TIMEOUT_S = 30.0
_PATH, _READS, _WAIT = "grove_search_path", "grove_reads", "grove_wait_s"
# By process too: a connection must not be used on both sides of a fork
_ENGINES: dict[tuple[int, str], Engine] = {}


def engine_for(address: Address) -> Engine:
    """Return the engine of a database, with its pool of connections; it is made once in a process."""
    key = (os.getpid(), address.url)
    if key not in _ENGINES:
        try:
            url = make_url(address.url).set(drivername="postgresql+psycopg")
        except (ArgumentError, ValueError):
            raise InputRefused(
                f"{address} is no address of a database", None, "give it like postgresql://user@host/database#grove"
            ) from None
        made = create_engine(
            url,
            pool_pre_ping=True,
            pool_size=8,
            max_overflow=24,
            connect_args={"options": "-c timezone=UTC", "application_name": "gridmap", "connect_timeout": 10},
        )
        event.listen(made, "begin", _begin)
        _ENGINES[key] = made
    return _ENGINES[key]


def let_go(address: Address | None = None) -> None:
    """Close the idle connections to a database (None: to all)."""
    for key in [key for key in _ENGINES if address is None or key[1] == address.url]:
        engine = _ENGINES.pop(key)
        with suppress(OSError):
            engine.dispose(close=key[0] == os.getpid())


def for_grove(engine: Engine, schema: str, extension_schema: str) -> Engine:
    """Return the same engine, its transactions being about the grove in this schema."""
    return engine.execution_options(**{_PATH: search_path(schema, extension_schema)})


def search_path(schema: str, extension_schema: str) -> str:
    """Return where names are looked up: in the grove's schema, then where PostGIS lies.

    Examples
    --------
    >>> search_path("grove_1", "public")
    '"grove_1", "public"'
    """
    return f'"{schema}", "{extension_schema}"'


def reading(engine: Engine) -> Connection:
    """Return a connection whose transactions see one state and can't write."""
    return engine.connect().execution_options(**{_READS: True})


def writing(engine: Engine, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Connection:
    """Return a connection whose transactions wait so long for another writer [s]."""
    return engine.connect().execution_options(**{_WAIT: busy_timeout_s})


def _begin(connection: Connection) -> None:
    """Say at the beginning of a transaction what it is about; all in one message to the server."""
    options = connection.get_execution_options()
    said = []
    if options.get(_READS):
        said.append("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
    if _WAIT in options:
        said.append(f"SET LOCAL lock_timeout = {max(1, round(options[_WAIT] * 1000))}")
    if _PATH in options:
        said.append(f"SET LOCAL search_path = {options[_PATH]}")
    if said:
        connection.exec_driver_sql("; ".join(said))


def extension_schema(connection: Connection) -> str | None:
    """Return in which schema PostGIS lies, None where the database has none."""
    found = connection.execute(
        text(
            "SELECT nspname FROM pg_extension JOIN pg_namespace ON pg_namespace.oid = extnamespace "
            "WHERE extname = 'postgis'"
        )
    ).scalar()
    return None if found is None else str(found)
