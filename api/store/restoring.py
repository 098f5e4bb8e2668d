"""Bring a grove back as it was when a copy of it was made; what stands in its place is set aside first."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from sqlalchemy import text

from api.store import backup, catalogue, copying, database, engine, migrations, opening, schemas
from api.store.address import Address, parse
from api.store.database_trouble import told
from api.store.grove_file import GroveFile
from api.store.keeping import copy_grove
from gridmap.errors import GroveFileError, NotAGroveFile

# Which files belong to a grove file: SQLite's journals (its documentation, "Temporary Files Used By SQLite")
_SIDE = ("-journal", "-wal", "-shm")


def restore_grove(copy: str | Path, target: str | Path | Address) -> Path | str | None:
    """Bring a grove back as it was when a copy of it was made.

    Parameters
    ----------
    copy : str or pathlib.Path
        A grove file, as a backup makes them.
    target : str, pathlib.Path or Address
        The grove's file, damaged or not, or a new name; or the database that holds it, or shall hold it.

    Returns
    -------
    pathlib.Path, str or None
        File or schema in which the state before is kept, None where nothing was there.

    Raises
    ------
    GroveFileError
        When the copy is not whole, or the target holds another grove; the target is as it was.
    """
    copy, target = Path(copy), parse(target)
    opening.look(copy, read_only=True, busy_timeout_s=engine.BUSY_TIMEOUT_S)
    if not is_whole(copy):
        raise NotAGroveFile(f"{copy.name} is damaged", "only a whole copy is brought back", "take another copy")
    return _into_file(copy, target) if isinstance(target, Path) else _into_database(copy, target)


def is_whole(path: Path) -> bool:
    """Say whether a file is a grove file in which SQLite finds nothing wrong."""
    try:
        opening.look(path, read_only=True, busy_timeout_s=engine.BUSY_TIMEOUT_S)
        return engine.ask(path, "PRAGMA integrity_check", read_only=True) == ["ok"]
    except NotAGroveFile:
        return False


def _into_file(copy: Path, target: Path) -> Path | None:
    if not target.exists():
        with opening.new_file(target) as temporary:
            backup.copy_grove(copy, temporary)
        return None
    if target.samefile(copy):
        raise GroveFileError(f"{copy.name} is the grove file itself", None, "name the copy first, then the grove file")
    if not engine.writable(target):
        raise opening.refuse_read_only(target)
    if not is_whole(target):
        aside = opening.free_name(target, "damaged")
        _move(target, aside)
        with opening.new_file(target) as temporary:
            backup.copy_grove(copy, temporary)
        return aside
    of_copy, of_target = (engine.ask(path, "SELECT uuid FROM grove", read_only=True) for path in (copy, target))
    if of_copy != of_target:
        raise GroveFileError(
            f"{target.name} holds another grove than {copy.name}",
            "a copy is brought back only in place of the grove that it was made of",
            "restore it under a new name",
        )
    aside = opening.free_name(target, "before-restore")
    backup.copy_grove(target, aside)
    backup.replace_content(copy, target)
    return aside


def _move(path: Path, aside: Path) -> None:
    """Give a damaged file another name, its side files with it."""
    for side in ("", *_SIDE):
        with suppress(FileNotFoundError):
            os.rename(f"{path}{side}", f"{aside}{side}")


def _into_database(copy: Path, target: Address) -> str | None:
    with tempfile.TemporaryDirectory(prefix="gridmap-") as folder:
        # A copy of an older gridmap is upgraded here, and stays as it is there
        present = backup.copy_grove(copy, Path(folder) / "copy.gpkg")
        with GroveFile.open(present) as grove:
            info = grove.grove
        catalogue.refuse_name(target, name=info.name, uuid=info.uuid)
        kept = next((kept for kept in catalogue.listed(target) if kept.uuid == info.uuid), None)
        if kept is None:
            copy_grove(present, target)
            return None
        aside = schemas.set_aside(target, kept, "before_restore")
        _replace_schema(present, target, kept)
        return aside


def _replace_schema(copy: Path, address: Address, kept: catalogue.Kept) -> None:
    """Make a grove's schema anew from a copy, in one transaction: others see the state before, or the copy."""
    engine_of = schemas.engine_of(address, kept)
    with (
        GroveFile.open(copy, read_only=True) as grove,
        grove._reading() as source,
        told(address.name),
        database.writing(engine_of) as written,
        written.begin(),
    ):
        written.execute(text(f'DROP SCHEMA "{kept.schema_name}" CASCADE'))
        written.execute(text(f'CREATE SCHEMA "{kept.schema_name}"'))
        copying.lay_tables(written, grove.grove.crs_code, up_to=migrations.LATEST)
        copying.copy_rows(source, written, number=migrations.LATEST, srs_id=grove.grove.crs_code)
        catalogue.follow_name(written, kept.schema_name)
