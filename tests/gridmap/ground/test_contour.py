"""Rows that follow a drawn line: against the geometry of parallel curves, and straight rows as the special case."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from gridmap.errors import InputRefused
from gridmap.ground import contour
from gridmap.ground.contour import generate_contour_rows, generate_fan_rows
from gridmap.ground.rows import generate_rows

SPACINGS = {"row_spacing_m": 7.0, "tree_spacing_m": 5.0}


def coordinates(trees) -> np.ndarray:
    return shapely.get_coordinates(trees.geometry)


def arc(radius: float, start_deg: float, end_deg: float, points: int = 400) -> shapely.LineString:
    angle = np.radians(np.linspace(start_deg, end_deg, points))
    return shapely.LineString(radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def sector(inner: float, outer: float, start_deg: float, end_deg: float) -> shapely.Polygon:
    low, high = arc(inner, start_deg, end_deg), arc(outer, start_deg, end_deg)
    return shapely.Polygon([*low.coords, *reversed(high.coords)])


def test_rows_round_a_hill_are_circles():
    # The curve parallel to a circle of radius R at distance k is the circle of radius R + k, and its length grows by k
    # times the angle turned: Steiner's formula (Steiner J, 1840; Gray A, 2004, Tubes, 2nd ed., chapter 1; from memory).
    block = sector(40.5, 95, 30, 150)
    trees = generate_contour_rows(block, arc(60, 20, 160), **SPACINGS, headland_m=0, uphill_bearing_deg=0)
    radius = np.hypot(*coordinates(trees).T)
    number = np.round((radius - 60) / 7)
    assert np.abs(radius - 60 - 7 * number).max() < 0.02
    assert sorted(set(number)) == [-2, -1, 0, 1, 2, 3, 4, 5]  # 46 m to 95 m
    for one, row in trees.assign(r=60 + 7 * number).groupby("row"):
        r = float(row["r"].iloc[0])
        assert abs(len(row) - np.radians(120) * r / 5) <= 1, one
        chord = np.hypot(*np.diff(coordinates(row), axis=0).T)
        # even spacing on the curve: the chord of an arc of 5 m on radius r
        assert chord == pytest.approx(np.full(len(chord), 2 * r * np.sin(5 / (2 * r))), abs=0.01)


def test_a_straight_line_gives_straight_rows():
    # no published example: a drawn line that is straight is the special case that generate_rows covers
    block = shapely.box(0, 0, 100, 70)
    straight = generate_rows(block, row_bearing_deg=90, **SPACINGS, headland_m=3, uphill_bearing_deg=0)
    line = shapely.LineString([(20, 31.5), (80, 31.5)])
    trees = generate_contour_rows(block, line, **SPACINGS, headland_m=3, uphill_bearing_deg=0)
    assert len(trees) == len(straight)
    assert np.hypot(*(coordinates(trees) - coordinates(straight)).T).max() < 1e-6
    assert trees[["row", "position"]].equals(straight[["row", "position"]])


@pytest.mark.parametrize("bearing", [0, 40, 125, 250])
def test_row_one_is_lowest_and_position_one_left(bearing):
    block = shapely.Point(0, 0).buffer(60)
    line = shapely.LineString([(-70, -12), (-30, 3), (0, 6), (30, 3), (70, -12)])
    turned = shapely.affinity.rotate(line, -bearing, origin=(0, 0))  # uphill is "up" of the line as drawn
    for drawn in (turned, shapely.reverse(turned)):
        trees = generate_contour_rows(block, drawn, **SPACINGS, headland_m=4, uphill_bearing_deg=bearing)
        uphill = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
        right = np.array([uphill[1], -uphill[0]])
        xy = coordinates(trees)
        height = trees.assign(up=xy @ uphill).groupby("row")["up"].mean()
        assert (np.diff(height) > 0).all()
        for _, row in trees.groupby("row"):
            assert (np.diff(coordinates(row) @ right) > 0).all()
            assert row["position"].iloc[0] == 1


def test_a_broken_row_keeps_its_number_and_counts_its_gap():
    block = shapely.box(0, 0, 120, 60).difference(shapely.box(50, 10, 75, 60))  # a bay from the top
    line = shapely.LineString([(0, 25), (60, 31), (120, 25)])
    trees = generate_contour_rows(block, line, **SPACINGS, headland_m=3, uphill_bearing_deg=0)
    whole = generate_contour_rows(shapely.box(0, 0, 120, 60), line, **SPACINGS, headland_m=3, uphill_bearing_deg=0)
    assert sorted(trees["row"].unique()) == sorted(whole["row"].unique())
    merged = trees.merge(whole, on=["row", "position"], suffixes=("", "_whole"))
    assert len(merged) == len(trees) < len(whole)
    assert max(a.distance(b) for a, b in zip(merged.geometry, merged["geometry_whole"], strict=True)) < 1e-6


@settings(max_examples=30, deadline=None)
@given(
    bends=st.lists(st.floats(-15, 15), min_size=4, max_size=7), headland=st.floats(0, 8), turn=st.floats(0, 360)
)
def test_any_drawn_line_gives_rows_without_kinks_inside_the_headland(bends, headland, turn):
    block = shapely.affinity.rotate(shapely.box(-75, -60, 75, 60), turn, origin=(0, 0))
    x = np.linspace(-70, 70, len(bends))
    line = shapely.affinity.rotate(shapely.LineString(np.column_stack([x, bends])), turn, origin=(0, 0))
    trees = generate_contour_rows(block, line, **SPACINGS, headland_m=headland, uphill_bearing_deg=10)
    xy = coordinates(trees)
    assert shapely.contains_xy(block, xy).all()
    assert shapely.distance(shapely.points(xy), block.exterior).min() >= headland - 1e-6
    # nobody stands nearer to a neighbour than the chord of 5 m on the tightest bend (a radius of one row spacing)
    assert cKDTree(xy).query(xy, k=2)[0][:, 1].min() > 0.95 * 5
    assert not trees.duplicated(["row", "position"]).any()
    guide = contour._guide(line, block, 7)
    for number in range(-12, 13):
        curve = contour._rounded(contour._offset(guide, 7.0 * number), 7)
        if curve.is_empty:
            continue
        assert curve.is_simple
        step = np.diff(shapely.get_coordinates(curve), axis=0)
        heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
        assert np.degrees(np.abs(np.diff(heading))).max(initial=0) < 10


@settings(max_examples=20, deadline=None)
@given(bends=st.lists(st.floats(-6, 6), min_size=3, max_size=5))
@example(bends=[1.0, 1.0, 0.0, 1.0, 1.0])  # the offset of this one lost its end
def test_rows_keep_their_distance_from_the_line(bends):
    # no published example: gentle bends, so no offset comes near a bend's radius and the rounding moves nothing by much
    x = np.linspace(-100, 100, len(bends))
    line = shapely.LineString(np.column_stack([x, bends]))
    trees = generate_contour_rows(shapely.box(-60, -40, 60, 40), line, **SPACINGS, headland_m=0, uphill_bearing_deg=0)
    away = shapely.distance(trees.geometry.to_numpy(), contour._guide(line, shapely.box(-60, -40, 60, 40), 7))
    assert np.abs(away / 7 - np.round(away / 7)).max() * 7 < 0.25
    assert shapely.hausdorff_distance(line, contour._guide(line, shapely.box(-60, -40, 60, 40), 7).intersection(
        shapely.box(-100, -40, 100, 40))) < 0.35


def test_fan_rows_open_evenly():
    # no published example: plane geometry of lines that share out the gap between two lines
    block = shapely.box(0, 0, 120, 80)
    low, high = shapely.LineString([(0, 10), (120, 10)]), shapely.LineString([(120, 62), (0, 38)])
    trees = generate_fan_rows(block, low, high, **SPACINGS, headland_m=4, uphill_bearing_deg=0)
    assert trees["row"].max() == 7  # 40 m apart half-way: six gaps of 6.7 m
    xy = coordinates(trees)
    height = (xy[:, 1] - 10) / (28 + xy[:, 0] * 24 / 120)
    assert height == pytest.approx((trees["row"].to_numpy() - 1) / 6, abs=1e-6)
    for _, row in trees.groupby("row"):
        assert np.hypot(*np.diff(coordinates(row), axis=0).T) == pytest.approx(np.full(len(row) - 1, 5.0))


def test_keeps_the_crs_and_passes_by_holes():
    block = shapely.box(0, 0, 100, 70).difference(shapely.Point(50, 35).buffer(12))
    line = shapely.LineString([(0, 30), (100, 36)])
    trees = generate_contour_rows(block, line, **SPACINGS, headland_m=2, uphill_bearing_deg=0, crs=7855)
    assert trees.crs.to_epsg() == 7855
    assert shapely.distance(trees.geometry.to_numpy(), shapely.Point(50, 35)).min() >= 13.9


def test_refusals_name_rule_and_remedy():
    block = shapely.box(0, 0, 100, 70)
    setting = {**SPACINGS, "headland_m": 3, "uphill_bearing_deg": 0}
    loop = shapely.LineString([(0, 0), (50, 50), (50, 0), (0, 50)])
    with pytest.raises(InputRefused, match="crosses itself: rows don't cross"):
        generate_contour_rows(block, loop, **setting)
    hook = shapely.LineString([(10, 10), (40, 60), (60, 60), (85, 5), (60, 20)])
    with pytest.raises(InputRefused, match="when its ends are drawn on: rows don't cross"):
        generate_contour_rows(block, hook, **setting)
    with pytest.raises(InputRefused, match="is a Point: it must be one line"):
        generate_contour_rows(block, shapely.Point(1, 1), **setting)
    with pytest.raises(InputRefused, match="Row spacing is 0 m: it must be over 0 m"):
        generate_contour_rows(block, shapely.LineString([(0, 1), (9, 1)]), **{**setting, "row_spacing_m": 0})
    with pytest.raises(InputRefused, match="no room for a tree"):
        generate_contour_rows(block, shapely.LineString([(0, 1), (9, 1)]), **{**setting, "headland_m": 60})
    with pytest.raises(InputRefused, match="over 2,000,000 places"):
        generate_contour_rows(block, shapely.LineString([(0, 1), (9, 1)]), **{**setting, "tree_spacing_m": 1e-4})
    cross = shapely.LineString([(0, 0), (100, 70)]), shapely.LineString([(0, 70), (100, 0)])
    with pytest.raises(InputRefused, match="the fan cross: rows don't cross"):
        generate_fan_rows(block, *cross, **setting)
