"""Open a grove where it is kept, for a door that keeps nothing open between two questions."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from api import store
from api.store import Address, Grove, engine
from gridmap.errors import GroveReadOnly


def parse_where(text: str) -> Path | Address:
    """Read where a grove is kept: a file's path, or the address of a database (postgresql://...#grove)."""
    return store.address.parse(text)


def open_grove(where: Path | Address, *, read_only: bool = False) -> Grove:
    """Open a grove; reading comes after what another program edited was taken into the history."""
    grove = store.open_grove(where, read_only=read_only)
    if read_only and grove.state()[1]:
        grove.close()
        # Opening for writing takes the edits in; who may only read sees them in the layers, and not yet in the history
        with suppress(GroveReadOnly):
            store.open_grove(where).close()
        return store.open_grove(where, read_only=True)
    return grove


def state_of(where: Path | Address) -> str:
    """Name the state of a grove: the same name means that nothing in it has changed since."""
    if isinstance(where, Address):
        with open_grove(where, read_only=True) as grove:
            return f"{grove.grove.uuid}-{grove.state()[0]}"
    last, waiting = engine.ask(
        where, "SELECT coalesce(max(id), 0) FROM change", "SELECT count(*) FROM outside_edit", read_only=True
    )
    if waiting:
        with open_grove(where, read_only=True) as grove:
            last = grove.state()[0]
    return f"{where.stat().st_ino}-{last}"
