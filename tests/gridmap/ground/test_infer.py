"""Rows found in surveyed positions: real orchard grids, simulated groves of known truth, trees without rows."""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.ground.contour import generate_contour_rows
from gridmap.ground.infer import fit_rows, infer_rows, number_uphill
from gridmap.ground.rows import generate_rows

sys.path.insert(0, str(Path(__file__).parent))
from simulated_groves import Recipe, scattered, score, simulate

FOOT_M = 0.3048


def rates(seeds: range, recipe: Recipe) -> dict[str, float]:
    """Pool the trees of many groves: shares in the right row and order; a refused grove counts as all wrong."""
    right, ordered, pairs, trees, refused, sure = 0, 0, 0, 0, 0, []
    for seed in seeds:
        grove = simulate(seed, recipe)
        trees += len(grove.xy)
        try:
            found = infer_rows(grove.xy)
        except InputRefused:
            refused += 1
            continue
        in_row, in_order, neighbours = score(grove, found)
        right, ordered, pairs = right + in_row, ordered + in_order, pairs + neighbours
        sure.append(float(found["sure"].mean()))
    return {"row": right / trees, "order": ordered / pairs, "refused": refused, "sure": float(np.mean(sure))}


def same_numbers(found: pd.Series, truth: np.ndarray) -> bool:
    """Tell whether two numberings are the same but for where they start and which way they count."""
    values = found.to_numpy()
    return len(set(values - truth)) == 1 or len(set(values + truth)) == 1


# --- real orchards ---


def test_apple_orchard(open_data):
    # Batchelor LD, Reed HS (1918) J Agric Res 12:245-283, as in the help page of agridat, batchelor.uniformity: trees
    # "16 feet apart, east and west, and 30 feet apart north and south"; 28 rows of 8.
    orchard = pd.read_csv(open_data / "batchelor_orchards" / "batchelor.apple.csv")
    fit = fit_rows(np.column_stack([orchard["col"] * 16 * FOOT_M, orchard["row"] * 30 * FOOT_M]))
    assert fit.bearing_deg == pytest.approx(90, abs=0.05)
    assert fit.row_spacing_m == pytest.approx(30 * FOOT_M, rel=1e-3)
    assert fit.tree_spacing_m == pytest.approx(16 * FOOT_M, rel=1e-3)
    assert fit.also_bearing_deg == ()
    assert same_numbers(fit.trees["row"], orchard["row"].to_numpy())
    assert same_numbers(fit.trees["position"], orchard["col"].to_numpy())


@pytest.mark.parametrize("hint", [None, 0, 90, 180, 100])
@pytest.mark.parametrize(
    ("file", "across", "along", "spacing_m", "trees"),
    [
        # The same source: 14 rows of lemons "extending north and south, with 26 trees in a row, planted 24 by 24 feet".
        ("batchelor_orchards/batchelor.lemon.csv", "col", "row", 24 * FOOT_M, 364),
        # Gottwald TR et al. (1996) Phytopathology 86:45-55, as in the R package epiphy: El Realengo, 5.5 x 5.5 m.
        ("citrus_orchards/citrus_ctv_El-Realengo.csv", "x", "y", 5.5, 400),
    ],
)
def test_square_orchards_either_way_and_told(open_data, hint, file, across, along, spacing_m, trees):
    orchard = pd.read_csv(open_data / file).drop_duplicates([across, along])
    assert len(orchard) == trees
    fit = fit_rows(orchard[[across, along]] * spacing_m, hint)
    assert len(fit.also_bearing_deg) == 1  # it says that another direction would do as well
    assert abs(fit.also_bearing_deg[0] - fit.bearing_deg) == pytest.approx(90, abs=0.1)
    northward = min(fit.bearing_deg, 180 - fit.bearing_deg) < 45
    if hint is not None:
        assert northward == (hint in (0, 180))
    assert fit.row_spacing_m == pytest.approx(spacing_m, rel=2e-3)
    assert fit.tree_spacing_m == pytest.approx(spacing_m, rel=2e-3)
    assert same_numbers(fit.trees["row"], orchard[across if northward else along].to_numpy())
    assert same_numbers(fit.trees["position"], orchard[along if northward else across].to_numpy())


