"""Times as a column: stored in UTC, in the one form that the GeoPackage standard allows."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.engine import Dialect
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.types import UserDefinedType

from gridmap.errors import InputRefused


def now() -> datetime:
    """Return this moment in UTC, to the millisecond that the file keeps."""
    return to_milliseconds(datetime.now(UTC))


def to_milliseconds(time: datetime) -> datetime:
    """Return a time in UTC as the file will give it back: cut to the millisecond.

    Examples
    --------
    >>> to_milliseconds(datetime(2026, 3, 1, 9, 30, 0, 123999, tzinfo=UTC)).isoformat()
    '2026-03-01T09:30:00.123000+00:00'
    >>> to_milliseconds(datetime(2026, 3, 1))
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Time is 2026-03-01T00:00:00: it must say its offset from UTC. Give it ...
    """
    if time.tzinfo is None:
        raise InputRefused(
            f"time is {time.isoformat()}", "it must say its offset from UTC", "give it with its time zone"
        )
    time = time.astimezone(UTC)
    return time.replace(microsecond=time.microsecond // 1000 * 1000)


def to_text(time: datetime) -> str:
    """Return a time as YYYY-MM-DDTHH:MM:SS.000Z (OGC 12-128r18, table 1, DATETIME).

    Examples
    --------
    >>> to_text(datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    '2026-03-01T09:30:00.000Z'
    """
    return to_milliseconds(time).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def from_text(text: str) -> datetime:
    """Return the time in UTC that the file says; another program may have left out seconds or the letter Z."""
    time = datetime.fromisoformat(text)
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


class UTCTime(UserDefinedType[datetime]):
    """A moment in UTC."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        """Return the type's name in the file."""
        return "DATETIME"

    def bind_processor(self, dialect: Dialect) -> Callable[[datetime | None], str | datetime | None]:
        """Return what turns a time into the database's value."""
        change = to_text if dialect.name == "sqlite" else to_milliseconds
        return lambda value: None if value is None else change(value)

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], datetime | None]:
        """Return what turns the database's value into a time."""
        if dialect.name == "sqlite":
            return lambda value: None if value is None else from_text(value)
        return lambda value: None if value is None else value.astimezone(UTC)


@compiles(UTCTime, "postgresql")
def _postgresql_type(type_: UTCTime, compiler: object, **_: Any) -> str:
    return "TIMESTAMP WITH TIME ZONE"
