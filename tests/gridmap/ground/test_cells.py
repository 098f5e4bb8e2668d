"""Cells of trees. No published examples: a way of drawing, held by geometry."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputMissing, InputRefused
from gridmap.ground import cells, generate_rows, row_direction

BLOCKS = pd.DataFrame([{"block": "A", "row_bearing_deg": 30.0, "row_spacing_m": 6.0, "tree_spacing_m": 5.0}])


def grove(bearing=30.0):
    trees = generate_rows(
        shapely.box(0, 0, 120, 90),
        row_bearing_deg=bearing,
        row_spacing_m=6,
        tree_spacing_m=5,
        headland_m=5,
        uphill_bearing_deg=0,
        crs=7855,
    )
    return trees.assign(block="A", tree=[f"t{i}" for i in range(len(trees))])


def test_every_tree_has_its_cell_around_itself():
    trees = grove()
    made = cells(trees, BLOCKS)
    assert made.geometry.area.to_numpy() == pytest.approx(5 * 0.78 * 6)
    assert (made.geometry.centroid.distance(trees.geometry) < 1e-9).all()
    assert made.index.equals(trees.index)
    assert made.crs == trees.crs
    assert made.geometry.exterior.is_ccw.all()


def test_cells_of_a_row_meet_and_rows_stay_apart():
    trees = grove()
    made = cells(trees, BLOCKS).assign(row=trees["row"])
    whole = made.dissolve("row").geometry
    # No overlap anywhere, so the area of the union is the sum.
    assert shapely.union_all(made.geometry.to_numpy()).area == pytest.approx(made.area.sum(), rel=1e-9)
    gap = whole.distance(whole.shift(-1)).dropna()
    assert gap.to_numpy() == pytest.approx((1 - 0.78) * 6)


def test_order_and_index_of_the_trees_do_not_matter():
    trees = grove()
    mixed = trees.sample(frac=1, random_state=3)
    mixed.index = [f"i{i}" for i in range(len(mixed))]
    first = cells(trees, BLOCKS).set_index("tree")
    second = cells(mixed, BLOCKS).set_index("tree").loc[first.index]
    assert first.geometry.geom_equals(second.geometry).all()


def test_a_curved_row_turns_its_cells():
    # A contour row: an arc of 100 m radius. The direction at a tree is the tangent, a right angle to the radius.
    angle = np.arange(40) * 5 / 100
    xy = 100 * np.column_stack([np.cos(angle), np.sin(angle)])
    one = np.zeros(40, dtype=int)
    direction = row_direction(xy, one, one, np.arange(1, 41), np.array([0.0]))
    radial = np.abs((direction * xy / 100).sum(axis=1))
    # Chords between points two apart are parallel to the tangent in the middle; at the ends they turn by one spacing.
    assert radial[2:-2].max() < 1e-9
    assert radial.max() < np.sin(1.01 * 5 / 100)


def test_a_lone_tree_takes_the_bearing_of_its_block():
    trees = gpd.GeoDataFrame(
        {"tree": ["t"], "block": ["A"], "row": [4], "position": [2]}, geometry=gpd.points_from_xy([50], [50])
    )
    corner = shapely.get_coordinates(cells(trees, BLOCKS).geometry.iloc[0])
    edge = corner[1] - corner[0]
    assert np.degrees(np.arctan2(edge[0], edge[1])) % 180 == pytest.approx(30)
    assert np.hypot(*edge) == pytest.approx(5)


def test_spacings_that_nobody_said_come_from_the_trees():
    silent = BLOCKS.assign(row_spacing_m=np.nan, tree_spacing_m=np.nan, row_bearing_deg=np.nan)
    trees = grove()
    gaps = trees.drop(index=trees.index[::7])
    assert cells(gaps, silent).area.to_numpy() == pytest.approx(5 * 0.78 * 6, rel=1e-6)


def test_one_tree_without_spacings_is_asked_for():
    silent = BLOCKS.assign(row_spacing_m=np.nan, tree_spacing_m=np.nan)
    with pytest.raises(
        InputMissing, match="The tree spacing of block A is not known: no row of it has two trees"
    ) as caught:
        cells(grove().head(1), silent)
    assert caught.value.missing == ["tree spacing"]


def test_unknown_block_refused():
    with pytest.raises(InputRefused, match="Block 'Z' of the trees is not in the blocks"):
        cells(grove().assign(block="Z"), BLOCKS)


def test_width_share_refused():
    with pytest.raises(InputRefused, match=r"Across is 1\.2: it must be at most 1"):
        cells(grove(), BLOCKS, across=1.2)


def test_no_trees_no_cells():
    assert len(cells(grove().head(0), BLOCKS)) == 0
