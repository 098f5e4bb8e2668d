"""Height, slope and aspect at trees, and ground area against published figures."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.ground.dem import Dem
from gridmap.ground.terrain import ground_area, terrain_from_dem, terrain_from_heights


def tilted(slope_deg: float, aspect_deg: float, cell: tuple[float, float] = (5, 5), size: int = 40) -> Dem:
    x, y = np.meshgrid((np.arange(size) + 0.5) * cell[0], (size - np.arange(size) - 0.5) * cell[1])
    fall = np.tan(np.radians(slope_deg))
    heights = 500 - fall * (x * np.sin(np.radians(aspect_deg)) + y * np.cos(np.radians(aspect_deg)))
    return Dem(heights, 0, size * cell[1], cell, 7855)


# No published example: a plane has one slope and one aspect.
@settings(deadline=None, max_examples=40)
@given(slope=st.floats(1, 50), aspect=st.floats(0, 359.9), cell=st.tuples(st.floats(1, 30), st.floats(1, 30)))
def test_trees_on_a_plane(slope, aspect, cell):
    dem = tilted(slope, aspect, cell)
    west, south, east, north = dem.bounds
    share = np.random.default_rng(1).uniform(0.1, 0.9, (50, 2))
    trees = share * [east - west, north - south] + [west, south]
    found = terrain_from_dem(trees, dem)
    np.testing.assert_allclose(found.slope_deg, slope, atol=1e-5)
    np.testing.assert_allclose((found.aspect_deg - aspect + 180) % 360 - 180, 0, atol=1e-4)
    np.testing.assert_allclose(found.elevation_m, dem.at(trees))
    from_heights = terrain_from_heights(trees, found.elevation_m)
    np.testing.assert_allclose(from_heights.slope_deg, slope, atol=1e-4)
    np.testing.assert_allclose((from_heights.aspect_deg - aspect + 180) % 360 - 180, 0, atol=1e-3)


def test_aspect_across_north_is_not_averaged_to_south():
    # a gully that falls north: its sides face 350 and 10 degrees
    x, y = np.meshgrid(np.arange(11) - 5.0, np.arange(11)[::-1] * 1.0)
    dem = Dem(-y * 0.5 + np.abs(x) * 0.05, -5.5, 10.5, (1, 1), 7855)
    found = terrain_from_dem([[0.4, 5.0]], dem).aspect_deg[0]
    assert min(found, 360 - found) < 8


def test_trees_outside_have_no_height():
    found = terrain_from_dem([[-500, 10], [100, 100]], tilted(10, 90))
    assert found.isna().all(axis=1).tolist() == [True, False]


def test_wrong_heights_are_named():
    trees = np.random.default_rng(2).uniform(0, 100, (80, 2))
    heights = 0.2 * trees[:, 0]
    heights[7] = 900
    found = terrain_from_heights(trees, heights)
    assert np.flatnonzero(found.wrong).tolist() == [7]
    assert found.elevation_m[7] == pytest.approx(0.2 * trees[7, 0], abs=0.05)


@pytest.mark.parametrize(
    ("slope", "factor"),
    # 1 / cos(slope), the secant of printed tables (surface area = map area / cos(slope); common practice, no source).
    [(10, 1.01543), (20, 1.06418), (30, 1.15470)],
)
def test_ground_area_of_a_plane(slope: float, factor: float):
    # an outline that cuts cells, with a hole
    outline = shapely.Point(100, 100).buffer(60).difference(shapely.Point(90, 110).buffer(13))
    area = ground_area(outline, tilted(slope, 130))
    assert area.map_ha == pytest.approx(outline.area / 10_000)
    assert area.ground_ha / area.map_ha == pytest.approx(factor, abs=6e-6)
    assert area.covered == 1


def test_ground_area_against_published_triangles():
    # Jenness (2004), Calculating landscape surface area from digital elevation models, Wildlife Society Bulletin
    # 32(3):829-839, worked example of nine heights at 100 m: 10,280.48 m2 for the middle cell, by eight triangles
    # (figure read second-hand, in tests of two public libraries). One plane a cell leaves its bend out: 0.4 % less.
    dem = Dem([[190, 170, 155], [183, 165, 145], [175, 160, 122]], 0, 300, (100, 100), 7855)
    area = ground_area(shapely.box(100, 100, 200, 200), dem)
    assert area.ground_ha * 10_000 == pytest.approx(10_280.48, rel=0.005)
    assert area.ground_ha * 10_000 < 10_280.48


# No published example.
def test_pieces_add_up():
    chance = np.random.default_rng(4)
    dem = Dem(np.cumsum(chance.normal(0, 1, (40, 40)), axis=0), 0, 200, (5, 5), 7855)
    left, right = shapely.box(13, 21, 77, 160), shapely.box(77, 21, 141, 160)
    whole = ground_area(left.union(right), dem)
    assert ground_area(left, dem).ground_ha + ground_area(right, dem).ground_ha == pytest.approx(whole.ground_ha)
    assert whole.ground_ha > whole.map_ha


def test_a_dem_that_covers_a_part_is_told():
    # the outermost cells have no slope: of 0 to 60 m, 5 to 60 m is covered
    area = ground_area(shapely.box(0, 50, 60, 100), tilted(10, 90))
    assert area.covered == pytest.approx(55 / 60)
    assert area.ground_ha / area.map_ha == pytest.approx(1.01543, abs=6e-6)


def test_what_has_no_area_is_refused():
    with pytest.raises(InputRefused, match="no sound polygon"):
        ground_area(shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), tilted(10, 90))
    with pytest.raises(InputRefused, match="tells no slope inside"):
        ground_area(shapely.box(900, 900, 950, 950), tilted(10, 90))