@pytest.mark.parametrize("turned", [False, True])
def test_citrus_two_by_six(open_data, turned):
    # Gottwald TR et al. (1996), as above: IVIA 6 and 7, 216 trees at 2 x 6 m.
    orchard = pd.read_csv(open_data / "citrus_orchards" / "citrus_ctv_IVIA6and7.csv").drop_duplicates(["x", "y"])
    xy = orchard[["x", "y"]].to_numpy() * ([6.0, 2.0] if turned else [2.0, 6.0])
    fit = fit_rows(xy)
    assert len(orchard) == 216
    assert (fit.row_spacing_m, fit.tree_spacing_m) == pytest.approx((6, 2), rel=2e-3)
    assert same_numbers(fit.trees["row"], orchard["x" if turned else "y"].to_numpy())
    assert same_numbers(fit.trees["position"], orchard["y" if turned else "x"].to_numpy())


def test_a_hint_may_ask_for_rows_closer_than_their_trees(open_data):
    orchard = pd.read_csv(open_data / "citrus_orchards" / "citrus_ctv_IVIA6and7.csv").drop_duplicates(["x", "y"])
    fit = fit_rows(orchard[["x", "y"]].to_numpy() * [2.0, 6.0], bearing_hint_deg=0)
    assert (fit.row_spacing_m, fit.tree_spacing_m) == pytest.approx((2, 6), rel=2e-3)


# --- simulated groves (no published example: the targets are the project's own) ---


def test_one_metre_error_quick():
    result = rates(range(5000, 5025), Recipe(position_error_m=1.0))
    assert result["refused"] == 0
    assert result["row"] >= 0.995
    assert result["order"] >= 0.99


@pytest.mark.slow
def test_one_metre_error():
    result = rates(range(1000, 1250), Recipe(position_error_m=1.0))
    print("250 groves, 1 m:", result)
    assert result["refused"] == 0
    assert result["row"] >= 0.995
    assert result["order"] >= 0.99


@pytest.mark.slow
def test_two_metre_error():
    result = rates(range(1000, 1250), Recipe(position_error_m=2.0))
    print("250 groves, 2 m:", result)
    assert result["row"] >= 0.95  # groves that were refused counted as all wrong
    assert result["refused"] <= 0.03 * 250


@pytest.mark.slow
@pytest.mark.parametrize(
    "recipe",
    [
        Recipe(off_line=0.1, off_line_m=(1.0, 2.0)),
        Recipe(missing=0.3),
        Recipe(trees=(30, 100)),
        Recipe(bend_deg=(20, 20), arcs=1.0),
        Recipe(bend_deg=(10, 10), arcs=0.0),
        Recipe(tree_spacing_m=(1.5, 3), row_spacing_m=(4, 6), position_error_m=0.5),
    ],
    ids=[
        "more replants off the line", "three in ten missing", "small blocks", "arcs of 40 degrees", "an S of 10",
        "hedgerows",
    ],
)
def test_beyond_the_promise_at_one_metre(recipe):
    result = rates(range(3000, 3040), recipe)
    print(result)
    assert result["row"] >= 0.99
    assert result["order"] >= 0.99


@pytest.mark.slow
def test_sure_tells_what_it_says():
    # Row only, where the truth is a label: of the trees given a chance in a bin, about that share are right.
    chance, right = [], []
    for seed in range(2000, 2080):
        grove = simulate(seed, Recipe(position_error_m=2.0))
        try:
            found = fit_rows(grove.xy).trees
        except InputRefused:
            continue
        row = found["row"].to_numpy()
        votes = [np.unique(grove.row - way * row, return_counts=True) for way in (1, -1)]
        way, (shift, count) = max(zip((1, -1), votes, strict=True), key=lambda vote: vote[1][1].max())
        right.append(grove.row - way * row == shift[count.argmax()])
        chance.append(found["sure_row"].to_numpy())
    chance, right = np.concatenate(chance), np.concatenate(right)
    assert chance.mean() == pytest.approx(right.mean(), abs=0.02)
    for low, high in ((0.5, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1.01)):
        inside = (chance >= low) & (chance < high)
        print(low, inside.sum(), chance[inside].mean().round(3), right[inside].mean().round(3))
        assert right[inside].mean() == pytest.approx(chance[inside].mean(), abs=0.15)


def test_more_error_is_less_sure():
    means = [infer_rows(simulate(7, Recipe(position_error_m=error)).xy)["sure"].mean() for error in (0.2, 1.0, 2.0)]
    assert means[0] > means[1] > means[2]
    assert means[0] > 0.99


