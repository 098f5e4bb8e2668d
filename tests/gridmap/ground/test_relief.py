"""Hill shade against a published window; contours against the ground they are drawn from."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.ground.dem import Dem
from gridmap.ground.relief import contour_lines, hillshade, nice_interval_m


def test_published_hill_shade():
    # Esri, How Hillshade works (raster documentation, worked example, cell 5, light from 315 degrees, 45 degrees high):
    # 154 of 255 (second-hand: several public copies and tests of general raster libraries).
    window = [[2450, 2461, 2483], [2452, 2461, 2483], [2447, 2455, 2477]]
    assert hillshade(window, 5) * 255 == pytest.approx(154, abs=0.5)


# No published example: physical sense.
def test_level_ground_has_the_sine_of_the_light_and_a_face_turned_to_it_is_full():
    assert hillshade(np.ones((3, 3)), 5, sun_altitude_deg=30) == pytest.approx(0.5)
    x, y = np.meshgrid([-1, 0, 1], [1, 0, -1])
    northwest_face = (x - y) / np.sqrt(2)
    assert hillshade(northwest_face, 1) == pytest.approx(1)
    assert hillshade(-northwest_face, 1) == pytest.approx(0, abs=1e-12)
    assert hillshade(-northwest_face, 1, exaggeration=9) == 0


def test_shade_keeps_gaps_and_edges_open():
    shade = hillshade(np.arange(30.0).reshape(5, 6), 5)
    assert np.isnan(shade[0]).all()
    assert ((shade[1:-1, 1:-1] >= 0) & (shade[1:-1, 1:-1] <= 1)).all()
    with pytest.raises(InputRefused, match="Height of the light is -5 degrees"):
        hillshade(np.ones((3, 3)), 5, sun_altitude_deg=-5)


def knoll(size: int = 81, cell: float = 5.0) -> Dem:
    x, y = np.meshgrid((np.arange(size) - size // 2) * cell, (size // 2 - np.arange(size)) * cell)
    return Dem(100 - 0.25 * np.hypot(x, y), -(size / 2) * cell, size / 2 * cell, (cell, cell), 7855)


def test_contours_of_a_cone_are_circles():
    lines = contour_lines(knoll(), interval_m=5)
    for height in (60.0, 75.0, 90.0):
        (line,) = lines.geometry[lines.elevation_m == height]
        assert line.is_ring
        radius = np.hypot(*shapely.get_coordinates(line).T)
        # linear between centres 5 m apart: under 25 / (8 radius) off
        np.testing.assert_allclose(radius, (100 - height) / 0.25, atol=0.1)
    assert lines.crs.to_epsg() == 7855
    assert lines.elevation_m.is_monotonic_increasing
    assert set(lines.elevation_m[lines.is_index]) == {50.0, 75.0}


def test_every_vertex_lies_at_its_height():
    chance = np.random.default_rng(6)
    dem = Dem(np.cumsum(np.cumsum(chance.normal(0, 0.3, (30, 40)), axis=0), axis=1), 0, 150, (5, 5), 7855)
    lines = contour_lines(dem)
    assert len(lines) > 5
    for height, line in zip(lines.elevation_m, lines.geometry, strict=True):
        np.testing.assert_allclose(dem.at(shapely.get_coordinates(line)), height, atol=1e-6)


def test_no_line_crosses_a_gap():
    heights = knoll().elevation_m.copy()
    heights[30:40, 30:40] = np.nan
    dem = Dem(heights, -202.5, 202.5, (5, 5), 7855)
    x, y = dem.centres
    gap = shapely.box(x[30] - 4.99, y[39] - 4.99, x[39] + 4.99, y[30] + 4.99)
    assert not contour_lines(dem, interval_m=5).intersects(gap).any()


@given(st.floats(0.01, 5000))
def test_interval_is_round_and_gives_a_readable_number_of_lines(rise):
    step = nice_interval_m(rise)
    assert 8 * (1 - 1e-6) <= rise / step <= 20 * (1 + 1e-6)
    assert f"{step:e}"[0] in "125"


def test_too_many_lines_are_refused_with_a_better_interval():
    with pytest.raises(InputRefused, match=r"gives [0-9,]+ lines.*Try 5 m"):
        contour_lines(knoll(), interval_m=0.01)


def test_no_heights_no_lines():
    for heights in (np.full((4, 4), np.nan), np.ones((4, 4)), [[1.0, 2.0]]):
        lines = contour_lines(Dem(heights, 0, 40, (10, 10), 7855))
        assert len(lines) == 0
        assert list(lines.columns) == ["elevation_m", "is_index", "geometry"]
