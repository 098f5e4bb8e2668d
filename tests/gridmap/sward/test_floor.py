"""The floor of rows: as wide as the rows are apart, without canopies, inside the outline (no published example)."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from gridmap.errors import InputMissing
from gridmap.sward import row_floor

TREES = gpd.GeoDataFrame(
    {"tree": [f"t{n}" for n in range(8)], "block": "A", "row": [1] * 4 + [2] * 4, "position": [1, 2, 3, 4] * 2,
     "upslope_m": [5.0] * 4 + [12.0] * 4, "canopy_width_m": np.nan},
    geometry=gpd.points_from_xy([10, 15, 20, 25] * 2, [10] * 4 + [17] * 4), crs=32729)
BLOCK = gpd.GeoDataFrame({"block": ["A"], "row_spacing_m": [7.0], "tree_spacing_m": [5.0], "row_bearing_deg": [90.0],
                          "canopy_width_m": [3.0]}, geometry=[shapely.box(0, 0, 40, 40)], crs=32729)


def test_rows_share_the_ground_and_leave_canopies_out():
    floor = row_floor(TREES, BLOCK)
    assert floor.area.tolist() == pytest.approx([20 * 7 - 4 * np.pi * 1.5**2] * 2, rel=0.01)
    assert floor.geometry.iloc[0].intersection(floor.geometry.iloc[1]).area == pytest.approx(0, abs=1e-9)
    assert not floor.contains(shapely.Point(15, 10)).any()


def test_wider_mulch_and_the_outline_take_from_it():
    assert (row_floor(TREES, BLOCK, mulch_m=2.0).area < row_floor(TREES, BLOCK).area).all()
    small = BLOCK.set_geometry([shapely.box(0, 0, 40, 17)], crs=32729)
    assert row_floor(TREES, small).area.iloc[1] < 80


def test_a_lone_tree_has_a_floor_and_no_spacing_none():
    assert len(row_floor(TREES.iloc[:1], BLOCK)) == 1
    with pytest.raises(InputMissing, match="row spacing of block 'A'"):
        row_floor(TREES, BLOCK.assign(row_spacing_m=np.nan))
    assert len(row_floor(TREES.iloc[:0], BLOCK)) == 0
