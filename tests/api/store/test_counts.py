"""A count is stored once, however often it is sent."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from api.store import Stored
from gridmap.errors import InputRefused, RowsRefused

BOTH_STORES = True

UUIDS = [f"00000000-0000-4000-8000-{number:012d}" for number in range(4)]


@pytest.fixture
def catch() -> pd.DataFrame:
    return pd.DataFrame(
        {"count": [UUIDS[0], UUIDS[0], UUIDS[2]], "group": ["spider", "ant", "lacewing"], "number": [2, 0, 1]}
    )


def test_counts_come_back_as_sent(grove, count_frame, catch):
    sent = count_frame(
        grove, UUIDS, wing_buds=["none", None, "some", "most"], accuracy_m=[3.5, np.nan, 2, 9], observer="Ann"
    )
    assert grove.add_counts(sent, catch) == Stored(new=4, already=0)
    back = grove.counts()
    assert back["count"].tolist() == UUIDS
    assert back["wing_buds"].fillna("missing").tolist() == ["none", "missing", "some", "most"]
    for column in ("walk", "tree", "taps", "nymphs", "adults", "reason", "observer"):
        assert back[column].tolist() == sent[column].tolist(), column
    assert back["time"].tolist() == [pd.Timestamp("2026-02-28T22:30:00.250Z")] * 4
    assert back["accuracy_m"].fillna(-1).tolist() == [3.5, -1, 2, 9]
    pd.testing.assert_frame_equal(
        grove.catch().sort_values(["count", "group"], ignore_index=True),
        catch.sort_values(["count", "group"], ignore_index=True),
        check_dtype=False,
    )
    assert len(grove.counts("no such walk")) == 0
    assert len(grove.catch(grove.walks()["walk"])) == 3


def test_sent_twice_is_stored_once(grove, count_frame, catch):
    sent = count_frame(grove, UUIDS)
    grove.add_counts(sent.head(3), catch)
    acts = len(grove.acts())
    assert grove.add_counts(sent, catch) == Stored(new=1, already=3)
    assert grove.add_counts(pd.concat([sent, sent]), catch) == Stored(new=0, already=4)
    assert len(grove.counts()) == 4
    assert len(grove.catch()) == 3
    assert len(grove.acts()) == acts + 1


def test_other_content_is_refused_both_shown_and_nothing_stored(grove, count_frame, catch):
    sent = count_frame(grove, UUIDS)
    grove.add_counts(sent.head(2), catch.head(2))
    changed = sent.assign(nymphs=[0, 7, 2, 3])
    with pytest.raises(RowsRefused, match="nymphs 1 is stored, 7 is given") as told:
        grove.add_counts(changed, catch)
    assert [line for line, _ in told.value.problems] == [3]
    assert len(grove.counts()) == 2
    with pytest.raises(RowsRefused, match="catch ant 0 spider 2 is stored, nothing is given"):
        grove.add_counts(sent)
    assert len(grove.counts()) == 2


def test_the_same_uuid_twice_in_one_table_with_other_content(grove, count_frame):
    sent = count_frame(grove, [UUIDS[0], UUIDS[0]])
    with pytest.raises(RowsRefused, match="is also on line 2"):
        grove.add_counts(sent)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"taps": 0}, "Taps is 0: it must be at least 1"),
        ({"taps": 2.5}, "Taps is 2.5: it must be a whole number"),
        ({"nymphs": -1}, "Nymphs is -1: it must be at least 0"),
        ({"nymphs": None, "adults": None}, "Neither nymphs nor adults were counted"),
        ({"wing_buds": "all"}, "Wing buds is 'all': it must be one of none, some, most"),
        ({"reason": "bored"}, "Reason is 'bored': it must be one of planned, extra, suspected"),
        ({"walk": "w"}, "There is no walk w"),
        ({"tree": "t"}, "There is no tree t"),
        ({"time": "yesterday"}, "Time is 'yesterday': it must be like 2026-03-01T09:30"),
        ({"time": "2026-03-01T09:30:00"}, "it must say its offset from UTC"),
        ({"count": "c"}, "Uuid is 'c'"),
    ],
)
def test_a_bad_line_is_told_and_nothing_is_stored(grove, count_frame, changed, said):
    sent = count_frame(grove, UUIDS)
    for column, value in changed.items():
        sent[column] = [value if line == 2 else was for line, was in enumerate(sent[column].tolist())]
    with pytest.raises(RowsRefused) as told:
        grove.add_counts(sent)
    assert [line for line, _ in told.value.problems] == [4]
    assert said in told.value.problems[0][1]
    assert len(grove.counts()) == 0


def test_a_missing_number_is_not_zero(grove, count_frame):
    grove.add_counts(count_frame(grove, UUIDS, adults=[0, np.nan, 1, 2]))
    assert grove.counts()["adults"].isna().tolist() == [False, True, False, False]
    assert grove.counts()["nymphs"].dtype == np.int64


def test_a_catch_without_its_count_is_refused(grove, count_frame, catch):
    with pytest.raises(InputRefused, match="every catch belongs to a count"):
        grove.add_counts(count_frame(grove, UUIDS[:1]), catch)


def test_a_walk_is_stored_once_and_keeps_its_day(grove):
    walk = grove.add_walk(date(2026, 4, 1), observer="Ann")
    assert grove.add_walk("2026-04-01", observer="Ann", walk=walk) == walk
    assert grove.walks()["date"].tolist() == [date(2026, 3, 1), date(2026, 4, 1)]
    with pytest.raises(InputRefused, match="observer Ann is stored, Bea is given"):
        grove.add_walk("2026-04-01", observer="Bea", walk=walk)
    with pytest.raises(InputRefused, match="Date of the walk is '1 April'"):
        grove.add_walk("1 April")
