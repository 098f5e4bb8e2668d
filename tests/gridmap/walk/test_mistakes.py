"""What is asked about, and what is not. No published example: common practice, no source."""

from __future__ import annotations

import datetime as dt

import pytest

from gridmap.walk import Circumstances, choosable, questions

ODD = {
    "many": ({"nymphs": 10_000}, {}),
    "taps": ({"taps": 5}, {"standard_taps": 3}),
    "twice": ({"reason": "planned"}, {"counted_already": True}),
    "old": ({}, {"walk_date": dt.date(2026, 2, 10), "counted_on": dt.date(2026, 2, 3)}),
    "tree_gone": ({}, {"alive": False}),
    "far": ({"accuracy_m": 5}, {"far_m": 40.0}),
    "elsewhere": ({}, {"lies_in": "Low", "elsewhere": 2}),
}
PLAIN = {"taps": 3, "nymphs": 4, "adults": 0, "reason": "planned", "accuracy_m": 4.0, "catch": {"ant": 60}}


@pytest.mark.parametrize("code", ODD)
def test_each_oddity_is_asked_about_alone_and_in_words(code):
    count, at = ODD[code]
    asked = questions({**PLAIN, **count}, Circumstances(tree="Top row 3 tree 12", **at))
    assert [question.code for question in asked] == [code]
    assert "Top row 3 tree 12" in asked[0].words
    assert asked[0].words.endswith("?")


def test_a_usual_count_is_not_asked_about():
    at = Circumstances(standard_taps=3, walk_date=dt.date(2026, 2, 10), counted_on=dt.date(2026, 2, 11), far_m=12.0)
    assert questions(PLAIN, at) == []
    assert questions(PLAIN, Circumstances(lies_in="Low", elsewhere=1)) == []
    assert questions({**PLAIN, "reason": "extra"}, Circumstances(counted_already=True)) == []


def test_many_insects_of_any_kind():
    assert [asked.code for asked in questions({"catch": {"ant": 501}, "adults": 501}, Circumstances())] == ["many"] * 2


@pytest.mark.parametrize(("accuracy_m", "may"), [(3.4, True), (3.6, False), (None, False)])
def test_a_tree_is_chosen_silently_only_within_half_a_row(accuracy_m, may):
    assert choosable(accuracy_m, 7.0) is may
