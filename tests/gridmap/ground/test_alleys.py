"""The strips between rows: half-way everywhere, the outer ones with them. Plane geometry, no published example."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputRefused
from gridmap.ground.alleys import alleys
from gridmap.ground.contour import generate_contour_rows
from gridmap.ground.rows import generate_rows

BLOCKS = pd.DataFrame(
    {"block": ["A", "B"], "row_spacing_m": [7.0, 8.0], "tree_spacing_m": [5.0, 4.0], "row_bearing_deg": [90.0, 0.0]}
)


def planted(name: str, bearing: float, east: float = 0.0, uphill: float = 0.0) -> gpd.GeoDataFrame:
    setting = BLOCKS.set_index("block").loc[name]
    trees = generate_rows(
        shapely.box(east, 0, east + 80, 60), row_bearing_deg=bearing, row_spacing_m=setting["row_spacing_m"],
        tree_spacing_m=setting["tree_spacing_m"], headland_m=3, uphill_bearing_deg=uphill, crs=7855,
    )
    return trees.assign(block=name)


@pytest.mark.parametrize("uphill", [20, 160, 200, 340])
def test_straight_rows(uphill):
    trees = planted("A", 90, uphill=uphill)
    found = alleys(trees, BLOCKS)
    rows = trees["row"].max()
    assert found["alley"].tolist() == list(range(1, rows + 2))
    assert found["lower_row"].tolist()[1:] == list(range(1, rows + 1))
    assert found["upper_row"].tolist()[:-1] == list(range(1, rows + 1))
    assert pd.isna(found["lower_row"].iloc[0])
    assert pd.isna(found["upper_row"].iloc[-1])
    assert found["width_m"].to_numpy() == pytest.approx(np.full(rows + 1, 7.0))
    assert found.crs == trees.crs
    for alley in found.itertuples():
        beside = trees[trees["row"].isin([alley.lower_row, alley.upper_row])]
        assert beside.distance(alley.geometry).to_numpy() == pytest.approx(np.full(len(beside), 3.5), abs=1e-6)
        far = trees.drop(beside.index)
        assert far.distance(alley.geometry).min() > 7
        # drawn the way positions count
        ends = shapely.get_coordinates(alley.geometry)[[0, -1]]
        row = shapely.get_coordinates(beside.sort_values(["row", "position"]).geometry)[:2]
        assert (ends[1] - ends[0]) @ (row[1] - row[0]) > 0


def test_two_blocks_are_kept_apart():
    both = pd.concat([planted("A", 90), planted("B", 0, east=200)])
    found = alleys(both, BLOCKS)
    assert found.groupby("block").size().to_dict() == {
        name: group["row"].nunique() + 1 for name, group in both.groupby("block")
    }
    assert found[found["block"] == "B"]["width_m"].to_numpy() == pytest.approx(8.0)


def test_alleys_of_contour_rows_follow_them():
    # circles: half-way between radius 60 and 67 is 63.5, whatever the angle
    angle = np.radians(np.linspace(20, 160, 300))
    line = shapely.LineString(60 * np.column_stack([np.cos(angle), np.sin(angle)]))
    block = shapely.Polygon([(-35, 38), (0, 52), (35, 38), (50, 66), (0, 86), (-50, 66)])
    trees = generate_contour_rows(
        block, line, row_spacing_m=7, tree_spacing_m=5, headland_m=0, uphill_bearing_deg=0
    ).assign(block="A")
    found = alleys(trees, BLOCKS)
    xy = shapely.get_coordinates(trees.geometry)
    radius, bend = np.hypot(*xy.T), np.degrees(np.arctan2(*xy.T))
    assert len(found) == trees["row"].nunique() + 1
    for alley in found.iloc[1:-1].itertuples():
        lower, upper = (trees["row"] == alley.lower_row).to_numpy(), (trees["row"] == alley.upper_row).to_numpy()
        middle = shapely.get_coordinates(alley.geometry)
        # where only one of the two rows goes on, the other is drawn on straight
        both = np.abs(np.degrees(np.arctan2(*middle.T))) < min(bend[lower].max(), bend[upper].max()) - 2
        # 0.35 m is the smoothing (a twentieth of the width), the rest the chords between trees
        expected = (radius[lower].mean() + radius[upper].mean()) / 2
        assert np.hypot(*middle[both].T) == pytest.approx(expected, abs=0.6)
        assert both.sum() > 2


def test_gaps_lone_trees_and_lone_rows():
    trees = planted("A", 90)
    gone = trees[(trees["row"] != 3) & ~((trees["row"] == 5) & (trees["position"] > 1))]
    found = alleys(gone, BLOCKS)
    wide = found[found["lower_row"] == 2].iloc[0]
    assert wide["upper_row"] == 4
    assert wide["width_m"] == pytest.approx(14)
    assert found.geometry.is_valid.all()
    assert found.geometry.is_simple.all()
    lone = alleys(trees[trees["row"] == 1], BLOCKS)
    assert len(lone) == 2
    assert lone.distance(trees[trees["row"] == 1].geometry.iloc[0]).to_numpy() == pytest.approx([3.5, 3.5])
    single = alleys(trees[:1], BLOCKS)
    assert single.length.to_numpy() == pytest.approx([5, 5])


def test_surveyed_rows_give_no_zigzag():
    trees = planted("A", 90)
    moved = shapely.get_coordinates(trees.geometry) + np.random.default_rng(1).normal(0, 0.3, (len(trees), 2))
    found = alleys(trees.set_geometry(gpd.points_from_xy(*moved.T), crs=trees.crs), BLOCKS)
    assert found.geometry.is_simple.all()
    assert (found.length < 1.03 * 80).all()


def test_empty_and_unknown():
    assert list(alleys(planted("A", 90)[:0], BLOCKS).columns) == [
        "block", "alley", "lower_row", "upper_row", "width_m", "geometry",
    ]
    with pytest.raises(InputRefused, match="Block 'C' of the trees is not in the grove"):
        alleys(planted("A", 90).assign(block="C"), BLOCKS)
    with pytest.raises(InputRefused, match="Trees has no column 'block'"):
        alleys(planted("A", 90).drop(columns="block"), BLOCKS)
