"""A small grove of one block with trees, made anew for each test; in a file, or in a database too where it says so.

A module with ``BOTH_STORES = True`` has its tests run on both, but for those that use ``file_only`` or the checker of
GeoPackages.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from api.store import Grove, GroveFile, create_grove, open_grove

WEST, SOUTH = 500_000.0, 5_200_000.0
ROWS, POSITIONS = 4, 6


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run the tests of a module on both stores where it says so."""
    if "kept_in" in metafunc.fixturenames:
        both = getattr(metafunc.module, "BOTH_STORES", False)
        only = {"file_only", "geopackage_faults"} & set(metafunc.fixturenames)
        metafunc.parametrize("kept_in", ["file", "database"] if both and not only else ["file"], indirect=True)


@pytest.fixture
def file_only() -> None:
    """Keep a test to the grove file."""


@pytest.fixture
def kept_in(request: pytest.FixtureRequest) -> str | None:
    """Return the address of the database that the test's groves are kept in, None for files."""
    return request.getfixturevalue("database") if request.param == "database" else None


@pytest.fixture
def new_grove(tmp_path: Path, kept_in: str | None) -> Callable[..., Grove]:
    """Return what makes an empty grove."""

    def make(file: str = "grove.gpkg", **changed: object) -> Grove:
        fields = {
            "name": "Test grove",
            "crs_epsg": 7855,
            "time_zone": "Australia/Hobart",
            "season_start": "07-01",
            "currency": "AUD",
        }
        return create_grove(kept_in or tmp_path / file, **{**fields, **changed})

    return make


@pytest.fixture
def open_again() -> Callable[..., Grove]:
    """Return what opens the same grove once more."""

    def opened(grove: Grove, **options: object) -> Grove:
        return open_grove(grove.path if isinstance(grove, GroveFile) else grove.address, **options)

    return opened


@pytest.fixture
def other_program(database_connection) -> Callable[[Grove], AbstractContextManager[Any]]:
    """Return what opens a grove as a program does that knows nothing of gridmap: a plain connection."""

    @contextmanager
    def opened(grove: Grove) -> Iterator[Any]:
        if isinstance(grove, GroveFile):
            connection = sqlite3.connect(grove.path)
        else:
            connection = database_connection(grove.address.url)
            connection.execute(f'SET search_path = "{grove._backend.kept.schema_name}", public')
            connection.commit()
        yield connection
        connection.commit()
        connection.close()

    return opened


@pytest.fixture
def refusals() -> tuple[type[Exception], ...]:
    """Return the errors with which the two databases refuse what breaks a rule."""
    import psycopg

    return (sqlite3.IntegrityError, psycopg.IntegrityError)


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
def grove(new_grove, block_frame, tree_frame) -> Grove:
    """Return a grove of one block, its trees and one walk."""
    store = new_grove()
    store.add_blocks(block_frame(canopy_height_m=3.5))
    store.add_places_and_plants(tree_frame)
    store.add_walk("2026-03-01", name="first", walk="11111111-1111-4111-8111-111111111111")
    return store


@pytest.fixture
def count_frame() -> Callable[..., pd.DataFrame]:
    """Return what makes a frame of counts on the first trees of a grove."""

    def make(store: Grove, counts: list[str], **changed: object) -> pd.DataFrame:
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
