"""How far the work has come: every tree is done or left, once (no published example)."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import progress

TREES = pd.DataFrame({
    "tree": list("abcdefgh"), "run": [1, 1, 1, 2, 2, 2, 3, 3], "block": "Top", "row": [1, 1, 1, 2, 2, 2, 3, 3],
    "position": [1, 2, 4, 9, 8, 7, 1, 2], "litres": 5.0})

EVENT = st.one_of(
    st.builds(lambda run, litres: {"kind": "run", "run": run, "litres": litres}, st.integers(1, 3), st.floats(0, 50)),
    st.builds(lambda at: {"kind": "stop", "run": at[0], "position": at[1]},
              st.sampled_from([(1, 2), (1, 4), (2, 8), (3, 1)])),
    st.builds(lambda: {"kind": "resume"}),
)


@given(st.lists(EVENT, max_size=8))
def test_every_tree_is_done_or_left_and_work_only_grows(events):
    before = 0
    for upto in range(len(events) + 1):
        found = progress(TREES, events[:upto])
        assert sorted([*found.done["tree"], *found.left["tree"]]) == list("abcdefgh")
        assert len(found.done) >= before
        before = len(found.done)
    assert set(found.runs_done) | set(found.runs_left) <= {1, 2, 3}


def test_a_run_walked_backwards_is_counted_as_it_is_walked():
    found = progress(TREES, [{"kind": "stop", "run": 2, "position": 8, "reason": "rain"}])
    assert found.done["tree"].tolist() == ["d", "e"]
    assert found.stopped == "Stopped in run 2 at Top row 2 tree 8: rain."
    assert (found.runs_done, found.runs_left) == ((), (1, 3))


def test_litres_of_runs_come_before_those_of_loads():
    loads = [{"kind": "load", "mix_l": 40}, {"kind": "leftover", "litres": 4}, {"kind": "run", "run": 1}]
    assert progress(TREES, loads).litres == 36
    assert progress(TREES, loads).litres_per_tree == 12
    assert progress(TREES, [*loads, {"kind": "run", "run": 3, "litres": 9}]).litres == 9


def test_a_load_that_ends_at_a_tree_says_how_far_it_went():
    found = progress(TREES, [{"kind": "load", "mix_l": 10, "run": 1, "position": 2}])
    assert found.done["tree"].tolist() == ["a", "b"]


@pytest.mark.parametrize(("event", "message"), [
    ({"kind": "run", "run": 4}, "Run is 4: the zone has runs 1 to 3"),
    ({"kind": "run"}, "Run is None"),
    ({"kind": "stop", "run": 1, "position": 3}, "Tree is 3: run 1 has trees 1 to 4"),
    ({"kind": "run", "run": 1, "litres": -1}, "Litres of run 1 is -1 L"),
])
def test_what_can_not_be_is_refused(event, message):
    with pytest.raises(InputRefused, match=message):
        progress(TREES, [event])
