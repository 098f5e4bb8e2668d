"""Hot spots and the block table on small groves that can be checked by eye (no published example)."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.pressure import block_table, hot_spots

BLOCKS = pd.DataFrame({"block": ["Low", "High"], "row_spacing_m": [7.0, 7.0], "tree_spacing_m": [5.0, 5.0]})


def grove(rows=4, positions=6, status="alive"):
    """Two blocks side by side, their nearest trees 6 m apart."""
    lines = [
        (f"{block}-{row}-{position}", block, row, position, shapely.Point(offset + 5.0 * position, 7.0 * row), status)
        for block, offset in (("Low", 0.0), ("High", 5.0 * (positions - 1) + 6.0))
        for row in range(1, rows + 1) for position in range(1, positions + 1)
    ]
    frame = pd.DataFrame(lines, columns=["tree", "block", "row", "position", "geometry", "status"])
    return gpd.GeoDataFrame(frame, geometry="geometry", crs="EPSG:7855")


def pressure_of(trees, hot, chance=0.8):
    over = trees["tree"].isin(hot)
    return pd.DataFrame({
        "tree": trees["tree"], "chance_over": np.where(over, chance, 0.1), "median_per_beat": np.where(over, 9.0, 1.0),
        "mean_per_beat": np.where(over, 10.0, 1.5),
    })


def test_neighbours_in_the_row_and_across_rows_join():
    trees = grove()
    # The nearest trees of two blocks never join, and a tree alone is no place to go to.
    hot = ["Low-1-1", "Low-1-2", "Low-2-2", "Low-4-6", "Low-4-5", "High-4-1", "High-4-2", "High-1-6"]
    found = hot_spots(trees, pressure_of(trees, hot), blocks=BLOCKS)
    assert found[["hot_spot", "block", "from_row", "to_row", "trees"]].to_numpy().tolist() == [
        [1, "Low", 1, 2, 3], [2, "High", 4, 4, 2], [3, "Low", 4, 4, 2],
    ]
    assert found["trees_over"].tolist() == pytest.approx([2.4, 1.6, 1.6])
    assert found["median_per_beat"].tolist() == [9.0, 9.0, 9.0]
    # By hand: half of 5 m x 7 m.
    assert found.geometry.iloc[0].area == pytest.approx(17.5)
    assert found.crs == trees.crs


def test_rank_goes_by_expected_trees_over_and_not_by_size():
    trees = grove()
    pressure = pressure_of(trees, ["Low-1-1", "Low-1-2", "High-4-5", "High-4-6"])
    pressure.loc[pressure["tree"].str.startswith("Low") & (pressure["chance_over"] > 0.5), "chance_over"] = 0.55
    assert hot_spots(trees, pressure, blocks=BLOCKS)["block"].tolist() == ["High", "Low"]


def test_gone_trees_and_unwalked_blocks_have_no_hot_spot():
    trees = grove()
    pressure = pressure_of(trees, ["Low-1-1", "Low-1-2", "Low-1-3", "High-1-1", "High-1-2"])
    trees.loc[trees["tree"] == "Low-1-3", "status"] = "gone"
    found = hot_spots(trees, pressure, blocks=BLOCKS, walked=["Low"])
    assert found[["block", "trees"]].to_numpy().tolist() == [["Low", 2]]


def test_no_hot_spot_is_an_empty_frame_with_its_columns():
    trees = grove()
    for pressure in (pressure_of(trees, []), pressure_of(trees, []).assign(chance_over=np.nan)):
        found = hot_spots(trees, pressure, blocks=BLOCKS)
        assert len(found) == 0
        assert list(found.columns) == [
            "hot_spot", "block", "from_row", "to_row", "trees", "trees_over", "median_per_beat", "geometry",
        ]
        assert found.crs == trees.crs


def test_spacing_that_was_not_told_is_taken_from_the_trees():
    trees = grove()
    pressure = pressure_of(trees, ["Low-1-1", "Low-1-2"])
    told = hot_spots(trees, pressure, blocks=BLOCKS)
    untold = hot_spots(trees, pressure, blocks=BLOCKS.assign(row_spacing_m=np.nan, tree_spacing_m=np.nan))
    assert untold["trees"].tolist() == told["trees"].tolist() == [2]


@settings(deadline=None, max_examples=25)
@given(st.sets(st.integers(0, 47)))
def test_every_hot_tree_with_a_hot_neighbour_is_in_one_hot_spot(chosen):
    """Nothing is dropped: trees and expected trees over sum to those that do not stand alone."""
    trees = grove()
    pressure = pressure_of(trees, trees["tree"].iloc[sorted(chosen)])
    found = hot_spots(trees, pressure, blocks=BLOCKS)
    hot = trees.iloc[sorted(chosen)]
    near = [sum((hot["block"] == tree.block) & (hot.distance(tree.geometry) <= 1.5 * 7.0)) for tree in hot.itertuples()]
    together = sum(number > 1 for number in near)
    assert found["trees"].sum() == together
    assert found["trees_over"].sum() == pytest.approx(0.8 * together)
    assert (np.diff(found["trees_over"].to_numpy(dtype=float)) <= 1e-12).all()


def test_missing_column_is_told():
    trees = grove()
    with pytest.raises(InputRefused, match="Blocks has no column 'row_spacing_m'"):
        hot_spots(trees, pressure_of(trees, []), blocks=BLOCKS.drop(columns="row_spacing_m"))


def test_block_table_by_hand():
    trees = grove(1, 2)
    pressure = pressure_of(trees, ["Low-1-1"])
    # Low: means of the draws 1, 2, ..., 11; High always 3.
    draws = np.column_stack([np.arange(1.0, 12.0), np.arange(1.0, 12.0), np.full(11, 3.0), np.full(11, 3.0)])
    counts = pd.DataFrame({"tree": ["Low-1-1", "Low-1-1", "Low-1-2"]})
    table = block_table(trees, pressure, draws, counts, threshold=6).set_index("block")
    low = table.loc["Low"]
    assert (low["trees"], low["beaten"], low["walked"]) == (2, 2, True)
    assert (low["low_80"], low["median_per_beat"], low["high_80"]) == (2.0, 6.0, 10.0)
    assert low["mean_per_beat"] == pytest.approx((10.0 + 1.5) / 2)
    # Draws 7 to 11 are over 6, both trees at once.
    assert (low["trees_over"], low["trees_over_low_80"], low["trees_over_high_80"]) == (pytest.approx(0.9), 0.0, 2.0)
    assert not table.loc["High", "walked"]
    assert table.loc["High", "beaten"] == 0


def test_block_table_without_threshold_and_with_gone_trees():
    trees = grove(1, 2)
    trees.loc[0, "status"] = "gone"
    pressure = pressure_of(trees, []).assign(chance_over=np.nan)
    table = block_table(trees, pressure, np.ones((3, 4)), pd.DataFrame({"tree": ["Low-1-1"]}))
    assert table["trees"].tolist() == [1, 2]
    assert table[["trees_over", "trees_over_low_80", "trees_over_high_80"]].isna().all().all()
    # The block was walked although the beaten tree is gone.
    assert table["walked"].tolist() == [True, False]


def test_draws_of_other_trees_are_refused():
    trees = grove(1, 2)
    with pytest.raises(InputRefused, match="Draws has 3 entries"):
        block_table(trees, pressure_of(trees, []), np.ones((5, 3)), pd.DataFrame({"tree": []}))
