"""The groves that a service answers for, by their UUID."""

from __future__ import annotations

import shutil
import tempfile
import threading
import time
from pathlib import Path
from typing import Final

from api.settings import Settings
from api.steps.demo import build_demo
from api.steps.hosting import Address, hosted, told_of
from api.steps.refusals import Conflict, NotThere

#: A grove that is not known is looked for in the database no more often than this [s].
_LOOK_AGAIN_S: Final = 1.0


class Shelf:
    """Knows where each grove is kept; what is asked for by another name than its UUID does not exist."""

    def __init__(self, settings: Settings) -> None:
        self._new = settings.new_grove
        self._database = settings.database
        self._looked = -_LOOK_AGAIN_S
        self._lock = threading.Lock()
        self._where: dict[str, Path | Address] = {}
        self._folders: list[str] = []
        self._demo = ""
        for where in settings.groves:
            self.put(where)
        self._look()

    def _look(self) -> None:
        """Look which groves the database holds now."""
        if self._database is not None and time.monotonic() - self._looked >= _LOOK_AGAIN_S:
            self._looked = time.monotonic()
            self._where.update(hosted(self._database))

    def put(self, where: Path) -> str:
        """Answer for a grove from now on; return its UUID."""
        uuid = told_of(where).uuid
        self._where[uuid] = where
        return uuid

    def where(self, grove: str) -> Path:
        """Return where the grove with this UUID is kept; the steps take the address of a database alike."""
        if grove not in self._where:
            self._look()
        try:
            return self._where[grove]  # type: ignore[return-value]
        except KeyError:
            raise NotThere(f"there is no grove {grove}") from None

    def groves(self) -> list[str]:
        """Return the UUID of every grove."""
        self._look()
        return list(self._where)

    @property
    def may_create(self) -> bool:
        """Whether a first grove can be made: a place for it was named, and none is there yet."""
        return self._database is None and self._new is not None and not self._new.exists()

    def place_for_new(self) -> Path:
        """Return where the first grove goes."""
        if self._new is None or self._new.exists():
            raise Conflict(
                "there is a grove already", "the service was started for it", "start another with its own file"
            )
        return self._new

    def make_demo(self) -> str:
        """Make the invented grove in a temporary folder, once; return its UUID."""
        with self._lock:
            if not self._folders:
                self._folders.append(tempfile.mkdtemp(prefix="gridmap-demo-"))
                path = Path(self._folders[0]) / "demo.gpkg"
                build_demo(path)
                self._demo = self.put(path)
            return self._demo

    def close(self) -> None:
        """Clear the temporary folders away."""
        for folder in self._folders:
            shutil.rmtree(folder, ignore_errors=True)
