"""A small grove of one block with trees, made anew for each test."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from api.store import GroveFile

WEST, SOUTH = 500_000.0, 5_200_000.0
ROWS, POSITIONS = 4, 6


@pytest.fixture
def new_grove(tmp_path: Path) -> Callable[..., GroveFile]:
    """Return what makes an empty grove."""

    def make(file: str = "grove.gpkg", **changed: object) -> GroveFile:
        fields = {
            "name": "Test grove",
            "crs_epsg": 7855,
            "time_zone": "Australia/Hobart",
            "season_start": "07-01",
            "currency": "AUD",
        }
        return GroveFile.create(tmp_path / file, **{**fields, **changed})

    return make


@pytest.fixture
def block_frame() -> Callable[..., gpd.GeoDataFrame]:
    """Return what makes a frame with one block of 60 m by 40 m."""

    def make(name: str = "East", crs: object = 7855, **columns: object) -> gpd.GeoDataFrame:
        outline = shapely.box(WEST, SOUTH, WEST + 60, SOUTH + 40)
        return gpd.GeoDataFrame(
            {"block": [name], **{key: [value] for key, value in columns.items()}}, geometry=[outline], crs=crs
        )

    return make


@pytest.fixture
def tree_frame() -> gpd.GeoDataFrame:
    """Return a frame with 4 rows of 6 trees."""
    labels = [(row, position) for row in range(1, ROWS + 1) for position in range(1, POSITIONS + 1)]
    return gpd.GeoDataFrame(
        {"block": "East", "row": [row for row, _ in labels], "position": [position for _, position in labels]},
        geometry=[shapely.Point(WEST + 8 * position, SOUTH + 8 * row) for row, position in labels],
        crs=7855,
    )


@pytest.fixture
def grove(new_grove, block_frame, tree_frame) -> GroveFile:
    """Return a grove of one block, its trees and one walk."""
    store = new_grove()
    store.add_blocks(block_frame(canopy_height_m=3.5))
    store.add_places_and_plants(tree_frame)
    store.add_walk("2026-03-01", name="first", walk="11111111-1111-4111-8111-111111111111")
    return store


@pytest.fixture
def count_frame() -> Callable[..., pd.DataFrame]:
    """Return what makes a frame of counts on the first trees of a grove."""

    def make(store: GroveFile, counts: list[str], **changed: object) -> pd.DataFrame:
        return pd.DataFrame(
            {
                "count": counts,
                "walk": store.walks()["walk"].iloc[0],
                "tree": store.trees()["tree"].iloc[: len(counts)].to_numpy(),
                "time": pd.Timestamp("2026-03-01T09:30:00.250+11:00"),
                "taps": 3,
                "nymphs": range(len(counts)),
                "adults": 0,
                "wing_buds": None,
                "reason": "planned",
                **changed,
            }
        )

    return make


@pytest.fixture
def run_python() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return what runs a piece of Python in a process of its own, warnings being errors there too."""

    def run(program: str, *arguments: object, status: int = 0) -> subprocess.CompletedProcess[str]:
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", textwrap.dedent(program), *map(str, arguments)],
            check=False,
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert done.returncode == status, done.stderr
        return done

    return run


@pytest.fixture
def start_python() -> Callable[..., subprocess.Popen[str]]:
    """Return what starts a piece of Python in a process of its own and does not wait."""
    started: list[subprocess.Popen[str]] = []

    def start(program: str, *arguments: object) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-W", "error", "-c", textwrap.dedent(program), *map(str, arguments)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.communicate()