def test_a_tree_between_two_rows_is_not_sure():
    grid = [(5 * place, 7 * row) for row in range(8) for place in range(12) if (row, place) != (3, 5)]
    rows = infer_rows([*grid, (25, 24.4)])
    assert rows["sure"].iloc[-1] < 0.6
    assert rows["sure"].iloc[:-1].min() > 0.95


# --- trees without rows ---


def invented(sets: list[np.ndarray]) -> int:
    """Count the sets of scattered trees that rows were found in all the same."""
    count = len(sets)
    for xy in sets:
        try:
            infer_rows(xy)
        except InputRefused:
            count -= 1
    return count


def test_scattered_trees_are_told_why():
    with pytest.raises(InputRefused, match=r"in these 200 trees: near trees don't line up .* give a bearing hint"):
        infer_rows(scattered(3, 200))


@pytest.mark.parametrize("apart_m", [0.0, 3.5])
def test_scattered_trees_have_no_rows(apart_m):
    assert invented([scattered(seed, 120 + 15 * (seed - 100), apart_m) for seed in range(100, 115)]) == 0


@pytest.mark.slow
@pytest.mark.parametrize("apart_m", [0.0, 3.0, 4.0, 5.0])
def test_scattered_trees_rates(apart_m):
    # 5 m apart at one tree per 36 m2 is about as dense as darts can get: it looks planted, and is the hardest
    count = invented([scattered(20_000 + seed, 100 + int(1.5 * seed), apart_m) for seed in range(200)])
    print(apart_m, "m apart: rows invented in", count, "of 200")
    assert count <= 0.02 * 200


@pytest.mark.parametrize("number", [14, 20, 40, 70])
def test_few_scattered_trees_have_no_rows_either(number):
    assert invented([scattered(seed, number) for seed in range(700, 720)]) <= 1


def test_clumps_are_no_row():
    rng = np.random.default_rng(2)
    with pytest.raises(InputRefused, match="No rows were found"):
        infer_rows(np.vstack([rng.normal(0, 1, (20, 2)), rng.normal(500, 1, (20, 2))]))


def test_a_hint_off_the_rows_finds_none():
    grid = [(5 * place, 8 * row) for row in range(12) for place in range(20)]
    with pytest.raises(InputRefused, match="near a bearing of 45 degrees"):
        infer_rows(scattered(3, 200), bearing_hint_deg=45)
    assert infer_rows(grid, bearing_hint_deg=75).attrs["bearing_deg"] == pytest.approx(90, abs=0.1)


# --- shapes of blocks, numbers and index (no published example) ---


@pytest.mark.parametrize("rows", [1, 2, 3])
def test_few_rows(rows):
    rng = np.random.default_rng(rows)
    row, place = np.divmod(np.arange(rows * 40), 40)
    fit = fit_rows(np.column_stack([place * 5.0, row * 7.0]) + rng.normal(0, 0.5, (rows * 40, 2)))
    assert same_numbers(fit.trees["row"], row)
    assert fit.tree_spacing_m == pytest.approx(5, rel=0.01)
    assert np.isnan(fit.row_spacing_m) if rows == 1 else fit.row_spacing_m == pytest.approx(7, rel=0.05)


def test_staggered_triangles_keep_their_rows_though_trees_stand_further_apart():
    # no published example: in equal triangles rows are 0.866 of the tree spacing apart, and three ways serve as well
    row, place = np.divmod(np.arange(14 * 15), 15)
    fit = fit_rows(np.column_stack([6.0 * place + 3.0 * (row % 2), 6 * np.sqrt(0.75) * row]), bearing_hint_deg=90)
    assert fit.row_spacing_m == pytest.approx(6 * np.sqrt(0.75), rel=1e-3)
    assert len(fit.also_bearing_deg) == 2
    assert same_numbers(fit.trees["row"], row)


def test_two_lots_of_the_same_rows_with_a_road_between():
    row, place = np.divmod(np.arange(10 * 40), 40)
    road = (place > 15) & (place < 24)
    fit = fit_rows(np.column_stack([place * 5.0, row * 7.0])[~road])
    assert same_numbers(fit.trees["row"], row[~road])
    assert same_numbers(fit.trees["position"], place[~road])


