"""What PostgreSQL says, in the grower's words: the same one clear line as for a grove file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import CheckConstraint
from sqlalchemy.exc import DataError, DBAPIError, OperationalError

from api.store.tables import METADATA
from gridmap.errors import GridmapError, GroveBusy, GroveFileError, GroveReadOnly, InputRefused

if TYPE_CHECKING:
    import psycopg

# PostgreSQL 15 manual, appendix A, "PostgreSQL Error Codes"
_NOT_NULL, _FOREIGN_KEY, _UNIQUE, _CHECK, _RAISED = "23502", "23503", "23505", "23514", "23000"
_LOCKED = {"55P03", "40001", "40P01", "57014"}
_STOPPED = {"57P01", "57P02", "57P03", "53300"}
_NO_ROOM = {"53100", "53200", "58030"}
_FORBIDDEN = {"42501", "25006"}


@contextmanager
def told(name: str) -> Iterator[None]:
    """Run a block on a grove in a database; what the database refuses comes out as one clear line."""
    try:
        yield
    except DBAPIError as error:
        # The driver takes a quarter of a second to load, which whoever works on a file need not wait for
        import psycopg

        if not isinstance(error.orig, psycopg.Error):
            raise
        if isinstance(error, DataError) and error.orig.sqlstate is None:
            # The driver refused it before the server saw it
            raise InputRefused(f"{name} can't hold this", str(error.orig), "nothing was changed") from error
        raise explain(error.orig, name, lost=isinstance(error, OperationalError)) from error


def explain(error: psycopg.Error, name: str, *, lost: bool = False) -> GridmapError:
    """Return the error that tells a grower what a refusal of PostgreSQL means for this grove.

    Parameters
    ----------
    error : psycopg.Error
        What the driver raised.
    name : str
        What the grove is called in messages; without a password.
    lost : bool
        An error without a code is one of the connection.

    Examples
    --------
    >>> import psycopg
    >>> print(explain(psycopg.OperationalError("connection failed"), "postgresql://farm/groves", lost=True))
    postgresql://farm/groves can't be reached: connection failed. Look at the address and whether the server runs.
    """
    code = error.sqlstate
    said = first_line(error)
    if code is None and lost:
        return GroveFileError(f"{name} can't be reached", said, "look at the address and whether the server runs")
    if code in _STOPPED:
        return GroveBusy(f"{name} is not to be had now: {said}", "nothing was changed", "try again later")
    if code in _LOCKED:
        return GroveBusy(f"{name} is kept locked by another program", "nothing was changed", "try again")
    if code in _NO_ROOM:
        return GroveFileError(f"{name} can't be written: {said}", "nothing was changed", "look at the server's disk")
    if code in _FORBIDDEN:
        return GroveReadOnly(f"{name} can't be written: {said}", None, "ask whoever looks after the database")
    if code is not None and code.startswith("28"):
        return GroveFileError(f"{name} lets nobody in: {said}", None, "look at the user and the password")
    if code is not None and code[:2] in ("22", "23"):
        return InputRefused(f"{name} can't hold this", _rule(error), "nothing was changed")
    return GroveFileError(f"{name} can't be used", said)


def first_line(error: BaseException) -> str:
    r"""Return what the server says itself, without the lines on where in which function it was.

    Examples
    --------
    >>> first_line(ValueError("this zone is frozen\nCONTEXT: a function"))
    'this zone is frozen'
    """
    said = getattr(getattr(error, "diag", None), "message_primary", None)
    return said or next(iter(str(error).splitlines()), type(error).__name__)


def _rule(error: psycopg.Error) -> str:
    """Return in words which rule of the tables was broken."""
    told = error.diag
    table = told.table_name or ""
    if error.sqlstate == _UNIQUE:
        columns = (told.message_detail or "").partition("(")[2].partition(")")[0].replace('"', "").replace("_", " ")
        return f"there is already a {table} with this {columns}"
    if error.sqlstate == _FOREIGN_KEY:
        return "it names an entry that is not there, or another entry needs it"
    if error.sqlstate == _NOT_NULL:
        return f"a {table} must have its {told.column_name}"
    if error.sqlstate == _CHECK and table in METADATA.tables:
        column = str(told.constraint_name).removeprefix(f"{table}_").removesuffix("_check")
        for constraint in METADATA.tables[table].constraints:
            if isinstance(constraint, CheckConstraint) and column in str(constraint.sqltext):
                return f"its rule is {constraint.sqltext}"
    return first_line(error)
