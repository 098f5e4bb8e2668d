"""Whatever is done to trees and blocks is taken back to the last place; a killed program leaves all of it or nothing.

No published example: these are promises of the house (product: "undo", "history from the first migration on").
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.steps.ground import row_lines
from api.steps.grove import undo_last
from api.steps.plants import replant, retire
from api.steps.redraw import redraw, renumber
from api.steps.regroup import merge, split
from api.steps.resurvey import resurvey
from api.store import GroveFile
from gridmap.errors import GridmapError
from gridmap.ground import generate_rows

WEST, SOUTH = 300_000.0, 5_900_000.0
FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return shapely.box(WEST + west, SOUTH + south, WEST + east, SOUTH + north)


def write(path: Path, shapes: dict[str, shapely.Polygon]) -> Path:
    frame = gpd.GeoDataFrame({"name": list(shapes)}, geometry=list(shapes.values()), crs=7855)
    path.write_text(frame.to_crs(4326).to_json())
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """Return a grove of two neighbouring blocks, 20 trees each, and a count in one of them."""
    path = tmp_path_factory.mktemp("acts") / "grove.gpkg"
    with GroveFile.create(
        path, name="Acts", crs_epsg=7855, time_zone="UTC", season_start="07-01", currency="AUD"
    ) as grove:
        shapes = {"A": box(0, 0, 26, 27), "B": box(26, 0, 52, 27)}
        facts = {name: [value] * 2 for name, value in FACTS.items()}
        grove.add_blocks(gpd.GeoDataFrame({"block": list(shapes), **facts}, geometry=list(shapes.values()), crs=7855))
        rows = [generate_rows(shape, crs=7855, **FACTS).assign(block=name) for name, shape in shapes.items()]
        trees = gpd.GeoDataFrame(pd.concat(rows, ignore_index=True), geometry="geometry", crs=7855)
        grove.add_places_and_plants(trees)
        grove.add_rows(row_lines(trees))
        walk = grove.add_walk("2025-02-03")
        tree = grove.trees()["tree"][0]
        grove.add_counts(
            pd.DataFrame({"count": None, "walk": walk, "tree": [tree], "taps": 3, "nymphs": 2, "adults": 0})
            .assign(count=["0b1f6f3e-98a7-4a55-9d44-1f1f4a3f7a10"], reason="planned")
        )  # fmt: skip
    return path


def read(path: Path) -> dict[str, pd.DataFrame]:
    with GroveFile.open(path, read_only=True) as grove:
        plants = grove.trees(include_gone=True)
        frames = {
            "blocks": grove.blocks().sort_values("uuid"),
            "places": grove.places().sort_values("place"),
            "plants": plants.sort_values("tree"),
            "rows": grove.rows().sort_values("uuid"),
            "counts": grove.counts().sort_values("count"),
        }
    return {name: pd.DataFrame(frame).reset_index(drop=True) for name, frame in frames.items()}


def same(one: dict[str, pd.DataFrame], other: dict[str, pd.DataFrame]) -> None:
    for name, frame in one.items():
        pd.testing.assert_frame_equal(frame, other[name])


def sound(path: Path) -> None:
    """Hold what must be so after any act: labels are one place's, one living plant in a place, no plant lost."""
    found = read(path)
    assert not found["places"].duplicated(["block", "row", "position"]).any()
    assert (found["places"][["row", "position"]] > 0).all(axis=None)
    assert not found["plants"][found["plants"]["status"] == "alive"].duplicated("place").any()
    assert set(found["counts"]["tree"]) <= set(found["plants"]["tree"])


def surveyed(path: Path, folder: Path, number: int) -> Path:
    """Survey the living trees again: 1 m error, one lost, the whole 1.5 m off."""
    with GroveFile.open(path, read_only=True) as grove:
        trees = grove.trees()
    rng = np.random.default_rng(number)
    xy = shapely.get_coordinates(trees.geometry.to_numpy())[number % 3 :] + rng.normal(0, 0.7, 2)
    file = folder / "survey.csv"
    pd.DataFrame(xy + rng.normal(0, 0.3, xy.shape), columns=["easting", "northing"]).to_csv(file, index=False)
    return file


