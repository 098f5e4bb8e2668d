"""Alley runs by physical sense: each side of each tree once, the litres of the area rate, nothing beside a bare row.

No published example of alley runs; the litres are checked against the area-rate formula of sprayer guides.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import alley_runs, litres_per_ha

ROW_M, TREE_M, FLOW, SPEED = 7.0, 5.0, 36.0, 4.0


def grove(rows=4, places=9, seed=0, wobble=0.0):
    """Lay an invented block on a plain grid, rows running east."""
    random = np.random.default_rng(seed)
    row, position = (grid.ravel() for grid in np.mgrid[1:rows + 1, 1:places + 1])
    xy = np.column_stack([(position - 1) * TREE_M, (row - 1) * ROW_M]) + random.normal(0, wobble or 1e-9, (len(row), 2))
    trees = gpd.GeoDataFrame({"tree": [f"{r}-{p}" for r, p in zip(row, position, strict=True)], "block": "Invented",
                              "row": row, "position": position},
                             geometry=gpd.points_from_xy(*xy.T), crs="EPSG:32755")
    blocks = pd.DataFrame({"block": ["Invented"], "row_spacing_m": ROW_M, "tree_spacing_m": TREE_M,
                           "row_bearing_deg": 90.0})
    return trees, blocks


def runs_of(names, trees, blocks, **changes):
    arguments = {"flow_l_per_min": FLOW, "speed_km_per_h": SPEED, **changes}
    return alley_runs(pd.DataFrame({"tree": list(names)}), trees, blocks, **arguments)


def test_a_whole_block_takes_the_litres_of_the_area_rate():
    # 600 x L/min / (km/h x m) on the ground of the trees: every tree from both sides is every alley with both sides
    # open, the two outer ones with one.
    trees, blocks = grove()
    found = runs_of(trees["tree"], trees, blocks)
    hectares = len(trees) * ROW_M * TREE_M / 10_000
    assert found["litres"].sum() == pytest.approx(float(litres_per_ha(FLOW, SPEED, ROW_M)) * hectares, rel=1e-6)
    assert found["side"].tolist() == ["upper", "both", "both", "both", "lower"]
    assert found["trees"].sum() == 2 * len(trees)


def test_beside_an_outer_row_the_outside_stays_off():
    trees, blocks = grove()
    found = runs_of([f"1-{p}" for p in range(1, 10)], trees, blocks)
    assert found[["alley", "side"]].to_numpy().tolist() == [[1, "upper"], [2, "lower"]]
    assert found["length_m"].tolist() == pytest.approx([9 * TREE_M] * 2)


def test_one_side_at_a_time_drives_an_alley_twice():
    trees, blocks = grove()
    both = runs_of(trees["tree"], trees, blocks)
    one = runs_of(trees["tree"], trees, blocks, blows="one_side")
    assert one["litres"].sum() == pytest.approx(both["litres"].sum())
    assert one["length_m"].sum() == pytest.approx(both["length_m"].sum() + 3 * 9 * TREE_M)
    assert set(one["side"]) == {"lower", "upper"}


@given(st.sets(st.integers(0, 35), max_size=36), st.integers(0, 3))
@settings(max_examples=25, deadline=None)
def test_every_side_of_every_treated_tree_and_no_other(chosen, seed):
    trees, blocks = grove(seed=seed, wobble=0.4)
    names = set(trees["tree"].iloc[sorted(chosen)])
    found = runs_of(names, trees, blocks)
    passed = dict.fromkeys(trees["tree"], 0)
    for run in found.itertuples():
        beside = {"lower": run.alley - 1, "upper": run.alley}
        rows = beside.values() if run.side == "both" else [beside[run.side]]
        for tree in trees[trees["row"].isin(list(rows))].itertuples():
            gap = run.geometry.distance(tree.geometry)
            # Beside the run, not beyond its end: the nearest point of the run is square to the tree.
            if gap < ROW_M * 0.75 and 0 < run.geometry.project(tree.geometry) < run.length_m:
                passed[tree.tree] += 1
    assert {name for name, times in passed.items() if times >= 2} >= names
    alone = {name for name in passed if name not in names}
    # Half a spacing beyond a treated tree is where its neighbour's half begins: a clean tree is never passed whole.
    assert all(passed[name] == 0 or _beside_treated(name, names) for name in alone)
    assert found["trees"].sum() >= 2 * len(names)


def _beside_treated(name, names):
    row, position = map(int, name.split("-"))
    return any(f"{row + r}-{position + p}" in names for r in (-2, -1, 0, 1, 2) for p in (-1, 0, 1))


def test_the_way_goes_to_and_fro():
    trees, blocks = grove()
    found = runs_of(trees["tree"], trees, blocks, start=(-10.0, -10.0))
    first = [line.coords[0] for line in found.geometry]
    assert [x < 15 for x, _ in first] == [True, False, True, False, True]
    assert found["from_position"].tolist() == [1, 9, 1, 9, 1]


def test_nothing_treated_nothing_driven():
    trees, blocks = grove()
    assert runs_of([], trees, blocks).empty


@pytest.mark.parametrize(("changes", "message"), [
    ({"flow_l_per_min": 0}, "Flow is 0 L/min"),
    ({"speed_km_per_h": 0}, "Travel speed is 0 km/h"),
    ({"blows": "up"}, "How the sprayer blows is 'up'"),
])
def test_what_can_not_be_is_refused(changes, message):
    trees, blocks = grove()
    with pytest.raises(InputRefused, match=message):
        runs_of(["1-1"], trees, blocks, **changes)
    with pytest.raises(InputRefused, match="Treated tree 'x' is not among the living trees"):
        runs_of(["x"], trees, blocks)
