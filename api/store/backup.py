"""Copy a grove file while it is in use: the copy is whole, checked, and appears at once or not at all."""

from __future__ import annotations

import os
import sqlite3
import time
import uuid
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from api.store.engine import BUSY_TIMEOUT_S, connect
from api.store.trouble import told
from gridmap.errors import GroveBusy, GroveFileError, GroveReadOnly


def copy_grove(source: Path, target: Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Path:
    """Copy a grove file, replacing what stands at the target; return the target.

    Parameters
    ----------
    source, target : pathlib.Path
        Grove file, and the copy to be.
    busy_timeout_s : float
        How long to wait for another program's lock [s].

    Raises
    ------
    GroveFileError
        When the target is the grove itself, its folder can't be written, or the copy is not whole; the target then
        stays as it was.
    """
    if target.exists() and (target.is_dir() or target.samefile(source)):
        raise GroveFileError(
            f"the copy can't be {target.name}", "it must be a file beside the grove file", "give another name"
        )
    if not target.absolute().parent.is_dir():
        raise GroveFileError(f"there is no folder {target.absolute().parent.name}", None, "make the folder first")
    temporary = beside(target, "part")
    try:
        _copy(source, temporary, busy_timeout_s)
        # Only a file that no SQLite connection of this process has open may be opened otherwise: this one is ours alone
        to_disk(temporary)
        os.replace(temporary, target)
        to_disk(target.absolute().parent)
    except OSError as error:
        raise _cannot_write(target) from error
    finally:
        for leftover in (temporary, temporary.with_name(f"{temporary.name}-journal")):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)
    return target


def replace_content(source: Path, target: Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
    """Let a grove file hold what a copy holds, while others have it open: they see the one state, then the other.

    Notes
    -----
    The pages are written in one transaction of SQLite's, so a power cut leaves the state before.
    """
    waited = _wait(f"{target.name} is kept locked by another program", busy_timeout_s)
    with told(target), closing(connect(source, read_only=True)) as held, closing(connect(target)) as written:
        held.backup(written, pages=-1, progress=waited, sleep=0.05)
        written.execute("PRAGMA journal_mode=DELETE").fetchone()


def _wait(what: str, busy_timeout_s: float) -> Callable[[int, int, int], None]:
    """Return what tells SQLite's copying how long to wait for a lock."""
    until = time.monotonic() + busy_timeout_s

    def waited(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise GroveBusy(what, "nothing was copied", "try again later")

    return waited


def beside(path: Path, word: str) -> Path:
    """Return a hidden name beside a file that nothing else has."""
    return path.absolute().with_name(f".{path.name}.{word}-{uuid.uuid4().hex[:8]}")


def put_in_place(temporary: Path, path: Path) -> None:
    """Give a finished file its name, unless there is a file of that name already."""
    taken = GroveFileError(
        f"there is a file {path.name} already", "a new grove never replaces one", "give another name"
    )
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise taken from None
    except OSError:
        # Some file systems (memory cards) know no links
        if path.exists():
            raise taken from None
        os.rename(temporary, path)
    else:
        temporary.unlink()
    to_disk(path.absolute().parent)


def _copy(source: Path, temporary: Path, busy_timeout_s: float) -> None:
    """Copy by SQLite's own way, which sees a state between two transactions, and check what came out."""
    waited = _wait(f"{source.name} is kept locked by another program", busy_timeout_s)
    with told(source):
        held = connect(source, read_only=True, busy_timeout_s=busy_timeout_s)
        try:
            if not os.access(temporary.parent, os.W_OK):
                raise _cannot_write(temporary)
            copy = connect(temporary, new=True)
            try:
                held.backup(copy, progress=waited)
                # A copy of a file in write-ahead mode says that it is one
                copy.execute("PRAGMA journal_mode=DELETE").fetchone()
                found = [row[0] for row in copy.execute("PRAGMA integrity_check")]
            finally:
                copy.close()
        finally:
            held.close()
    if found != ["ok"]:
        raise GroveFileError(
            f"the copy of {source.name} is not whole", str(found[0]), "nothing was replaced; look at the disk"
        )


def _cannot_write(target: Path) -> GroveReadOnly:
    return GroveReadOnly(
        f"the copy can't be written to {target.absolute().parent.name}", None, "give a folder of your own"
    )


def to_disk(path: Path) -> None:
    """Wait until a file or a folder's list of names is on the disk; where a system can't, it does so by itself."""
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