def label_of(path: Path, number: int) -> str:
    with GroveFile.open(path, read_only=True) as grove:
        place = grove.places().iloc[number % len(grove.places())]
    return f"{place['block']}/{place['row']}/{place['position']}"


def acts(path: Path, folder: Path, number: int) -> dict[str, Callable[[], object]]:
    """Return all that can be done, each by the name of its command."""
    names = read(path)["blocks"]["block"].tolist()
    name, side = names[number % len(names)], [(-11, 0), (0, -7), (4, 0), (0, 5)][number % 4]
    shape = read(path)["blocks"].set_index("block")["geometry"][name]
    w, s, e, n = shape.bounds
    moved = shapely.box(w + side[0], s + side[1], e, n)
    middle = round((w + e) / 2) + 0.5
    parts = {f"P{number}": shapely.box(w, s, middle, n), f"Q{number}": shapely.box(middle, s, e, n)}
    survey = {"crs": "EPSG:7855", "accept": True, "on": "2025-06-01"}
    return {
        "replant": lambda: replant(path, trees=[label_of(path, number)], on="2025-05-01"),
        "retire": lambda: retire(path, trees=[label_of(path, 2 * number)], on="2025-05-01"),
        "redraw": lambda: redraw(path, name, write(folder / "one.geojson", {name: moved})),
        "split": lambda: split(path, name, write(folder / "parts.geojson", parts)),
        "merge": lambda: merge(path, names[0], names[-1], name="M"),
        "renumber": lambda: renumber(path, name, uphill_bearing_deg=90.0 * (number % 4)),
        "resurvey": lambda: resurvey(path, surveyed(path, folder, number), **survey),
        "unseen": lambda: resurvey(
            path, surveyed(path, folder, number), retire_unseen=True, plant_gaps=True, take_off_shift=True, **survey
        ),
    }


NAMES = ["replant", "retire", "redraw", "split", "merge", "renumber", "resurvey", "unseen", "undo"]


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.sampled_from(NAMES), st.integers(0, 40)), min_size=1, max_size=5))
def test_any_acts_are_taken_back_one_by_one(made, tmp_path, steps):
    path = tmp_path / "grove.gpkg"
    shutil.copy(made, path)
    before = [read(path)]
    for name, number in steps:
        if name == "undo":
            if len(before) > 1:
                undo_last(path)
                before.pop()
            continue
        held = number_of_acts(path)
        try:
            acts(path, tmp_path, number)[name]()
        except GridmapError:
            assert number_of_acts(path) == held
            same(read(path), before[-1])
            continue
        sound(path)
        if number_of_acts(path) > held:
            assert number_of_acts(path) == held + 1
            before.append(read(path))
    while len(before) > 1:
        same(read(path), before.pop())
        undo_last(path)
    same(read(path), before[0])


def number_of_acts(path: Path) -> int:
    with GroveFile.open(path, read_only=True) as grove:
        return len(grove.acts(None))


KILLED = """
import os, random, signal, sys, time
from pathlib import Path
from api.steps.redraw import redraw
path, small, large, kills = Path(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
chance = random.Random(20261125)
for _ in range(kills):
    child = os.fork()
    if child == 0:
        while True:
            redraw(path, "A", small)
            redraw(path, "A", large)
    time.sleep(chance.uniform(0.05, 0.6))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    # The outline and the trees in it are of one state: 4 rows of 5 in the large one, 4 rows of 3 in the small one
    from api.store import GroveFile
    with GroveFile.open(path) as grove:
        width = grove.blocks().set_index("block").geometry["A"].bounds
        trees = grove.trees()
        living = (trees["block"] == "A").sum()
        assert (round(width[2] - width[0]), living) in ((26, 20), (16, 12)), (width, living)
        assert len(grove.places()) == 40
        acts = len(grove.acts(None))
print(acts)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 and fork are POSIX")
def test_kill_9_leaves_all_of_a_redrawn_block_or_nothing(made, tmp_path):
    path = tmp_path / "grove.gpkg"
    shutil.copy(made, path)
    small = write(tmp_path / "small.geojson", {"A": box(0, 0, 16, 27)})
    large = write(tmp_path / "large.geojson", {"A": box(0, 0, 26, 27)})
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(path), str(small), str(large), "10"],
        check=False, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > number_of_acts(made)
