"""Walking order. No published example."""

import numpy as np
import pandas as pd

from gridmap.treatment import walking_order


def test_blocks_by_nearness_and_rows_in_turns():
    runs = pd.DataFrame({"block": ["Far", "Near", "Near"], "row": [1, 1, 2], "from_position": 1})
    low, high = [[500, 0], [10, 0], [10, 8]], [[550, 0], [60, 0], [60, 8]]
    order, backwards = walking_order(runs, low, high, start=[0, 0])
    assert order.tolist() == [1, 2, 0]
    assert backwards.tolist() == [False, False, True]
    order, backwards = walking_order(runs, low, high, start=[600, 0])
    assert order.tolist() == [0, 1, 2]
    assert backwards.tolist() == [True, True, False]


def test_every_run_once_and_nothing_from_nothing():
    rng = np.random.default_rng(2)
    runs = pd.DataFrame({"block": rng.choice(list("ABC"), 40), "row": rng.integers(1, 9, 40),
                         "from_position": rng.permutation(40)})
    low = rng.random((40, 2)) * 100
    order, _ = walking_order(runs, low, low + np.array([10, 0]))
    assert sorted(order.tolist()) == list(range(40))
    order, backwards = walking_order(runs.iloc[:0], [], [])
    assert len(order) == len(backwards) == 0
