"""Misalignment: a known shift to a fifth of a cell, a general library, real imagery."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from affine import Affine
from scipy import ndimage

from gridmap.errors import FileRefused, InputRefused
from gridmap.sward import phase_shift, picture_shift


def ground(seed: int, size: int = 256) -> np.ndarray:
    """Return rough ground of many sizes of patch, and what a camera makes of it."""
    chance = np.random.default_rng(seed)
    return sum(ndimage.gaussian_filter(chance.normal(size=(size, size)), sigma) * sigma for sigma in (1.5, 4, 12))


@pytest.mark.parametrize("shift", [(0.0, 0.0), (3.0, -7.0), (2.4, 5.65), (-12.3, 0.5)])
def test_a_known_shift_comes_back_to_a_fifth_of_a_cell(shift):
    picture = ground(3)
    moved = ndimage.shift(picture, shift, order=3, mode="wrap")
    noise = np.random.default_rng(1).normal(0, 0.05 * picture.std(), picture.shape)
    assert phase_shift(picture, moved + noise) == pytest.approx(shift, abs=0.2)


def test_a_general_library_agrees():
    """Peer: scikit-image's phase_cross_correlation on the same pair (its shift brings the second back: other sign)."""
    registration = pytest.importorskip("skimage.registration")
    picture = ground(5)
    moved = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(picture), (4.3, -2.8))).real
    theirs, *_ = registration.phase_cross_correlation(picture, moved, upsample_factor=50)
    assert phase_shift(picture, moved) == pytest.approx(tuple(-theirs), abs=0.15)


def write(path, values, *, crs="EPSG:32729", cell=0.1, west=500_000.0, north=6_470_000.0):
    bands = np.stack([values, values * 1.1, values * 0.9])
    scaled = ((bands - bands.min()) / np.ptp(bands) * 250).astype(np.uint8)
    with rasterio.open(path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=3, dtype="uint8",
                       crs=crs, transform=Affine(cell, 0, west, 0, -cell, north)) as target:
        target.write(scaled)
    return path


def test_two_pictures_with_other_cells_are_brought_together(tmp_path):
    """The later one lies 0.55 m east and 0.33 m south, on cells of 0.15 m against 0.10 m."""
    wide = ground(7, 900)
    old = write(tmp_path / "old.tif", wide)
    new = write(tmp_path / "new.tif", ndimage.zoom(wide, 1 / 1.5, order=1), cell=0.15, west=500_000.55,
                north=6_470_000.0 - 0.33)
    found = picture_shift(old, new, [500_005, 6_469_915, 500_085, 6_469_995], 32729)
    assert (found.east_m, found.north_m) == pytest.approx((0.55, -0.33), abs=0.2 * 0.15)
    assert found.windows >= 5
    assert 0 < found.left_m < 0.1


def test_real_imagery(open_data, tmp_path):
    """NEON orthophoto of dry grass and oaks (CC0), against itself moved by a known part of its cells."""
    with rasterio.open(open_data / "neon_sjer_orthophoto" / "2018_SJER_3_252000_4107000_image_477.tif") as source:
        values, profile, bounds = source.read().astype(float), source.profile, source.bounds
    moved = np.stack([ndimage.shift(band, (2.3, -4.6), order=3, mode="nearest") for band in values])
    # The transform and CRS as the file has them; the pixels moved 2.3 cells down and 4.6 left
    paths = [tmp_path / "a.tif", tmp_path / "b.tif"]
    for path, pixels in zip(paths, (values, moved), strict=True):
        with rasterio.open(path, "w", **{**profile, "driver": "GTiff", "tiled": False}) as target:
            target.write(pixels.clip(0, 255).astype(profile["dtype"]))
    found = picture_shift(*paths, bounds, profile["crs"].to_wkt())
    assert (found.east_m, found.north_m) == pytest.approx((-0.46, -0.23), abs=0.02)


def test_what_cannot_be_aligned_is_said(tmp_path):
    with pytest.raises(InputRefused, match="of one tone"):
        phase_shift(np.ones((40, 40)), ground(1, 40))
    with pytest.raises(InputRefused, match="Pictures have shapes"):
        phase_shift(np.ones((40, 40)), np.ones((40, 41)))
    old = write(tmp_path / "old.tif", ground(1))
    away = write(tmp_path / "away.tif", ground(1), west=900_000.0)
    with pytest.raises(FileRefused, match="no ground in common"):
        picture_shift(old, away, [500_000, 6_469_974, 500_025, 6_470_000], 32729)
