"""The verdict while walking: what Wald proved of stop lines, and what must hold of a simulated table."""

from __future__ import annotations

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.walk import VerdictTable, characteristic, stop_lines, table_of_lines, verdict_table
from gridmap.walk.verdict import GO_ON, OVER, STOPPED, UNDER

THRESHOLD = 5.0
# A way to and fro through 280 trees.
BLOCK = np.array([[6.0 * i, 7.0 * j] for j in range(14) for i in range(20)])
ROUTE = np.array([[12.0 * (i if j % 2 else 9 - i), 21.0 * j] for j in range(3) for i in range(1, 9)])


@pytest.fixture(scope="module")
def table():
    return verdict_table(ROUTE, BLOCK, block="Top", threshold_per_beat=THRESHOLD)


@pytest.fixture(scope="module")
def told(table):
    means = [0.5, 2.5, 5.0, 10.0, 20.0, 40.0]
    return characteristic({"ours": table}, ROUTE, BLOCK, means, seed=7).set_index("mean_per_beat")


def test_lines_are_wrong_no_oftener_than_wald_proved():
    """Wald 1947, section 3.2: with alike-free counts, errors are at most alpha / (1 - beta) and beta / (1 - alpha)."""
    long = np.column_stack([np.arange(200) * 5.0, np.zeros(200)])
    plan = table_of_lines(stop_lines(2, 4, 1, 0.1, 0.1), block="Top", threshold_per_beat=3, minimum=1, maximum=200)
    found = characteristic({"lines": plan}, long, long, [2, 4], alike=False, k=1.0, draws=3000)
    low, high = found.to_dict("records")
    assert low["chance_over"] <= 0.1 / 0.9 + 3 * low["se"]
    assert high["chance_under"] <= 0.1 / 0.9 + 3 * high["se"]
    assert low["chance_stopped"] + high["chance_stopped"] < 0.01
    # His expected numbers, 12.02 and 8.05, leave out what lies beyond a line when it is crossed: a single uneven count
    # reaches far, so the true ones are larger.
    assert 12.02 < low["mean_trees"] < 1.6 * 12.02
    assert 8.05 < high["mean_trees"] < 1.6 * 8.05


def test_where_trees_are_alike_the_classic_lines_promise_too_much():
    """Carleton, Heard and Silk 2013 (PLoS ONE 8:e82618): autocorrelation broke sequential plans."""
    plan = table_of_lines(stop_lines(3, 7, 0.8, 0.1, 0.1), block="Top", threshold_per_beat=5, minimum=6, maximum=24)
    alike, apart = (
        characteristic({"lines": plan}, ROUTE, BLOCK, [7], alike=alike, k=0.8)["chance_under"].iloc[0]
        for alike in (True, False)
    )
    assert alike > 1.5 * apart


def test_the_verdict_is_seldom_wrong_away_from_the_threshold(told):
    assert told.loc[0.5, "chance_over"] < 0.01
    assert told.loc[2.5, "chance_over"] < 0.1
    assert told.loc[10.0, "chance_under"] < 0.13
    assert told.loc[40.0, "chance_under"] < 0.03


def test_a_higher_mean_is_oftener_over_and_a_clear_one_is_told_sooner(told):
    assert told["chance_over"].is_monotonic_increasing
    assert told.loc[[0.5, 40.0], "mean_trees"].max() < 8.5
    assert told["mean_trees"].idxmax() == THRESHOLD


def test_bounds_rise_and_leave_room_between(table):
    assert (np.diff(table.under) >= 0).all()
    assert (np.diff(table.over) >= 0).all()
    assert (np.array(table.over) > np.array(table.under)).all()
    usual = THRESHOLD * np.arange(table.minimum, table.maximum + 1)
    assert (np.array(table.under) < usual).all()
    assert (np.array(table.over) > usual).all()


def test_the_same_seed_gives_the_same_table_and_another_nearly_so(table):
    assert verdict_table(ROUTE, BLOCK, block="Top", threshold_per_beat=THRESHOLD) == table
    other = verdict_table(ROUTE, BLOCK, block="Top", threshold_per_beat=THRESHOLD, seed=9)
    assert np.abs(np.array(other.under) - np.array(table.under)).max() <= 4
    assert np.abs(np.array(other.over) / np.array(table.over) - 1).max() < 0.12


def test_what_is_said_from_tree_to_tree(table):
    assert table.verdict(table.minimum - 1, 0) == GO_ON
    assert table.verdict(table.minimum, 0) == UNDER
    assert table.verdict(table.minimum, 10_000) == OVER
    between = (table.under[-1] + table.over[-1]) // 2
    assert table.verdict(table.maximum, between) == STOPPED
    assert table.verdict(table.maximum + 10, 10_000) == OVER
    assert table.trees_to_go(0, 0) is None
    assert table.trees_to_go(3, 0) == table.minimum - 3
    assert table.trees_to_go(table.minimum, 0) == 0


def test_few_trees_are_judged_at_the_last(table):
    few = verdict_table(ROUTE[:4], BLOCK, block="Low", threshold_per_beat=THRESHOLD, draws=2000)
    assert (few.minimum, few.maximum) == (4, 4)
    assert few.verdict(3, 0) == GO_ON
    assert len(few.as_json()["under"]) == 1


def test_what_makes_no_table(table):
    with pytest.raises(InputRefused, match="No tree is to be beaten"):
        verdict_table([], BLOCK, block="Top", threshold_per_beat=5)
    with pytest.raises(InputRefused, match="Action threshold is 0"):
        verdict_table(ROUTE, BLOCK, block="Top", threshold_per_beat=0)
    with pytest.raises(InputRefused, match="goes to 24 trees"):
        characteristic({"ours": table}, ROUTE[:10], BLOCK, [5])
    with pytest.raises(InputRefused, match="goes from 5 to 4 trees"):
        VerdictTable(block="Top", threshold_per_beat=5, minimum=5, maximum=4, under=(), over=())
