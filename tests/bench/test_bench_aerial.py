"""Alleys measured in a large picture: against merely reading the windows, and against rasterstats, in the same run."""

from __future__ import annotations

import subprocess
import sys
import textwrap
import time
import warnings

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from rasterio.windows import Window, from_bounds

from gridmap.sward import measure_picture

SIDE, CELL, ALLEYS = 20_000, 0.02, 60
WEST, NORTH = 500_000.0, 6_470_000.0


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    """Write 400 million pixels of three bands, in tiles, not packed."""
    path = tmp_path_factory.mktemp("aerial") / "large.tif"
    chance = np.random.default_rng(0)
    tile = chance.integers(40, 200, (3, 2000, 2000), dtype=np.uint8)
    with rasterio.open(path, "w", driver="GTiff", width=SIDE, height=SIDE, count=3, dtype="uint8", crs="EPSG:32729",
                       transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH), tiled=True, blockxsize=512, blockysize=512,
                       interleave="pixel") as target:
        for row in range(0, SIDE, 2000):
            for column in range(0, SIDE, 2000):
                target.write(np.roll(tile, row + column, 2), window=Window(column, row, 2000, 2000))
    return path


def alleys() -> gpd.GeoDataFrame:
    """Return sixty alleys of 3.5 m, 6.5 m apart, slightly turned."""
    strips = [
        shapely.Polygon([(WEST + 5, top), (WEST + 395, top - 4), (WEST + 395, top - 7.5), (WEST + 5, top - 3.5)])
        for top in NORTH - 5 - 6.4 * np.arange(ALLEYS)
    ]
    table = {"block": "A", "row": range(ALLEYS), "upslope_m": np.arange(ALLEYS) * 6.4}
    return gpd.GeoDataFrame(table, geometry=strips, crs=32729)


def reading(path, floor) -> float:
    """Return the seconds that merely reading the windows takes."""
    start = time.perf_counter()
    with rasterio.Env(GDAL_CACHEMAX=64), rasterio.open(path) as source:
        for shape in floor.geometry:
            window = from_bounds(*shape.bounds, source.transform).round_offsets().round_lengths()
            source.read([1, 2, 3], window=window)
    return time.perf_counter() - start


def test_sixty_alleys_of_400_million_pixels(picture):
    floor = alleys()
    bare = min(reading(picture, floor) for _ in range(2))
    start = time.perf_counter()
    found = measure_picture(picture, floor)
    ours = time.perf_counter() - start
    rasterstats = pytest.importorskip("rasterstats")
    start = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for band in (1, 2, 3):
            rasterstats.zonal_stats(floor.geometry.tolist(), str(picture), band=band, stats=["mean"], nodata=-1)
    theirs = time.perf_counter() - start
    cells = found.rows["cells"].sum()
    print(f"{SIDE * SIDE / 1e6:.0f} million pixels, {ALLEYS} alleys, {cells / 1e6:.0f} million cells counted: "
          f"bare reading {bare:.1f} s, ours {ours:.1f} s ({ours / bare:.1f} times), rasterstats {theirs:.1f} s "
          f"({theirs / ours:.1f} times ours)")


def test_memory(picture):
    """Peak of a process of its own, imports included."""
    code = f"""
        import importlib.util
        spec = importlib.util.spec_from_file_location("bench", {__file__!r})
        bench = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(bench)
        def held():
            return int(open("/proc/self/status").read().split("VmHWM:")[1].split()[0]) / 1024
        before = held()
        bench.measure_picture({str(picture)!r}, bench.alleys())
        print(before, held())
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=True)
    before, peak = map(float, done.stdout.split())
    print(f"peak of the process {peak:.0f} MB, of which {before:.0f} MB were there after the imports")
