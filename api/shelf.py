"""The groves that a service answers for, by their UUID."""

from __future__ import annotations

import shutil
import tempfile
import threading
from pathlib import Path

from api.refusals import Conflict, NotThere
from api.settings import Settings
from api.steps.demo import build_demo
from api.steps.opening import open_grove
from api.store import GroveInfo


class Shelf:
    """Knows where each grove is kept; what is asked for by another name than its UUID does not exist."""

    def __init__(self, settings: Settings) -> None:
        self._new = settings.new_grove
        self._lock = threading.Lock()
        self._where: dict[str, Path] = {}
        self._folders: list[str] = []
        for where in settings.groves:
            self.put(where)

    def put(self, where: Path) -> str:
        """Answer for a grove from now on; return its UUID."""
        with open_grove(where) as grove:
            uuid = grove.grove.uuid
        self._where[uuid] = where
        return uuid

    def where(self, grove: str) -> Path:
        """Return where the grove with this UUID is kept."""
        try:
            return self._where[grove]
        except KeyError:
            raise NotThere(f"there is no grove {grove}") from None

    def groves(self) -> list[GroveInfo]:
        """Return what every grove says of itself."""
        told = []
        for where in list(self._where.values()):
            with open_grove(where, read_only=True) as grove:
                told.append(grove.grove)
        return told

    @property
    def may_create(self) -> bool:
        """Whether a first grove can be made: a place for it was named, and none is there yet."""
        return self._new is not None and not self._new.exists()

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
