"""How often the limits of the advance hold the truth, over 1,000 hillsides; figures printed."""

from __future__ import annotations

import importlib.util
import time
from pathlib import Path

import pytest

from gridmap.sward import FrontModel

_FOLDER = Path(__file__).parents[1] / "gridmap" / "sward"
_spec = importlib.util.spec_from_file_location("hillsides", _FOLDER / "hillsides.py")
hillsides = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hillsides)

HILLS = 1000
KINDS = {
    "as in the tests": {},
    "rows differ twice as much": {"of_row": 1.0},
    "fifteen rows": {"rows": 15},
    "four surveys": {"years": (0.0, 2.0, 5.0, 8.0)},
    "levels off at 10 and 85 %": {"low": 0.1, "high": 0.85},
    "no climb": {"advance": 0.0},
}


@pytest.mark.parametrize("kind", KINDS)
def test_coverage_of_the_advance(kind):
    start, inside, width = time.perf_counter(), 0, 0.0
    truth = KINDS[kind].get("advance", 8.0)
    for seed in range(HILLS):
        low, high = FrontModel().fit(**hillsides.hillside(10_000 + seed, **KINDS[kind])).advance_limits(0.9)
        inside += low <= truth <= high
        width += high - low
    seconds = time.perf_counter() - start
    print(f"{kind}: 90 % limits hold the advance in {100 * inside / HILLS:.1f} % of {HILLS} hillsides, "
          f"{width / HILLS:.1f} m a year wide, {1000 * seconds / HILLS:.0f} ms a hillside")
    assert 0.85 <= inside / HILLS <= 0.95
