"""A grove in a file of its own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection

from api.store import backup, engine, geopackage, info, migrations, opening
from api.store.store import Grove
from api.store.trouble import told


class FileBackend:
    """A grove file: how it is read and written.

    Parameters
    ----------
    path : pathlib.Path
        The grove file.
    read_only : bool
        Refuse every write.
    busy_timeout_s : float
        How long to wait for another program's lock [s].
    """

    def __init__(self, path: Path, *, read_only: bool, busy_timeout_s: float) -> None:
        self.path = path
        self.busy_timeout_s = busy_timeout_s
        self._engine = engine.engine_for(path, read_only=read_only, busy_timeout_s=busy_timeout_s)

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.name

    def told(self) -> AbstractContextManager[None]:
        """Let what SQLite refuses come out as one clear line."""
        return told(self.path)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Read one state of the file."""
        with self._engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Write in one transaction that holds the file's lock from its beginning."""
        with engine.writing(self._engine) as connection, connection.begin():
            yield connection

    def settle(self) -> None:
        """Fold in a write-ahead log that another program left."""
        engine.fold_log(self.path)

    def backup(self, target: Path) -> Path:
        """Copy the file while it is in use."""
        return backup.copy_grove(self.path, target, busy_timeout_s=self.busy_timeout_s)


class GroveFile(Grove):
    """A grove in one file: a GeoPackage that any desktop GIS reads.

    Made by `GroveFile.create` or `GroveFile.open`; everything else is in `Grove`.
    """

    def __init__(self, path: Path, *, read_only: bool, busy_timeout_s: float, set_aside: Path | None) -> None:
        self.path = path
        backend = FileBackend(path, read_only=read_only, busy_timeout_s=busy_timeout_s)
        super().__init__(backend, read_only=read_only, set_aside=set_aside)

    @classmethod
    def create(cls, path: str | Path, *, crs_epsg: int, who: str = "grower", **fields: Any) -> Self:
        """Make a new grove file and open it.

        Parameters
        ----------
        path : str or pathlib.Path
            Where no file is yet.
        crs_epsg : int
            EPSG code of a projected CRS in metres on the national datum.
        who : str
            Who makes it, for the history.
        **fields
            As in `api.store.info.NewGrove`.

        Raises
        ------
        GroveFileError
            When there is a file already, or the folder can't be written.
        InputRefused
            When one of the fields can't be.
        """
        checked = info.new_grove_fields(**fields)
        opening.make(Path(path), crs=geopackage.grove_crs(crs_epsg), fields=checked, who=who)
        return cls.open(path)

    @classmethod
    def open(cls, path: str | Path, *, read_only: bool = False, busy_timeout_s: float = engine.BUSY_TIMEOUT_S) -> Self:
        """Open a grove file; an older one is upgraded after a copy was set aside beside it (``set_aside`` names it).

        Raises
        ------
        NotAGroveFile, NewerGroveFile, GroveReadOnly, GroveBusy, GroveFileError
            As their names say; the file is as it was.
        """
        path = Path(path)
        number = opening.look(path, read_only=read_only, busy_timeout_s=busy_timeout_s)
        if read_only:
            opening.refuse_older(path, number)
            with told(path):
                return cls(path, read_only=True, busy_timeout_s=busy_timeout_s, set_aside=None)
        with told(path):
            engine.fold_log(path)
        set_aside = None
        if number < migrations.LATEST:
            set_aside = opening.bring_up_to_date(path, busy_timeout_s=busy_timeout_s)
        with told(path):
            grove = cls(path, read_only=False, busy_timeout_s=busy_timeout_s, set_aside=set_aside)
        grove.take_in_outside_edits()
        return grove
