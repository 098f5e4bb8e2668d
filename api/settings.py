"""What the service is started with: read once, never changed while it runs."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

MIB: Final = 2**20
PAGE: Final = Path(__file__).resolve().parent.parent / "maps" / "page"


@dataclass(frozen=True)
class Limits:
    """How much is taken at once; each has its own message.

    Parameters
    ----------
    json_bytes, layer_bytes, table_bytes, facts_bytes : int
        Of a JSON body, an uploaded layer, an uploaded table, uploaded facts [bytes].
    json_depth : int
        Lists and objects inside one another.
    corners : int
        Of one drawn shape.
    counts : int
        In a batch.
    """

    json_bytes: int = 8 * MIB
    layer_bytes: int = 100 * MIB
    table_bytes: int = 20 * MIB
    facts_bytes: int = MIB
    json_depth: int = 32
    corners: int = 20_000
    counts: int = 500


@dataclass(frozen=True)
class Settings:
    """What the service is started with.

    Parameters
    ----------
    groves : tuple of Path
        Grove files that it answers for.
    new_grove : Path, optional
        Where a first grove may be made.
    database : str, optional
        Address of a shared database; each of its groves is seen only by who holds a token for it, at this machine too.
    shared : bool
        Devices on the network may ask, with a token each; on loopback without it whoever asks is the owner.
    hosts : tuple of str
        Names and addresses under which it may be asked, without port: a page elsewhere that lets its own name point
        here is refused.
    address : str, optional
        Under which devices on the network reach it, when it is shared.
    authority : Path, optional
        Certificate that they trust, handed out to them.
    page : Path
        Folder of the page's files.
    limits : Limits
        How much is taken at once.
    """

    groves: tuple[Path, ...] = ()
    new_grove: Path | None = None
    database: str | None = None
    shared: bool = False
    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "::1")
    address: str | None = None
    authority: Path | None = None
    page: Path = PAGE
    limits: Limits = field(default_factory=Limits)
