"""Rows, positions and their numbers. No published examples: geometry and the house's own rule for numbers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from gridmap.errors import InputRefused, OutlineRefused
from gridmap.ground import generate_rows, number_places, row_directions

BLOCK = shapely.box(1000, 2000, 1130, 2090)
USUAL = {"row_bearing_deg": 90, "row_spacing_m": 6, "tree_spacing_m": 5, "headland_m": 8, "uphill_bearing_deg": 0}


def rows(outline=BLOCK, **changes):
    return generate_rows(outline, **{**USUAL, **changes})


def xy(trees):
    return shapely.get_coordinates(trees.geometry.to_numpy())


@given(st.floats(3, 12), st.floats(1.5, 9), st.floats(0, 12), st.floats(0, 360), st.floats(0, 360))
def test_spacing_is_exactly_the_asked_and_everything_is_inside(row_spacing, tree_spacing, headland, bearing, uphill):
    trees = rows(
        row_spacing_m=row_spacing,
        tree_spacing_m=tree_spacing,
        headland_m=headland,
        row_bearing_deg=bearing,
        uphill_bearing_deg=uphill,
    )
    along, across = row_directions(bearing, uphill)
    at = xy(trees)
    # Every place is its number times the spacing, along and across.
    by_row = at @ across - (trees["row"].to_numpy() - 1) * row_spacing
    assert np.ptp(by_row) < 1e-6
    for _, one in trees.groupby("row"):
        offset = xy(one) @ along - (one["position"].to_numpy() - 1) * tree_spacing
        assert np.ptp(offset) < 1e-6
        assert one["position"].min() == 1
    assert shapely.distance(shapely.points(at), BLOCK.boundary).min() >= headland - 1e-5
    assert shapely.contains_xy(BLOCK, at).all()
    assert not trees.duplicated(["row", "position"]).any()
    assert trees["row"].min() == 1


@pytest.mark.parametrize("bearing", [0, 17, 45, 90, 133])
def test_number_of_trees_is_area_over_spacings(bearing):
    # A grid has one point per cell, give or take half a row at each edge.
    trees = rows(shapely.box(0, 0, 300, 240), row_bearing_deg=bearing, headland_m=6)
    free = (300 - 12) * (240 - 12)
    assert len(trees) == pytest.approx(free / 30, rel=0.05)


def test_rows_are_centred_in_what_the_headland_leaves():
    at = xy(rows(shapely.box(0, 0, 100, 50)))
    west, south = at.min(axis=0)
    east, north = at.max(axis=0)
    assert west - 0 == pytest.approx(100 - east)
    assert south - 0 == pytest.approx(50 - north)
    # 84 m hold 17 trees at 5 m, 34 m hold 6 rows at 6 m.
    assert len(at) == 17 * 6


def test_without_a_headland_no_tree_stands_on_the_outline():
    trees = rows(shapely.box(0, 0, 60, 40), headland_m=0)
    # 60 m by 40 m in places of 5 m by 6 m: 12 trees and 6 rows and a rest of 4 m.
    assert len(trees) == 12 * 7
    assert xy(trees)[:, 0].min() == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("bearing", "uphill", "first", "row_one"),
    [
        (90, 0, (0, 0), "south"),
        (270, 0, (0, 0), "south"),
        (90, 180, (1, 1), "north"),  # looking south the left end is east
        (0, 90, (0, 1), "west"),  # looking east the left end is north
        (0, 270, (1, 0), "east"),
        (100, 30, (0, 0), "south"),
    ],
)
def test_row_one_is_the_lowest_and_position_one_the_left_end(bearing, uphill, first, row_one):
    trees = rows(row_bearing_deg=bearing, uphill_bearing_deg=uphill)
    one = trees[trees["row"] == 1]
    up = np.array([np.sin(np.radians(uphill)), np.cos(np.radians(uphill))])
    height = trees.assign(height=xy(trees) @ up).groupby("row")["height"].mean()
    assert height.is_monotonic_increasing, row_one
    start, end = xy(one[one["position"] == 1])[0], xy(one)[-1]
    right = np.array([up[1], -up[0]])
    assert start @ right < end @ right
    if bearing in (0, 90, 270):
        corner = ((start - np.array([1000, 2000])) / np.array([130, 90])).round().tolist()
        assert tuple(corner) == first


@pytest.mark.parametrize("uphill", [0, 5, 355, 9.9])
def test_rows_up_the_slope_count_from_the_left_and_from_below(uphill):
    trees = rows(row_bearing_deg=0, uphill_bearing_deg=uphill)
    one = xy(trees[trees["row"] == 1])
    assert one[:, 0].mean() == pytest.approx(xy(trees)[:, 0].min())
    assert one[0, 1] < one[-1, 1]


def test_a_row_broken_by_a_hole_keeps_its_number_and_counts_the_gap():
    pond = shapely.box(1050, 2030, 1080, 2060)
    trees = rows(BLOCK.difference(pond), headland_m=3)
    whole = rows(BLOCK, headland_m=3)
    merged = trees.merge(whole, on=["row", "position"], how="left", suffixes=("", "_whole"))
    # The same places carry the same numbers as without the pond; only those in and near it are gone.
    assert (merged.geometry.distance(gpd.GeoSeries(merged["geometry_whole"])) < 1e-9).all()
    near = shapely.dwithin(whole.geometry.to_numpy(), pond, 3 - 1e-6)
    assert len(trees) == len(whole) - near.sum()
    assert near.sum() > 0


def test_two_arms_of_a_concave_block_share_their_rows():
    arms = shapely.box(0, 0, 200, 60).difference(shapely.box(60, 20, 140, 60))
    trees = rows(arms, headland_m=4)
    top = trees[trees["row"] == trees["row"].max()]
    assert (np.diff(top["position"]) > 1).sum() == 1
    assert np.ptp(xy(top)[:, 1]) < 1e-6


@given(st.floats(0, 359.9), st.sampled_from([(0, 0), (400_000, 6_000_000)]))
def test_turning_block_and_bearings_turns_the_trees(angle, origin):
    shape = affinity.translate(shapely.Polygon([(0, 0), (130, 10), (120, 90), (60, 50), (5, 95)]), *origin)
    # A spacing that fits no extent exactly, so that rounding decides nothing.
    usual = {"row_spacing_m": 6.03, "tree_spacing_m": 5.07, "headland_m": 5.01}
    plain = rows(shape, uphill_bearing_deg=20, row_bearing_deg=80, **usual)
    turned_shape = affinity.rotate(shape, -angle, origin=origin)
    turned = rows(turned_shape, uphill_bearing_deg=(20 + angle) % 360, row_bearing_deg=(80 + angle) % 360, **usual)
    expected = shapely.get_coordinates(affinity.rotate(shapely.MultiPoint(xy(plain)), -angle, origin=origin))
    assert np.abs(xy(turned) - expected).max() < 1e-5
    assert (turned["row"] == plain["row"]).all()
    assert (turned["position"] == plain["position"]).all()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"row_spacing_m": 0}, r"Row spacing is 0 m: it must be over 0 m"),
        ({"tree_spacing_m": -5}, r"Tree spacing is -5 m: it must be over 0 m"),
        ({"headland_m": float("nan")}, r"Headland is nan: it must be a finite number"),
        ({"row_bearing_deg": 400}, r"Row bearing is 400 degrees: it must be at most 360"),
        ({"uphill_bearing_deg": None}, r"Uphill bearing is None: it must be a number"),
        ({"headland_m": 60}, r"A headland of 60 m leaves no room in a block of 11,700 m2"),
        ({"row_spacing_m": 0.01, "tree_spacing_m": 0.01}, r"give over 2,000,000 places: no grove has so many"),
        ({"tree_spacing_m": 1e-12}, r"give over 2,000,000 places"),
    ],
)
def test_refused(changes, message):
    with pytest.raises(InputRefused, match=message):
        rows(**changes)


def test_crossing_outline_refused():
    with pytest.raises(OutlineRefused, match="it crosses itself"):
        rows(shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)]))


def test_five_thousand_trees_in_a_moment():
    assert 5000 < len(rows(shapely.box(0, 0, 500, 400))) < 7000


BLOCKS = pd.DataFrame({"block": ["A"], "row_bearing_deg": [90.0], "tree_spacing_m": [5.0], "uphill_bearing_deg": [0.0]})


def places(x, row, **columns):
    return gpd.GeoDataFrame(
        {"block": "A", "row": row, **columns}, geometry=gpd.points_from_xy(x, np.zeros(len(x))), index=range(len(x))
    )


def test_numbering_agrees_with_generated_rows():
    trees = rows().assign(block="A").sample(frac=1, random_state=1)
    assert (number_places(trees.drop(columns="position"), BLOCKS)["position"] == trees["position"]).all()


def test_gaps_are_counted_and_given_numbers_stay():
    numbered = number_places(
        places([40, 0, 5.6, 24.2, 100, 95], [1, 1, 1, 1, 2, 2], position=[None, None, None, None, 7, 6]), BLOCKS
    )
    assert numbered["position"].tolist() == [9, 1, 2, 6, 7, 6]


@pytest.mark.parametrize(
    ("trees", "message"),
    [
        (places([0, 5], [1, 1.5]), r"Row is 1\.5: it must be a whole number from 1 on"),
        (places([0, 5], [1, 0]), r"Row is 0"),
        (
            places([0, 5], [1, 1], position=[3, 3]),
            r"Place A row 1 position 3 is given twice: one plant stands in a place",
        ),
        (places([0, 5], [1, 1]).assign(block="Z"), r"Block 'Z' of the trees is not in the grove"),
    ],
)
def test_places_refused(trees, message):
    with pytest.raises(InputRefused, match=message):
        number_places(trees, BLOCKS)
