"""Groves as a service hosts them: one in a file, or every one that a shared database holds."""

from __future__ import annotations

from pathlib import Path

from api.steps.opening import open_grove, parse_where
from api.store import Address, GroveInfo, catalogue
from gridmap.errors import InputRefused


def told_of(where: Path | Address) -> GroveInfo:
    """Return what a grove says of itself; an older one is brought up to date first."""
    with open_grove(where) as grove:
        return grove.grove


def hosted(database: str) -> dict[str, Address]:
    """Return where each grove of a database is kept, by its UUID."""
    address = parse_where(database)
    if not isinstance(address, Address):
        raise InputRefused(f"{database} is no database", "it must be like postgresql://user@host/database")
    if address.grove is not None:
        kept = catalogue.find(address)
        return {kept.uuid: address.of(kept.uuid)}
    return {kept.uuid: address.of(kept.uuid) for kept in catalogue.listed(address)}


__all__ = ["Address", "GroveInfo", "hosted", "told_of"]
