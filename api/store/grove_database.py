"""A grove in a shared database: a schema of its own with the tables of the grove file."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection

from api.store import catalogue, copying, database, geopackage, info, migrations, opening, schemas
from api.store.address import Address
from api.store.backup import beside, to_disk
from api.store.database_trouble import told
from api.store.store import Grove
from api.store.times import now
from gridmap.errors import GroveFileError, GroveReadOnly


class DatabaseBackend:
    """A grove in a shared database: how it is read and written.

    Parameters
    ----------
    address : Address
        Of the grove.
    kept : api.store.catalogue.Kept
        What the catalogue says of it.
    busy_timeout_s : float
        How long to wait for another writer [s].
    """

    def __init__(self, address: Address, kept: catalogue.Kept, *, busy_timeout_s: float) -> None:
        self.address = address
        self.kept = kept
        self.busy_timeout_s = busy_timeout_s
        self._engine = schemas.engine_of(address, kept)

    @property
    def name(self) -> str:
        """The address, without a password."""
        return self.address.name

    def told(self) -> AbstractContextManager[None]:
        """Let what PostgreSQL refuses come out as one clear line."""
        return told(self.name)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Read one state of the grove."""
        with database.reading(self._engine) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Write in one transaction; what it writes first (``own_write``) makes other writers of the grove wait."""
        with database.writing(self._engine, busy_timeout_s=self.busy_timeout_s) as connection, connection.begin():
            yield connection
            catalogue.follow_name(connection, self.kept.schema_name)

    def settle(self) -> None:
        """Nothing is left to be put in order."""

    def backup(self, target: Path) -> Path:
        """Copy the grove to a grove file, replacing what stands at the target."""
        if target.is_dir() or not target.absolute().parent.is_dir():
            raise GroveFileError(f"the copy can't be {target.name}", "it must be a file in a folder that is there")
        temporary = beside(target, "part")
        try:
            with self.told(), self.reading() as source:
                copying.write_file(source, temporary)
            to_disk(temporary)
            os.replace(temporary, target)
            to_disk(target.absolute().parent)
        except OSError as error:
            raise GroveReadOnly(f"the copy can't be written to {target.absolute().parent.name}") from error
        finally:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
        return target


class GroveDatabase(Grove):
    """A grove in a PostgreSQL database with PostGIS; everything else is in `Grove`."""

    def __init__(
        self, address: Address, kept: catalogue.Kept, *, read_only: bool, busy_timeout_s: float, set_aside: str | None
    ) -> None:
        self.address = address
        backend = DatabaseBackend(address, kept, busy_timeout_s=busy_timeout_s)
        super().__init__(backend, read_only=read_only, set_aside=set_aside)

    @classmethod
    def create(cls, address: Address, *, crs_epsg: int, who: str = "grower", **fields: Any) -> Self:
        """Make a new grove in a database and open it.

        Parameters
        ----------
        address : Address
            Of the database.
        crs_epsg : int
            EPSG code of a projected CRS in metres on the national datum.
        who : str
            Who makes it, for the history.
        **fields
            As in `api.store.info.new_grove_fields`.

        Raises
        ------
        GroveFileError
            When the database can't be reached, or groves can't be made in it.
        InputRefused
            When one of the fields can't be.
        """
        checked = info.new_grove_fields(**fields)
        crs = geopackage.grove_crs(crs_epsg)
        catalogue.refuse_name(address, name=checked["name"], uuid=None)
        made = str(uuid.uuid4())
        with schemas.new(address, made) as (connection, schema):
            opening.begin_grove(connection, crs=crs, fields={**checked, "uuid": made}, who=who)
            for migration in migrations.MIGRATIONS[1:]:
                migrations.apply(connection, migration, crs_epsg)
            catalogue.enter(connection, catalogue.Kept(made, checked["name"], schema, now()))
        return cls.open(address.of(made))

    @classmethod
    def open(
        cls, address: Address, *, read_only: bool = False, busy_timeout_s: float = database.BUSY_TIMEOUT_S
    ) -> Self:
        """Open a grove of a database; an older one is upgraded after a copy was set aside in a schema beside it.

        Raises
        ------
        NewerGroveFile, GroveReadOnly, GroveBusy, GroveFileError
            As their names say; the grove is as it was.
        """
        kept = catalogue.find(address)
        with told(address.name):
            set_aside = schemas.bring_up_to_date(address, kept, read_only=read_only)
            grove = cls(address, kept, read_only=read_only, busy_timeout_s=busy_timeout_s, set_aside=set_aside)
        if not read_only:
            grove.take_in_outside_edits()
        return grove
