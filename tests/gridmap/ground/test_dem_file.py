"""Heights from a GeoTIFF: against a general raster library, in other CRSs and units, and every refusal."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.vrt import WarpedVRT
from rasterio.windows import from_bounds

from gridmap.errors import CRSRefused, FileRefused, InputMissing, InputRefused
from gridmap.ground.dem import Dem
from gridmap.ground.dem_file import read_dem, write_dem

GROVE = (300_000.0, 5_900_000.0, 300_200.0, 5_900_150.0)


def hill(x, y):
    """Give the height of a smooth hill in EPSG:7855 [m]."""
    return 200 + 0.12 * (x - 300_000) + 15 * np.sin((x - 300_000) / 90) * np.cos((y - 5_900_000) / 110)


def make(path: Path, heights=None, *, cell=5.0, west=299_800.0, north=5_900_400.0, unit="metre", **profile) -> Path:
    """Write a GeoTIFF of the hill, or of given heights."""
    if heights is None:
        x, y = np.meshgrid(west + (np.arange(120) + 0.5) * cell, north - (np.arange(120) + 0.5) * cell)
        heights = hill(x, y)
    bands = np.atleast_3d(np.asarray(heights).T).T
    settings = {
        "driver": "GTiff", "count": len(bands), "height": bands.shape[1], "width": bands.shape[2], "dtype": "float64",
        "crs": "EPSG:7855", "transform": Affine(cell, 0, west, 0, -cell, north), **profile,
    }  # fmt: skip
    with rasterio.open(path, "w", **settings) as target:
        target.write(bands.astype(settings["dtype"]))
        if unit:
            target.units = (unit,) * len(bands)
    return path


def test_real_dem_window_equals_the_file(open_data: Path):
    # Data: Vinschgau DEM, 250 m, EPSG:32632 (R package terra); reference: rasterio's own window.
    file = open_data / "dem_vinschgau" / "elev_vinschgau.tif"
    with rasterio.open(file) as source:
        west, south, _, _ = source.bounds
        box = (west + 10_000, south + 8_000, west + 12_000, south + 9_000)
        expected = source.read(1, window=from_bounds(*box, source.transform), masked=True).astype(float).filled(np.nan)
    dem = read_dem(file, 32632, box, vertical_unit="metre", margin_m=0)
    assert dem.cell_m == (250, 250)
    # three cells of margin on each side
    np.testing.assert_array_equal(dem.elevation_m[3:-3, 3:-3], expected)


def test_degrees_against_a_general_warper(tmp_path: Path):
    # Reference: GDAL's warper through rasterio.vrt.WarpedVRT on our grid; truth: the hill itself. Cubic, since GDAL
    # widens its bilinear kernel where a cell of the file is smaller than ours, which costs it 0.1 m here.
    to_lonlat = Transformer.from_crs(7855, 7844, always_xy=True)
    to_grove = Transformer.from_crs(7844, 7855, always_xy=True)
    west, north = to_lonlat.transform(299_700, 5_900_500)
    cell = 5e-5
    lon, lat = np.meshgrid(west + (np.arange(200) + 0.5) * cell, north - (np.arange(200) + 0.5) * cell)
    file = make(
        tmp_path / "lonlat.tif", hill(*to_grove.transform(lon, lat)), crs="EPSG:7844",
        transform=Affine(cell, 0, west, 0, -cell, north),
    )  # fmt: skip
    dem = read_dem(file, 7855, GROVE)
    # 5e-5 degrees are 5.55 m by 4.44 m at 37 degrees south; squares of the same area
    assert dem.cell_m[0] == dem.cell_m[1] == pytest.approx(4.97, abs=0.02)
    x, y = np.meshgrid(*dem.centres)
    np.testing.assert_allclose(dem.elevation_m, hill(x, y), atol=0.02)
    rows, columns = dem.elevation_m.shape
    with (
        rasterio.open(file) as source,
        WarpedVRT(source, crs="EPSG:7855", transform=Affine(*dem.transform), width=columns, height=rows,
                  resampling=Resampling.cubic) as warped,
    ):  # fmt: skip
        np.testing.assert_allclose(dem.elevation_m, warped.read(1), atol=0.02)


def test_old_datum_lands_on_the_new_one(tmp_path: Path):
    # GDA94 to GDA2020 moves the ground about 1.5 m north and 0.5 m east here (ICSM 2020, GDA2020 Technical Manual);
    # read without the shift, this ramp of 1 m a metre toward north would be 1.5 m off.
    old = Transformer.from_crs(28355, 7855, always_xy=True)
    x, y = np.meshgrid(299_800 + (np.arange(120) + 0.5) * 5, 5_900_400 - (np.arange(120) + 0.5) * 5)
    file = make(tmp_path / "old.tif", old.transform(x, y)[1] - 5_899_000, crs="EPSG:28355")
    dem = read_dem(file, 7855, GROVE)
    assert dem.at([[300_100, 5_900_075]])[0] == pytest.approx(1_075, abs=0.02)


def test_written_and_read_back(tmp_path: Path):
    heights = np.random.default_rng(4).uniform(100, 300, (60, 80))
    heights[5, 7] = np.nan
    dem = Dem(heights, 299_900, 5_900_300, (5, 6), 7855)
    write_dem(tmp_path / "dem.tif", dem)
    again = read_dem(tmp_path / "dem.tif", 7855, (299_900, 5_899_940, 300_300, 5_900_300), margin_m=0)
    assert again.cell_m == dem.cell_m
    np.testing.assert_allclose(again.elevation_m[3:-3, 3:-3], heights, atol=2e-5)  # 32-bit numbers
    assert again.bounds == (299_885, 5_899_922, 300_315, 5_900_318)
    assert again.notes == ("dem.tif has heights for 94% of the grove's rectangle",)


def test_only_the_part_around_the_grove_is_read(tmp_path: Path):
    # 10,000 million cells, which no machine here holds; empty tiles take no room in the file.
    file = tmp_path / "huge.tif"
    settings = {"driver": "GTiff", "count": 1, "height": 100_000, "width": 100_000, "dtype": "float32", "tiled": True,
                "sparse_ok": True, "crs": "EPSG:7855", "transform": Affine(1, 0, 250_000, 0, -1, 5_950_000),
                "bigtiff": "yes", "blockxsize": 512, "blockysize": 512}  # fmt: skip
    with rasterio.open(file, "w", **settings) as target:
        target.units = ("metre",)
        target.write(np.full((1, 400, 400), 55, "float32"), window=((49_700, 50_100), (49_900, 50_300)))
    start = time.perf_counter()
    dem = read_dem(file, 7855, GROVE)
    assert time.perf_counter() - start < 5
    assert dem.elevation_m.shape == (350, 400)
    assert dem.at([[300_100, 5_900_100]]).tolist() == [55.0]


@pytest.mark.parametrize(
    ("unit", "metres"),
    # NIST Special Publication 811, appendix B.6: the foot is 0.3048 m, the United States survey foot 1200/3937 m.
    [("metre", 1.0), ("m", 1.0), ("foot", 0.3048), ("ft", 0.3048), ("US survey foot", 0.3048006096)],
)
def test_unit_from_the_file(tmp_path: Path, unit: str, metres: float):
    file = make(tmp_path / "dem.tif", np.full((120, 120), 1000.0), unit=unit)
    assert read_dem(file, 7855, GROVE).at([[300_100, 5_900_100]])[0] == pytest.approx(1000 * metres, rel=1e-9)


def test_unit_told_goes_first_and_is_noted(tmp_path: Path):
    file = make(tmp_path / "dem.tif", np.full((120, 120), 1000.0), unit="metre")
    dem = read_dem(file, 7855, GROVE, vertical_unit="foot")
    assert dem.at([[300_100, 5_900_100]])[0] == pytest.approx(304.8)
    assert dem.notes == ("heights were taken in foot, as told; dem.tif says metre",)


def test_unit_of_a_compound_crs(tmp_path: Path):
    # EPSG:7855 with EPSG:5711 (Australian height datum) says the unit by its vertical axis.
    file = make(tmp_path / "dem.tif", unit=None, crs="EPSG:7855+5711")
    height = read_dem(file, 7855, GROVE).at([[300_100, 5_900_100]])[0]
    assert height == pytest.approx(hill(300_100, 5_900_100), abs=0.05)


def test_scale_offset_and_nodata(tmp_path: Path):
    stored = np.full((120, 120), 2500, dtype="int16")
    stored[60, 60] = -32768
    file = make(tmp_path / "dem.tif", stored, dtype="int16", nodata=-32768)
    with rasterio.open(file, "r+") as target:
        target.scales, target.offsets = (0.1,), (50.0,)
    dem = read_dem(file, 7855, GROVE)
    assert np.nanmax(dem.elevation_m) == np.nanmin(dem.elevation_m) == 300.0
    assert np.isnan(dem.elevation_m).sum() == 1


def test_undeclared_gaps_are_found_and_told(tmp_path: Path):
    heights = np.full((120, 120), 80.0)
    heights[70, 50:53] = -9999
    dem = read_dem(make(tmp_path / "dem.tif", heights), 7855, GROVE)
    assert np.nanmin(dem.elevation_m) == 80
    assert dem.notes[0] == "3 impossible heights in dem.tif were taken as gaps"


def test_a_part_only_is_told(tmp_path: Path):
    dem = read_dem(make(tmp_path / "dem.tif", west=300_100.0), 7855, GROVE)
    assert dem.notes == ("dem.tif has heights for 50% of the grove's rectangle",)


def test_south_up_file_is_turned(tmp_path: Path):
    x, y = np.meshgrid(299_800 + (np.arange(120) + 0.5) * 5, 5_899_800 + (np.arange(120) + 0.5) * 5)
    file = make(tmp_path / "dem.tif", hill(x, y), transform=Affine(5, 0, 299_800, 0, 5, 5_899_800))
    dem = read_dem(file, 7855, GROVE)
    x, y = np.meshgrid(*dem.centres)
    np.testing.assert_allclose(dem.elevation_m, hill(x, y), atol=0.02)


def check(path: Path, error: type[Exception], match: str, **options) -> None:
    with pytest.raises(error, match=match):
        read_dem(path, 7855, GROVE, **options)


def test_refused_before_a_height_is_read(tmp_path: Path):
    check(tmp_path / "none.tif", FileRefused, "is not there")
    (tmp_path / "empty.tif").touch()
    check(tmp_path / "empty.tif", FileRefused, "is empty")
    (tmp_path / "text.tif").write_text("x,y,z\n1,2,3\n")
    check(tmp_path / "text.tif", FileRefused, "can't be read: a DEM is one GeoTIFF")
    check(make(tmp_path / "rgb.tif", np.zeros((3, 120, 120)), unit=None), FileRefused, "has 3 bands")
    check(make(tmp_path / "complex.tif", dtype="complex64"), FileRefused, "complex64 values")
    check(make(tmp_path / "nocrs.tif", crs=None), CRSRefused, "names no CRS")
    check(make(tmp_path / "nounit.tif", unit=None), InputMissing, "doesn't say the unit of its heights")
    check(make(tmp_path / "odd.tif", unit="cubit"), InputMissing, "says 'cubit'")
    check(make(tmp_path / "dem.tif"), InputRefused, "Vertical unit is 'yard'", vertical_unit="yard")


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_without_position(tmp_path: Path):
    check(make(tmp_path / "dem.tif", transform=Affine.identity()), FileRefused, "has no position")


def test_refused_for_its_place_or_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    check(make(tmp_path / "far.tif", west=312_000.0), CRSRefused, r"far.tif ends about 11\.7 km from the grove")
    check(make(tmp_path / "gaps.tif", np.full((120, 120), np.nan)), FileRefused, "no height in the grove")
    file = make(tmp_path / "dem.tif")
    monkeypatch.setattr("gridmap.ground.dem_file.MAX_BLOCK_CELLS", 100)
    check(file, FileRefused, "packed in blocks of")
    monkeypatch.undo()
    monkeypatch.setattr("gridmap.ground.dem_file.MAX_CELLS", 1000)
    check(file, FileRefused, "cells around the grove: at most 1,000 are read")


def test_cut_off_file(tmp_path: Path):
    file = make(tmp_path / "dem.tif", np.random.default_rng(1).uniform(0, 99, (120, 120)), compress="deflate")
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    check(file, FileRefused, "breaks off|can't be read")


@pytest.mark.parametrize("bounds", [(0, 0, 1), (5, 0, 1, 1), (0, math.nan, 1, 1)])
def test_bounds_must_be_bounds(tmp_path: Path, bounds):
    with pytest.raises(InputRefused, match="west, south, east, north"):
        read_dem(tmp_path / "dem.tif", 7855, bounds)
