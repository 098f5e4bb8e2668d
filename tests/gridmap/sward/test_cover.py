"""Cover in one form: Daubenmire's midpoints, shares that sum to 1, errors, and what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused, RowsRefused
from gridmap.sward import METHODS, measured_cover, part_inside, row_cover, wilson_limits
from gridmap.sward.cover import DAUBENMIRE, PARTS, _midpoints


def test_daubenmire_midpoints():
    """Daubenmire (1959) as quoted by a Colorado mined-land file (762608, p. 15): 2.5, 15, 37.5, 62.5, 85, 97.5 %."""
    assert _midpoints(np.array([1, 2, 3, 4, 5, 6])).tolist() == [2.5, 15.0, 37.5, 62.5, 85.0, 97.5]
    # Own arithmetic on those midpoints: no published worked table was found
    assert _midpoints(np.array([1, 1, 2, 3, 6])).mean() == pytest.approx(31.0)
    assert list(DAUBENMIRE.values())[:2] == [(0.0, 5.0), (5.0, 25.0)]


def test_ground_cover_counts_litter_and_rock_and_grass_cover_does_not():
    """Ground cover is live and dead plant, litter, rock: what protects the soil (usual definition of the surveys)."""
    looks = pd.DataFrame({"grass": [20], "dead_grass": [10], "litter": [40], "rock": [25], "bare": [5]})
    found = measured_cover(looks, "percent").iloc[0]
    assert found["grass_cover"] == pytest.approx(0.30)
    assert found["ground_cover"] == pytest.approx(0.95)
    assert found["method"] == "percent"


def test_hits_have_the_error_of_wilsons_limits():
    """The error is that of Wilson's limits at one standard error (z = 1), Newcombe's method 3."""
    found = measured_cover(pd.DataFrame({"grass": [15, 0], "bare": [5, 20]}), "points")
    low, high = wilson_limits([15, 0], [20, 20], 0.6827)
    np.testing.assert_allclose(found["standard_error"], (high - low) / 2, rtol=1e-3)
    assert found["weight"].tolist() == [20, 20]


def test_bare_is_the_rest_of_percent():
    assert measured_cover(pd.DataFrame({"grass": [30.0], "litter": [20.0]}), "percent")["bare"].tolist() == [0.5]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.integers(0, 6), min_size=5, max_size=5).filter(any), min_size=1, max_size=5))
def test_shares_sum_to_one(classes):
    """No published example: parts of the floor are the floor."""
    looks = pd.DataFrame(classes, columns=list(PARTS))
    for method in ("daubenmire", "points"):
        found = measured_cover(looks, method)
        np.testing.assert_allclose(found[list(PARTS)].sum(axis=1), 1.0)
        assert found["standard_error"].between(0, 0.6).all()
        assert (found["weight"] > 0).all()
    assert set(found["method"]) <= set(METHODS)


@pytest.mark.parametrize(
    ("method", "look", "message"),
    [
        ("percent", {"grass": 70, "bare": 50}, "sum to 120 %"),
        ("percent", {"grass": -5, "bare": 105}, "a part is -5"),
        ("points", {"grass": 1.5, "bare": 3}, "whole numbers"),
        ("points", {"grass": 0, "bare": 0}, "nothing was noted"),
        ("daubenmire", {"grass": 7, "bare": 1}, "1 to 6"),
        ("daubenmire", {"grass": 2.5, "bare": 1}, "1 to 6"),
    ],
)
def test_what_cannot_be_is_told_by_line(method, look, message):
    looks = pd.DataFrame([{"grass": 4, "bare": 96 if method == "percent" else 4}, look])
    with pytest.raises(RowsRefused, match=message) as refused:
        measured_cover(looks, method)
    assert [line for line, _ in refused.value.problems] == [1]


def test_a_look_tells_a_part_and_a_known_method():
    with pytest.raises(InputRefused, match="No part of the floor"):
        measured_cover(pd.DataFrame({"moss": [1]}), "points")
    with pytest.raises(InputRefused, match="Method is 'guess'"):
        measured_cover(pd.DataFrame({"grass": [1]}), "guess")


def test_an_edge_tells_grass_alone():
    found = part_inside(np.array([0.6, 1.0]), np.array([0.7, 1.0]), np.array([0.5, 1.0]), method="edge")
    assert found["ground_cover"].isna().all()
    assert found["standard_error"].tolist() == pytest.approx([0.1, 0.02])


def cover_of(grass: list[float], **more: object) -> pd.DataFrame:
    looks = pd.DataFrame({"grass": grass, "bare": [20 - hits for hits in grass]})
    found = measured_cover(looks, "points")
    return found.assign(survey="s", date="2025-09-06", block="A", row=1, upslope_m=4.0, **more)


def test_a_row_is_the_mean_of_its_looks_and_knows_more_than_each():
    """Twenty hits and twenty more are forty: the pooled binomial error."""
    rows = row_cover(cover_of([10, 14]))
    assert rows["grass_cover"].tolist() == pytest.approx([24 / 40])
    assert rows["weight"].tolist() == [40]
    assert rows["standard_error"].iloc[0] == pytest.approx(np.sqrt(0.6 * 0.4 / 40), rel=0.05)
    assert rows["low_90"].iloc[0] < 0.6 < rows["high_90"].iloc[0]


def test_looks_that_differ_by_more_than_chance_widen_the_row():
    assert row_cover(cover_of([0, 20, 0, 20]))["standard_error"].iloc[0] > 0.25


def test_methods_that_cannot_tell_litter_do_not_dilute_it():
    both = pd.concat([
        cover_of([10]),
        part_inside(np.array([0.5]), np.array([0.5]), np.array([0.5]), method="edge").assign(
            survey="s", date="2025-09-06", block="A", row=1, upslope_m=4.0),
    ])
    assert row_cover(both)["ground_cover"].iloc[0] == pytest.approx(0.5)
    assert len(row_cover(both.iloc[:0])) == 0
