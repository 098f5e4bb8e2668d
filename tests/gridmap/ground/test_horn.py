"""Slope and aspect against published windows, exact planes and a general raster library on a real DEM."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.ground.horn import horn_aspect_deg, horn_gradients, horn_slope_deg


def plane(slope_deg: float, aspect_deg: float, width: float, height: float, shape: tuple[int, int] = (3, 3)):
    """Heights of a tilted plane: tan(slope) per metre against the aspect."""
    x, y = np.meshgrid(np.arange(shape[1]) * width, -np.arange(shape[0]) * height)
    fall = np.tan(np.radians(slope_deg))
    return 500 - fall * (x * np.sin(np.radians(aspect_deg)) + y * np.cos(np.radians(aspect_deg)))


def test_published_slope():
    # Esri, How Slope works (raster documentation, worked example, cell 5): dz/dx 0.05, dz/dy -3.8, rise/run 3.80032,
    # slope 75.25762 degrees. The page cuts 3.800329 to 3.80032 before the arctangent, hence 5e-5.
    window = [[50, 45, 50], [30, 30, 30], [8, 10, 10]]
    east, north = horn_gradients(window, 5)
    assert east[1, 1] == pytest.approx(0.05)
    assert north[1, 1] == pytest.approx(3.8)  # the page counts rows southward
    assert horn_slope_deg(window, 5) == pytest.approx(75.25762, abs=5e-5)


def test_published_aspect():
    # Esri, How Aspect works (raster documentation, worked example): dz/dx -8.125, dz/dy -0.375, aspect 92.64 degrees.
    window = [[101, 92, 85], [101, 92, 85], [101, 91, 84]]
    east, north = horn_gradients(window, 1)
    assert (east[1, 1], north[1, 1]) == (-8.125, 0.375)
    assert horn_aspect_deg(window, 1) == pytest.approx(92.64, abs=5e-3)


def test_tilted_plane_by_hand():
    # Geometry: rises 0.2 toward east and 0.1 toward north; tan(slope) = sqrt(0.05), faces atan2(-0.2, -0.1).
    window = [[99, 101, 103], [98, 100, 102], [97, 99, 101]]
    assert horn_slope_deg(window, 10) == pytest.approx(12.6044, abs=5e-5)
    assert horn_aspect_deg(window, 10) == pytest.approx(243.435, abs=5e-4)


# No published example: identities of geometry.
@given(
    slope=st.floats(0.5, 60), aspect=st.floats(0, 359.9), turn=st.floats(0, 360), width=st.floats(0.5, 90),
    height=st.floats(0.5, 90),
)  # fmt: skip
def test_turning_a_plane_turns_the_aspect_and_keeps_the_slope(slope, aspect, turn, width, height):
    for bearing in (aspect, aspect + turn):
        window = plane(slope, bearing, width, height)
        assert horn_slope_deg(window, (width, height)) == pytest.approx(slope, abs=1e-6)
        apart = (horn_aspect_deg(window, (width, height)) - bearing + 180) % 360 - 180
        assert apart == pytest.approx(0, abs=1e-6)


def test_whole_array_agrees_with_each_window():
    z = np.random.default_rng(5).uniform(0, 40, (7, 9))
    slope = horn_slope_deg(z, (10, 8))
    assert slope[3, 4] == pytest.approx(horn_slope_deg(z[2:5, 3:6], (10, 8)))
    assert np.isnan(slope[[0, -1]]).all()
    assert np.isnan(slope[:, [0, -1]]).all()
    assert np.isfinite(slope[1:-1, 1:-1]).all()


def test_a_gap_silences_its_neighbours_and_no_other():
    z = plane(10, 120, 5, 5, (9, 9))
    z[4, 4] = np.nan
    gap = np.isnan(horn_slope_deg(z, 5))[1:-1, 1:-1]
    assert gap[2:5, 2:5].all()
    assert gap.sum() == 9


def test_level_ground_faces_nowhere():
    assert horn_slope_deg(np.ones((3, 3)), 1) == 0
    assert np.isnan(horn_aspect_deg(np.ones((3, 3)), 1))


@pytest.mark.parametrize("window", [[1, 2, 3], [[1, 2], [3, 4]]])
def test_too_small_is_refused(window):
    with pytest.raises(InputRefused, match="at least 3 by 3"):
        horn_slope_deg(window, 1)


@pytest.mark.parametrize("cell", [0, -5, float("nan"), (5, 0), (1, 2, 3)])
def test_a_cell_without_width_is_refused(cell):
    with pytest.raises(InputRefused, match=r"[Cc]ell size"):
        horn_slope_deg(np.ones((3, 3)), cell)


@pytest.mark.slow
def test_real_dem_against_a_general_raster_library(open_data: Path):
    # Reference: xarray-spatial (slope and aspect by the same 3 by 3 method, in 32 bits, hence the tolerance).
    # Data: Vinschgau DEM, 250 m, EPSG:32632 (R package terra).
    rasterio = pytest.importorskip("rasterio")
    xrspatial = pytest.importorskip("xrspatial")
    xarray = pytest.importorskip("xarray")
    with rasterio.open(open_data / "dem_vinschgau" / "elev_vinschgau.tif") as source:
        z = source.read(1, masked=True).astype(float).filled(np.nan)
    rows, columns = z.shape
    coordinates = {"y": np.arange(rows)[::-1] * 250.0, "x": np.arange(columns) * 250.0}
    raster = xarray.DataArray(z, dims=["y", "x"], coords=coordinates, attrs={"res": (250.0, 250.0)})
    slope, aspect = horn_slope_deg(z, 250), horn_aspect_deg(z, 250)
    known = np.isfinite(slope)
    assert known.sum() > 0.9 * z.size
    np.testing.assert_allclose(slope[known], xrspatial.slope(raster).data[known], atol=1e-3)
    faces = np.isfinite(aspect)
    apart = (aspect[faces] - xrspatial.aspect(raster).data[faces] + 180) % 360 - 180
    np.testing.assert_allclose(apart, 0, atol=2e-2)
