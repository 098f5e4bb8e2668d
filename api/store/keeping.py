"""Open, make and copy a grove, wherever it is kept: in a file of its own, or in a shared database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from api.store import catalogue, copying, engine, migrations, schemas
from api.store.address import Address, parse
from api.store.grove_database import GroveDatabase
from api.store.grove_file import GroveFile
from api.store.store import Grove
from gridmap.errors import GroveFileError


def open_grove(
    where: str | Path | Address, *, read_only: bool = False, busy_timeout_s: float = engine.BUSY_TIMEOUT_S
) -> Grove:
    """Open a grove, by the path of its file or by its address in a shared database.

    Parameters
    ----------
    where : str, pathlib.Path or Address
        ``home.gpkg``, or ``postgresql://user@host/database#name or uuid of the grove``.
    read_only : bool
        Refuse every write.
    busy_timeout_s : float
        How long to wait for another writer [s].

    Raises
    ------
    GroveFileError
        One of its kinds says what is wrong; the grove is as it was.

    Examples
    --------
    >>> open_grove("nowhere.gpkg")
    Traceback (most recent call last):
    gridmap.errors.GroveFileError: There is no grove file nowhere.gpkg. Check the name ...
    """
    where = parse(where)
    if isinstance(where, Address):
        return GroveDatabase.open(where, read_only=read_only, busy_timeout_s=busy_timeout_s)
    return GroveFile.open(where, read_only=read_only, busy_timeout_s=busy_timeout_s)


def create_grove(where: str | Path | Address, *, crs_epsg: int, who: str = "grower", **fields: Any) -> Grove:
    """Make a grove and open it.

    Parameters
    ----------
    where : str, pathlib.Path or Address
        A file that is not there yet, or the address of a database.
    crs_epsg : int
        EPSG code of a projected CRS in metres on the national datum.
    who : str
        Who makes it, for the history.
    **fields
        As in `api.store.info.new_grove_fields`.
    """
    where = parse(where)
    if isinstance(where, Address):
        return GroveDatabase.create(where, crs_epsg=crs_epsg, who=who, **fields)
    return GroveFile.create(where, crs_epsg=crs_epsg, who=who, **fields)


def copy_grove(source: str | Path | Address, target: str | Path | Address) -> tuple[Path | Address, dict[str, int]]:
    """Copy a grove from one store to another, with its history and all its numbers; the source stays as it is.

    Parameters
    ----------
    source : str, pathlib.Path or Address
        The grove.
    target : str, pathlib.Path or Address
        A file that is not there yet, or a database that does not hold this grove yet.

    Returns
    -------
    tuple
        Where the copy is, and how many rows each of its tables has.

    Raises
    ------
    GroveFileError
        When the target is taken or can't be written, or what arrived is not what was sent; nothing is kept then.
    """
    target = parse(target)
    with open_grove(source, read_only=True) as grove, grove._reading() as connection:
        if isinstance(target, Path):
            return target, copying.write_file(connection, target)
        info = grove.grove
        catalogue.refuse_name(target, name=info.name, uuid=info.uuid)
        with schemas.new(target, info.uuid) as (written, schema):
            if catalogue.taken(written, info.uuid) is not None:
                raise GroveFileError(
                    f"grove {info.name!r} is in {target.of(None)} already",
                    "a copy never replaces a grove",
                    "to bring an earlier state of it back, use gridmap restore",
                )
            copying.lay_tables(written, info.crs_code, up_to=migrations.LATEST)
            rows = copying.copy_rows(connection, written, number=migrations.LATEST, srs_id=info.crs_code)
            catalogue.enter(written, catalogue.Kept(info.uuid, info.name, schema, info.created))
    return target.of(info.uuid), rows
