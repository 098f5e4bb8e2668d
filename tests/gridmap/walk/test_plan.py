"""The plan of a walk: spread over every block, never the same trees only, the open ones first. No published example."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from gridmap.errors import InputMissing, InputRefused
from gridmap.walk import Pace, PlanSettings, on_edge, plan_walk, walking_m


def open_about(trees, name, radius_m=20.0):
    """Return a last round that was sure of all but the trees about one."""
    xy = np.column_stack([trees.geometry.x, trees.geometry.y])
    far = cdist(xy, xy[trees["tree"] == name])[:, 0]
    chance = np.where(far < radius_m, 0.25, 0.01)
    return pd.DataFrame({"tree": trees["tree"], "chance_over": chance, "informed": 0.4})


@pytest.fixture
def unordered(monkeypatch):
    """Which trees, without the time that the way round takes."""
    monkeypatch.setattr("gridmap.walk.plan.shortest_round", lambda D, *, seed: np.arange(len(D)))


@settings(max_examples=12, deadline=None)
@given(n=st.integers(3, 70), seed=st.integers(0, 10**6), seen=st.booleans())
def test_every_block_is_walked_and_no_tree_twice(three_blocks, n, seed, seen):
    previous = open_about(three_blocks, "tree 105") if seen else None
    walk = plan_walk(three_blocks, n, seed=seed, previous=previous, gate_xy=(0, -20))
    assert len(walk) == n == walk["tree"].nunique()
    assert walk["order"].tolist() == list(range(1, n + 1))
    beaten = walk["block"].value_counts()
    assert set(beaten.index) == {"A", "B", "C"}
    assert beaten.min() >= min(3, n // 3)


def test_same_seed_same_walk_another_seed_other_trees(three_blocks, unordered):
    walks = [set(plan_walk(three_blocks, 30, seed=seed)["tree"]) for seed in (4, 4, 5, 6)]
    assert walks[0] == walks[1]
    assert all(len(walks[0] & other) < 15 for other in walks[2:])


def test_no_tree_is_always_left_out(three_blocks, unordered):
    often = pd.concat([plan_walk(three_blocks, 60, seed=seed)["tree"] for seed in range(45)]).nunique()
    assert often > 0.97 * len(three_blocks)


def test_legs_are_the_way_on_foot(three_blocks):
    gate = (0.0, -20.0)
    walk = plan_walk(three_blocks, 12, gate_xy=gate)
    rows = three_blocks.index.get_indexer(walk.index)
    D = walking_m(three_blocks, rows, gate_xy=gate)
    assert walk["leg_m"].tolist() == pytest.approx([D[k, k + 1] for k in range(12)])
    assert walk.attrs["back_m"] == pytest.approx(D[12, 0])
    assert walk.attrs["length_m"] == pytest.approx(walk["leg_m"].sum() + D[12, 0])


def test_without_a_gate_the_walk_starts_at_a_tree(three_blocks):
    walk = plan_walk(three_blocks, 12)
    assert walk["leg_m"].iloc[0] == 0.0
    assert walk.attrs["back_m"] == 0.0


def test_edges_are_walked_as_often_as_said(three_blocks, unordered):
    block = three_blocks[three_blocks["block"] == "A"].reset_index(drop=True)
    edge = on_edge(block)
    assert edge.sum() == 2 * 20 + 2 * 10
    for weight in (1.0, 3.0):
        setting = PlanSettings(edge_weight=weight)
        seen = [plan_walk(block, 24, seed=seed, settings=setting)["edge"].mean() for seed in range(25)]
        expected = weight * edge.sum() / (weight * edge.sum() + (~edge).sum())
        assert np.mean(seen) == pytest.approx(expected, abs=0.03)


def test_trees_that_were_left_open_come_first(three_blocks, unordered):
    name = three_blocks.loc[(three_blocks["block"] == "A") & (three_blocks["row"] == 6), "tree"].iloc[9]
    previous = open_about(three_blocks, name)
    walk = plan_walk(three_blocks, 30, previous=previous)
    first = walk[walk["chosen"] == "uncertain"]
    assert 1 <= len(first) <= 12
    chance = previous.set_index("tree")["chance_over"]
    assert (chance[first["tree"]] == 0.25).all()
    others = [set(plan_walk(three_blocks, 30, seed=seed, previous=previous)["tree"]) & set(first["tree"])
              for seed in range(1, 6)]
    assert min(len(same) for same in others) < len(first)


def test_a_round_that_knew_nothing_changes_nothing(three_blocks):
    unknown = pd.DataFrame({"tree": three_blocks["tree"], "chance_over": np.nan, "informed": 0.0})
    walk = plan_walk(three_blocks, 20, previous=unknown)
    assert (walk["chosen"] == "spread").all()
    assert walk["tree"].tolist() == plan_walk(three_blocks, 20)["tree"].tolist()


def test_minutes_become_trees_by_the_pace(three_blocks):
    assert len(plan_walk(three_blocks, minutes=60)) == 50
    slow = plan_walk(three_blocks, minutes=60, pace=Pace(3.0, 40))
    assert len(slow) == 20
    assert slow.attrs["minutes"] == pytest.approx(60)


def test_a_small_grove_is_walked_whole(three_blocks):
    few = three_blocks.iloc[:5]
    assert set(plan_walk(few, 40)["tree"]) == set(few["tree"])


def test_what_makes_no_walk(three_blocks):
    with pytest.raises(InputMissing, match="how many trees"):
        plan_walk(three_blocks)
    with pytest.raises(InputRefused, match="both given"):
        plan_walk(three_blocks, 10, minutes=10)
    with pytest.raises(InputRefused, match="2 trees are to be beaten in 3 blocks"):
        plan_walk(three_blocks, 2)
    for n, message in ((0, "is 0"), (2.5, "must be whole"), (501, "at most 500")):
        with pytest.raises(InputRefused, match=message):
            plan_walk(three_blocks, n)
    with pytest.raises(InputRefused, match="no column 'row'"):
        plan_walk(three_blocks.drop(columns="row"), 10)
    with pytest.raises(InputRefused, match="Weight of edge trees is 0"):
        PlanSettings(edge_weight=0)
