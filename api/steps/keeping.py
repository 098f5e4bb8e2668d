"""Move a grove between a file and a shared database, bring a copy back, and say which groves a database holds."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from api import store
from api.steps.outcome import Outcome
from api.store import Address, catalogue
from gridmap.errors import InputRefused


def copy(source: Path | Address, target: Path | Address) -> Outcome:
    """Copy a grove to another store with all its history, numbers and settings; the source stays as it is.

    Parameters
    ----------
    source : Path or Address
        The grove.
    target : Path or Address
        A file that is not there yet, or a database that does not hold this grove yet.
    """
    where, rows = store.copy_grove(source, target)
    entries = sum(rows.values())
    return Outcome(
        said=(
            f"Copied to {where}: {entries:,} entries in {len(rows)} tables, each compared with what was sent.",
            f"{source} stays as it is. From now on write to one of the two only: they don't know of each other.",
        ),
        figures={"copy": str(where), "entries": entries, "tables": dict(rows)},
    )


def restore(copy_file: Path, target: Path | Address) -> Outcome:
    """Bring a grove back as it was when a copy was made; what stands there now is set aside.

    Parameters
    ----------
    copy_file : Path
        A copy that a backup made.
    target : Path or Address
        The grove's file, damaged or not, or a new name; or the database that holds the grove.
    """
    if isinstance(copy_file, Address):
        raise InputRefused(f"the copy is {copy_file}", "it must be a grove file", "make one with gridmap backup")
    aside = store.restore_grove(copy_file, target)
    said = [f"{target} is as it was when {copy_file.name} was made."]
    if aside is not None:
        kept = f"schema {aside}" if isinstance(target, Address) else str(aside)
        said.append(f"What stood there before is kept in {kept}.")
    return Outcome(
        said=tuple(said), figures={"restored": str(target), "set_aside": None if aside is None else str(aside)}
    )


def list_groves(database: Path | Address) -> Outcome:
    """Say which groves a shared database holds."""
    if not isinstance(database, Address):
        raise InputRefused(f"{database} is a file", "groves are listed of a database", "like postgresql://user@host/db")
    kept = catalogue.listed(database)
    table = pd.DataFrame(
        {
            "grove": [grove.name for grove in kept],
            "uuid": [grove.uuid for grove in kept],
            "since": [grove.created.strftime("%Y-%m-%d") for grove in kept],
        }
    )
    return Outcome(
        said=(f"{database.of(None)} holds {len(kept)} grove{'' if len(kept) == 1 else 's'}.",),
        figures={"groves": [{"grove": grove.name, "uuid": grove.uuid, "created": grove.created} for grove in kept]},
        tables={"Groves": table} if kept else {},
    )
