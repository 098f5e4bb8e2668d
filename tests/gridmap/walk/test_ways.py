"""Distances on foot: worked out by hand on a lattice (no published example), and what must hold of any of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from gridmap.errors import InputRefused
from gridmap.walk import walking_m


def at(trees, row, position, block="A"):
    found = (trees["block"] == block) & (trees["row"] == row) & (trees["position"] == position)
    return int(np.flatnonzero(found)[0])


def metres(trees, a, b, **more):
    return walking_m(trees, [a, b], **more)[0, 1]


def test_along_a_row_and_across_an_alley(one_block):
    assert metres(one_block, at(one_block, 2, 2), at(one_block, 2, 7)) == pytest.approx(25)
    assert metres(one_block, at(one_block, 2, 5), at(one_block, 3, 5)) == pytest.approx(7)
    # Slanting over one place: the straight way lies in the alley.
    assert metres(one_block, at(one_block, 2, 5), at(one_block, 3, 6)) == pytest.approx(np.hypot(5, 7))


def test_through_a_row_or_round_its_end(one_block):
    inside = at(one_block, 2, 6), at(one_block, 4, 6)
    # Two alleys and one row between: 14 m and the price, or 5 places out and 5 back.
    assert metres(one_block, *inside, cross_row_m=10) == pytest.approx(24)
    # The first and the last slanting step of the way round save a little of 25 + 14 + 25 m.
    far = metres(one_block, *inside, cross_row_m=1000)
    assert 50 < far < 25 + 14 + 25 + 1e-9
    near_the_end = at(one_block, 2, 2), at(one_block, 4, 2)
    assert metres(one_block, *near_the_end, cross_row_m=1000) < 24


def test_from_the_gate_and_between_blocks(three_blocks):
    a, b = at(three_blocks, 1, 20, "A"), at(three_blocks, 1, 1, "B")
    D = walking_m(three_blocks, [a, b], gate_xy=(95, -40))
    assert D[1, 2] == pytest.approx(130 - 95)
    assert D[0, 1] == pytest.approx(40)
    assert D[0, 2] == pytest.approx(np.hypot(35, 40))


def test_a_lone_row_and_a_lone_tree(one_block):
    row = one_block[one_block["row"] == 3].reset_index(drop=True)
    assert metres(row, 0, 10) == pytest.approx(50)
    assert walking_m(row.iloc[:1], [0], gate_xy=(0, 0)) == pytest.approx(np.array([[0, 14], [14, 0]]), abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), price=st.floats(0, 60))
def test_what_holds_of_any_way(three_blocks, seed, price):
    trees = three_blocks
    chosen = np.random.default_rng(seed).choice(len(trees), 9, replace=False)
    D = walking_m(trees, chosen, gate_xy=(-20, -20), cross_row_m=price)
    place = np.vstack([[-20, -20], np.column_stack([trees.geometry.x, trees.geometry.y])[chosen]])
    assert np.allclose(D, D.T)
    assert (cdist(place, place) - 1e-6 <= D).all()
    dearer = walking_m(trees, chosen, gate_xy=(-20, -20), cross_row_m=price + 20)
    assert (dearer >= D - 1e-6).all()


def test_a_price_under_nothing_is_refused(one_block):
    with pytest.raises(InputRefused, match="Crossing a row is -1 m"):
        walking_m(one_block, [0, 1], cross_row_m=-1)
