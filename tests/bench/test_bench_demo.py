"""From nothing to every output of the demo: wanted under 10 s and 500 MB on two cores. Printed, nothing gated.

The peer of the same run is the start of the same libraries alone, which no program built on them can undercut.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

IMPORTS = "import folium, geopandas, pyogrio, scipy.spatial, sqlalchemy, typst"


def measured(words: list[str]) -> tuple[float, float]:
    """Return seconds and the peak memory [MB] of a program of its own."""
    start = time.perf_counter()
    with subprocess.Popen(words, stdout=subprocess.DEVNULL) as child:
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0
    factor = 1024 if sys.platform != "darwin" else 1
    return time.perf_counter() - start, used.ru_maxrss * factor / 1e6


def test_demo_from_nothing(tmp_path: Path):
    bare_s, bare_mb = measured([sys.executable, "-c", IMPORTS])
    demo_s, demo_mb = measured([sys.executable, "-m", "api.cli", "demo", "--out", str(tmp_path / "out")])
    print(f"\ndemo: {demo_s:.1f} s, {demo_mb:.0f} MB; its libraries alone: {bare_s:.1f} s, {bare_mb:.0f} MB; "
          f"ratio {demo_s / bare_s:.1f} in time, {demo_mb / bare_mb:.1f} in memory")