@settings(max_examples=15, deadline=None)
@given(
    turn=st.floats(0, 360), east=st.floats(1e5, 9e5), north=st.floats(1e6, 9e6),
    gaps=st.sets(st.integers(0, 95), max_size=20),
)
def test_exact_grids_anywhere_any_way_round(turn, east, north, gaps):
    row, place = np.divmod(np.array([k for k in range(96) if k not in gaps]), 12)
    angle = np.radians(turn)
    away = np.column_stack([place * 5.0, row * 7.0])
    xy = away @ [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]] + [east, north]
    found = infer_rows(xy)
    assert same_numbers(found["row"], row)
    order = np.sign(np.diff(found["position"])[np.diff(row) == 0])
    for number in np.unique(row):
        here = row == number
        assert same_numbers(found["position"][here], place[here])  # a gap keeps its number
        assert found["position"][here].min() == 1
    assert len(set(order)) == 1  # all rows count the same way
    assert found["sure"].between(0.99, 1).all()


def test_order_of_the_trees_does_not_matter():
    grove = simulate(11)
    shuffle = np.random.default_rng(0).permutation(len(grove.xy))
    first, second = infer_rows(grove.xy), infer_rows(grove.xy[shuffle])
    pd.testing.assert_frame_equal(first.iloc[shuffle].reset_index(drop=True), second, check_exact=False, atol=1e-6)


def test_no_two_trees_share_a_place():
    for seed in range(6000, 6006):
        found = infer_rows(simulate(seed, Recipe(position_error_m=1.5)).xy)
        assert not found.duplicated(["row", "position"]).any()


def test_indexed_like_its_input():
    grid = np.array([(5.0 * place, 7.0 * row) for row in range(5) for place in range(8)])
    labels = pd.Index([f"t{k}" for k in range(40)])
    frame = pd.DataFrame(grid, columns=["east", "north"], index=labels)
    series = gpd.GeoSeries(gpd.points_from_xy(*grid.T), index=labels, crs=7855)
    for given_ in (frame, series, gpd.GeoDataFrame(geometry=series)):
        found = infer_rows(given_)
        assert found.index.equals(labels)
        assert list(found.columns) == ["row", "position", "sure"]
        assert found["row"].nunique() == 5
    assert set(found.attrs) == {"bearing_deg", "row_spacing_m", "tree_spacing_m", "also_bearing_deg"}


OUTLINE = shapely.Polygon([(0, 0), (95, 8), (120, 70), (60, 100), (10, 80)])


@pytest.mark.parametrize("uphill", [0, 77, 180, 300])
@pytest.mark.parametrize("bearing", [10, 85, 140])
def test_same_numbers_as_the_rows_that_were_planted(bearing, uphill):
    planted = generate_rows(
        OUTLINE, row_bearing_deg=bearing, row_spacing_m=7, tree_spacing_m=5, headland_m=3, uphill_bearing_deg=uphill
    )
    found = infer_rows(planted)
    numbered = number_uphill(found, found.attrs["bearing_deg"], uphill)
    assert numbered["row"].tolist() == planted["row"].tolist()
    assert numbered["position"].tolist() == planted["position"].tolist()


def test_contour_rows_are_found_again():
    line = shapely.LineString([(0, 40), (30, 46), (60, 47), (90, 43), (120, 34)])
    planted = generate_contour_rows(
        OUTLINE, line, row_spacing_m=7, tree_spacing_m=5, headland_m=3, uphill_bearing_deg=0
    )
    survey = shapely.get_coordinates(planted.geometry) + np.random.default_rng(4).normal(0, 0.7, (len(planted), 2))
    found = infer_rows(survey)
    assert number_uphill(found, found.attrs["bearing_deg"], 0)["row"].tolist() == planted["row"].tolist()


# --- refusals ---


def test_refusals_name_value_rule_and_remedy():
    with pytest.raises(InputRefused, match="There are 11 trees: rows can't be told from fewer than 12"):
        infer_rows(np.arange(22.0).reshape(11, 2))
    with pytest.raises(InputRefused, match="29 of 30 positions are there twice: each tree must have its own"):
        infer_rows(np.zeros((30, 2)))
    with pytest.raises(InputRefused, match="in degrees: rows are found in metres"):
        infer_rows(gpd.GeoSeries(gpd.points_from_xy([147.1] * 20, [-42.1] * 20), crs=4326))
    with pytest.raises(InputRefused, match="Bearing hint is 400 degrees"):
        infer_rows(scattered(1, 50), bearing_hint_deg=400)
    with pytest.raises(InputRefused, match="index 3: every coordinate must be finite"):
        infer_rows([(0, 0), (1, 0), (2, 0), (np.nan, 0)])
    with pytest.raises(InputRefused, match="no column 'position'"):
        number_uphill(pd.DataFrame({"row": [1]}), 0, 0)
