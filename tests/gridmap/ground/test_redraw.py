"""Rows carried on into new ground, and numbers that stay once a block was counted. No published example.

The yardstick is `generate_rows`: a block laid anew over the whole ground has the same places.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputMissing, InputRefused
from gridmap.ground import bearing_of_rows, extend_rows, generate_rows, renumber_rows

FACTS = {"row_bearing_deg": 90, "row_spacing_m": 7, "tree_spacing_m": 5, "headland_m": 3, "uphill_bearing_deg": 0}
OLD = shapely.box(0, 0, 51, 34)
EDGE = st.sampled_from([-18.0, -11.0, 0.0, 8.0])


def block() -> gpd.GeoDataFrame:
    return generate_rows(OLD, **FACTS)


def at(frame: gpd.GeoDataFrame) -> set[tuple[float, float]]:
    return {(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in shapely.get_coordinates(frame.geometry.to_numpy())}


@settings(max_examples=40, deadline=None)
@given(EDGE, EDGE, EDGE, EDGE, st.booleans(), st.integers(0, 359))
def test_new_ground_gets_the_places_of_the_same_grid_and_no_label_twice(west, south, east, north, counted, turn):
    trees = block()
    new = shapely.box(west, south, 51 - east, 34 - north)
    centre = shapely.Point(20, 15)
    turned = trees.set_geometry(trees.geometry.rotate(turn, origin=centre))
    found = extend_rows(
        turned,
        old=shapely.affinity.rotate(OLD, turn, origin=centre),
        new=shapely.affinity.rotate(new, turn, origin=centre),
        counted=counted,
        headland_m=3,
    )
    back = found.new.set_geometry(found.new.geometry.rotate(-turn, origin=centre))
    grid = {(3.0 + 5 * i, 3.0 + 7 * j) for i in range(-8, 20) for j in range(-8, 20)}
    ground, planted = new.buffer(-3 + 1e-6, join_style="mitre"), OLD.buffer(-3 + 1e-6, join_style="mitre")
    assert at(back) == {
        place for place in grid if ground.covers(shapely.Point(place)) and not planted.covers(shapely.Point(place))
    }
    labels = [*zip(found.row, found.position, strict=True), *zip(found.new["row"], found.new["position"], strict=True)]
    assert len(labels) == len(set(labels))
    assert min(min(label) for label in labels) == 1
    if counted:
        assert (found.row == trees["row"]).all()
        assert (found.position == trees["position"]).all()
    else:
        xy = np.vstack([shapely.get_coordinates(frame.geometry.to_numpy()) for frame in (trees, back)])
        for axis, number in ((1, 0), (0, 1)):
            order = np.argsort(xy[:, axis], kind="stable")
            numbers = np.array(labels)[order, number]
            if axis == 1:
                assert (np.diff(numbers) >= 0).all()
        rows = np.array(labels)[:, 0]
        for row in np.unique(rows):
            part = rows == row
            step = np.polyfit(xy[part, 0], np.array(labels)[part, 1], 1)[0] if part.sum() > 1 else 0.2
            assert step == pytest.approx(0.2)  # one position every 5 m


def test_positions_of_a_row_follow_each_other_on_the_ground_once_counted():
    found = extend_rows(block(), old=OLD, new=shapely.box(-20, -14, 80, 48), counted=True, headland_m=3)
    trees = block()
    x = np.concatenate([trees.geometry.x, found.new.geometry.x])
    row, position = (np.concatenate([trees[name], found.new[name]]) for name in ("row", "position"))
    for number in np.unique(row):
        part = row == number
        order = np.argsort(x[part])
        assert (np.diff(position[part][order]) > 0).all()


def test_a_hole_that_was_left_out_stays_empty_and_one_that_is_given_up_gets_its_own_numbers():
    holed = OLD - shapely.box(15, 12, 31, 22)
    trees = generate_rows(holed, **FACTS)
    assert extend_rows(trees, old=holed, new=holed, counted=True, headland_m=3).new.empty
    found = extend_rows(trees, old=holed, new=OLD, counted=True, headland_m=3).new
    missing = at(block()) - at(trees)
    assert at(found) == missing
    labels = {
        (round(place.x, 3), round(place.y, 3)): label
        for place, *label in block()[["geometry", "row", "position"]].values.tolist()
    }
    for place, *label in found[["geometry", "row", "position"]].values.tolist():
        assert labels[(round(place.x, 3), round(place.y, 3))] == label


def test_surveyed_rows_are_carried_on_with_their_own_step_and_bend():
    rng = np.random.default_rng(1)
    s = np.arange(20) * 5.2
    curve = np.column_stack([s, 0.0012 * s**2])
    rows = [curve + np.array([0, 6.5 * number]) + rng.normal(0, 0.1, curve.shape) for number in range(6)]
    trees = gpd.GeoDataFrame(
        {"row": np.repeat(np.arange(1, 7), 20), "position": np.tile(np.arange(1, 21), 6)},
        geometry=gpd.points_from_xy(*np.vstack(rows).T),
    )
    old, new = shapely.box(-3, -5, 102, 50), shapely.box(-3, -5, 123, 50)
    found = extend_rows(trees, old=old, new=new, counted=True, headland_m=0).new
    ends = found[found["row"] <= 6]
    expected = 0.0012 * ends.geometry.x**2 + 6.5 * (ends["row"] - 1)
    assert set(ends["position"]) <= {21, 22, 23, 24}
    # A line through six places of y = a x^2 misses the fourth beyond by a h^2 (6.5^2 - 35 / 12) = 1.28 m, h the step
    assert np.abs(ends.geometry.y - expected).max() < 1.28 + 0.5


def test_rows_of_two_blocks_end_to_end_are_carried_on_by_the_nearer_piece():
    west = block()
    east = west.set_geometry(west.geometry.translate(50, 0)).assign(row=west["row"] + 5)
    trees = gpd.GeoDataFrame(np.concatenate([west, east]), columns=west.columns, geometry="geometry")
    found = extend_rows(
        trees, old=shapely.box(0, 0, 101, 34), new=shapely.box(0, 0, 111, 41), counted=True, headland_m=3
    ).new
    ends = found[found["row"] <= 10]
    assert set(ends["row"]) == {6, 7, 8, 9, 10}
    assert set(ends["position"]) == {11, 12}
    assert len(found[found["row"] > 10]) == 22


def test_what_one_row_does_not_show_must_be_told():
    row = gpd.GeoDataFrame({"row": [1, 1], "position": [1, 2]}, geometry=gpd.points_from_xy([5, 10], [5, 5]))
    with pytest.raises(InputMissing, match="The row spacing of the block is not known"):
        extend_rows(row, old=OLD, new=OLD, counted=True)
    with pytest.raises(InputRefused, match="The block has no place"):
        extend_rows(row.head(0), old=OLD, new=OLD, counted=True)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 359), st.integers(0, 359), st.integers(0, 1000))
def test_renumbering_is_what_generate_rows_would_have_counted(bearing, uphill, seed):
    facts = {**FACTS, "row_bearing_deg": bearing}
    trees = generate_rows(shapely.box(0, 0, 60, 60), **{**facts, "uphill_bearing_deg": uphill})
    xy = shapely.get_coordinates(trees.geometry.to_numpy())
    rng = np.random.default_rng(seed)
    shuffled = rng.permutation(trees["row"].max()) + 1
    mirrored = trees["position"].max() + 1 - trees["position"]
    found = renumber_rows(xy, shuffled[trees["row"] - 1], mirrored, uphill_bearing_deg=uphill, row_bearing_deg=bearing)
    assert (found["row"].to_numpy() == trees["row"].to_numpy()).all()
    assert (found["position"].to_numpy() == trees["position"].to_numpy()).all()
    assert (
        bearing_of_rows(xy, trees["row"].to_numpy(), trees["position"].to_numpy()) % 180
        == pytest.approx(bearing % 180, abs=1e-6)
        or bearing % 180 == 0
    )


def test_renumbering_refuses_what_it_can_not_know():
    with pytest.raises(InputMissing, match="direction of the rows"):
        renumber_rows([[0, 0], [0, 7]], [1, 2], [1, 1], uphill_bearing_deg=0)
    with pytest.raises(InputRefused, match="given twice"):
        renumber_rows([[0, 0], [0, 7]], [1, 1], [1, 1], uphill_bearing_deg=0)
    with pytest.raises(InputRefused, match="no whole number"):
        renumber_rows([[0, 0], [5, 0]], [1, 1], [1, 1.5], uphill_bearing_deg=0)
