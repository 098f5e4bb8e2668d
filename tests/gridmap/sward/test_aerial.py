"""Pictures from the air: known cover comes back, real imagery, other CRS, and pictures that can't be used."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from gridmap.errors import CRSRefused, FileRefused, InputRefused
from gridmap.sward import measure_classes, measure_picture

WEST, NORTH, CELL = 500_000.0, 6_470_000.0, 0.1
GREEN, BARE = (70, 130, 50), (150, 120, 95)


def floor(rows: int = 4, crs: int = 32729) -> gpd.GeoDataFrame:
    strips = [shapely.box(WEST + 2, NORTH - 10 * row - 8, WEST + 58, NORTH - 10 * row - 2) for row in range(rows)]
    table = {"block": "A", "row": range(1, rows + 1), "upslope_m": [10.0 * row for row in range(rows)]}
    return gpd.GeoDataFrame(table, geometry=strips, crs=crs)


def picture(path, share=(0.9, 0.6, 0.3, 0.1), *, size=600, seed=0, **how):
    """Write a picture whose rows of 10 m are green by the given share, cell by cell."""
    chance = np.random.default_rng(seed)
    wanted = np.repeat(np.resize(share, size // 100), 100)[:, None]
    green = chance.random((size, size)) < wanted
    values = np.where(green, np.array(GREEN)[:, None, None], np.array(BARE)[:, None, None])
    values = (values + chance.normal(0, 4, values.shape)).clip(1, 255).astype(how.pop("dtype", "uint8"))
    how = {"crs": "EPSG:32729", "transform": Affine(CELL, 0, WEST, 0, -CELL, NORTH), **how}
    how = {"count": 3, **how}
    with rasterio.open(path, "w", driver="GTiff", width=size, height=size, dtype=values.dtype, **how) as target:
        for band in range(1, target.count + 1):
            target.write(values[(band - 1) % 3], band)
    return path, green


@pytest.mark.parametrize("index", ["excess_green", "excess_green_minus_red"])
def test_known_cover_comes_back(tmp_path, index):
    path, green = picture(tmp_path / "a.tif")
    found = measure_picture(path, floor(), index=index)
    truth = [green[100 * row + 20:100 * row + 80, 20:580].mean() for row in range(4)]
    assert found.rows["grass_cover"].tolist() == pytest.approx(truth, abs=0.005)
    assert found.rows["cells"].tolist() == [60 * 560] * 4
    assert found.by_otsu
    assert "Dormant native grass" in found.cautions[0]
    assert found.rows["ground_cover"].isna().all()


def test_a_fixed_threshold_is_kept(tmp_path):
    path, _ = picture(tmp_path / "a.tif")
    found = measure_picture(path, floor(), threshold=0.1)
    assert (found.threshold, found.by_otsu) == (0.1, False)
    assert measure_picture(path, floor(), threshold=2).rows["grass_cover"].max() == 0.0


def test_sixteen_bits_other_crs_and_more_bands_give_the_same(tmp_path):
    path, _ = picture(tmp_path / "a.tif", dtype="uint16", count=6, photometric="MINISBLACK")
    plain = measure_picture(path, floor()).rows["grass_cover"]
    there = floor().to_crs(32728)
    assert measure_picture(path, there).rows["grass_cover"].tolist() == pytest.approx(plain.tolist(), abs=0.01)
    swapped = measure_picture(path, floor(), bands={"red": 4, "green": 5, "blue": 6}).rows["grass_cover"]
    assert swapped.tolist() == plain.tolist()


def test_misplacement_widens_the_error_and_the_shift_moves_the_windows(tmp_path):
    path, green = picture(tmp_path / "a.tif")
    sure, unsure = (measure_picture(path, floor(), misplaced_m=m).rows["standard_error"] for m in (0.0, 1.0))
    assert (unsure > sure).all()
    moved = measure_picture(path, floor(), shift_m=(0.0, -10.0)).rows["grass_cover"]
    assert moved.iloc[0] == pytest.approx(green[120:180, 20:580].mean(), abs=0.005)


def test_rows_outside_the_picture_are_not_guessed(tmp_path):
    path, _ = picture(tmp_path / "a.tif")
    found = measure_picture(path, floor(rows=9)).rows
    assert found["grass_cover"].notna().tolist() == [True] * 6 + [False] * 3


def test_empty_cells_are_not_counted(tmp_path):
    path, _ = picture(tmp_path / "a.tif", nodata=0)
    with rasterio.open(path, "r+") as target:
        target.write(np.zeros((3, 100, 300), dtype="uint8"), window=rasterio.windows.Window(0, 0, 300, 100))
    found = measure_picture(path, floor()).rows
    assert found["seen"].iloc[0] == pytest.approx(0.5, abs=0.01)


def test_real_imagery(open_data):
    """NEON orthophoto, San Joaquin (CC0): a lawn, an oak in shade and a slab of rock, outlined by eye."""
    path = open_data / "neon_sjer_orthophoto" / "2018_SJER_3_252000_4107000_image_477.tif"
    with rasterio.open(path) as source:
        grid, crs = source.transform, source.crs
    cells = [shapely.box(40, 280, 240, 385), shapely.box(10, 10, 50, 60), shapely.box(270, 282, 310, 300)]
    shapes = [shapely.transform(box, lambda xy: xy * [grid.a, grid.e] + [grid.c, grid.f]) for box in cells]
    ground = gpd.GeoDataFrame({"block": "A", "row": [1, 2, 3], "upslope_m": 1.0}, geometry=shapes, crs=crs)
    lawn, oak = measure_picture(path, ground.head(2)).rows["grass_cover"]
    assert lawn > 0.95
    assert oak < 0.1
    # Grey rock has an excess green of about nothing
    lawn, _, rock = measure_picture(path, ground, threshold=0.015).rows["grass_cover"]
    assert lawn > 0.7
    assert rock < 0.1


def test_pictures_that_cannot_be_used_are_refused_in_words(tmp_path):
    turned = Affine.translation(WEST, NORTH) @ Affine.rotation(20) @ Affine.scale(CELL, -CELL)
    (tmp_path / "empty.tif").write_bytes(b"")
    (tmp_path / "text.tif").write_bytes(b"no picture at all")
    picture(tmp_path / "nocrs.tif", crs=None)
    picture(tmp_path / "turned.tif", transform=turned)
    picture(tmp_path / "one.tif", count=1)
    whole, _ = picture(tmp_path / "whole.tif")
    (tmp_path / "cut.tif").write_bytes(whole.read_bytes()[: whole.stat().st_size // 3])
    hollow = {"driver": "GTiff", "count": 3, "dtype": "uint8", "crs": "EPSG:32729", "sparse_ok": True, "tiled": True,
              "transform": Affine(CELL, 0, WEST, 0, -CELL, NORTH)}
    rasterio.open(tmp_path / "none.tif", "w", width=600, height=600, nodata=0, **hollow).close()
    rasterio.open(tmp_path / "huge.tif", "w", width=100_000, height=100_000, bigtiff="yes", **hollow).close()
    reasons = {
        "missing.tif": "is not there", "empty.tif": "is empty", "text.tif": "can't be read", "turned.tif": "north up",
        "one.tif": "has one band", "cut.tif": "breaks off|can't be read", "none.tif": "holds nothing",
        "huge.tif": "10,000,000,000 pixels",
    }
    for name, reason in reasons.items():
        with pytest.raises(FileRefused, match=reason):
            measure_picture(tmp_path / name, floor())
    with pytest.raises(CRSRefused, match="names no CRS"):
        measure_picture(tmp_path / "nocrs.tif", floor())
    away = floor().translate(xoff=50_000)
    with pytest.raises(FileRefused, match="holds nothing where the grove is"):
        measure_picture(whole, floor().set_geometry(away))
    with pytest.raises(InputRefused, match="which band is near infrared"):
        measure_picture(whole, floor(), index="ndvi")
    with pytest.raises(InputRefused, match="has no band 7"):
        measure_picture(whole, floor(), index="ndvi", bands={"near_infrared": 7})
    with pytest.raises(InputRefused, match="No cell of whole"):
        measure_classes(whole, floor(), {999: "grass"})
