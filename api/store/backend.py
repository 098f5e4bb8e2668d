"""What a store must be able to do, whether it is a file of its own or a schema in a shared database."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection


class Backend(Protocol):
    """Where a grove is kept, and how it is read and written there."""

    @property
    def name(self) -> str:
        """What messages call the place."""

    def told(self) -> AbstractContextManager[None]:
        """Let what the database refuses come out as one clear line."""

    def reading(self) -> AbstractContextManager[Connection]:
        """Read one state of the grove."""

    def writing(self) -> AbstractContextManager[Connection]:
        """Write in one transaction, alone: it is kept when the block ends, and never was when it fails."""

    def settle(self) -> None:
        """Put things in order after a write, and when the grove is closed."""

    def backup(self, target: Path) -> Path:
        """Copy the grove to a grove file, whole or not at all."""
