"""When to slash: seed kept, weeds never waited for, days that speak against it, refuge rows, running grasses.

Months and groups are the reference table's, with its sources. No published trial of slashing native grass under olives
was found, so the verdicts are held by what they must never do.
"""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import data
from gridmap.errors import InputMissing, InputRefused, RowsRefused
from gridmap.sward import (
    against_slashing,
    part_readiness,
    refuge_rows,
    runner_growth,
    seed_readiness,
)

REFERENCE = json.loads(data.path("reference", "grasses.json").read_text("utf-8"))
GRASSES = pd.DataFrame(REFERENCE["grasses"])


def made(*lines: tuple[str, str, int, int]) -> pd.DataFrame:
    return pd.DataFrame(lines, columns=["part", "grass", "heads", "shed"]).assign(date="2026-01-12")


def test_ready_early_and_look_again():
    seed = seed_readiness(
        made(("A", "Poa sieberiana", 40, 38), ("B", "Poa sieberiana", 40, 17), ("C", "Poa sieberiana", 12, 9)),
        GRASSES, shed_enough=0.8)
    assert seed["verdict"].tolist() == ["ready", "early", "look at more"]
    assert seed["would_lose"].tolist() == pytest.approx([0.05, 0.575, 0.25])
    assert seed["more_heads"].tolist()[:2] == [0, 0]
    assert 10 <= seed["more_heads"].iloc[2] <= 60


def test_winter_and_summer_grasses_on_one_ground_are_mixed():
    looks = made(("A", "Rytidosperma", 40, 39), ("A", "Themeda triandra", 40, 2))
    seed = seed_readiness(looks, GRASSES, shed_enough=0.8)
    assert seed[["grass", "group"]].to_numpy().tolist() == [["Rytidosperma", "winter"], ["Themeda triandra", "summer"]]
    part = part_readiness(seed).iloc[0]
    assert part["verdict"] == "mixed"
    assert part["would_lose"] == pytest.approx(0.95)
    assert "every other row" in part["why"]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["", "some tussock", "Nassella trichotoma", "Nassella neesiana", "Hyparrhenia hirta",
                        "Eragrostis curvula", "Cenchrus clandestinus"]),
       st.integers(1, 60), st.floats(0, 1), st.floats(0.05, 1))
def test_an_unknown_or_declared_grass_is_never_waited_for(grass, heads, share, enough):
    """Whatever was seen on it, the word is never early or look at more."""
    seed = seed_readiness(made(("A", grass, heads, int(heads * share))), GRASSES, shed_enough=enough)
    assert seed["verdict"].tolist() == ["not to wait for"]
    assert np.isnan(seed["would_lose"].iloc[0])
    assert "wait" in part_readiness(seed)["verdict"].iloc[0]
    assert seed["why"].iloc[0]


def test_a_declared_weed_is_named_beside_the_native_grass():
    seed = seed_readiness(made(("A", "Poa sieberiana", 40, 10), ("A", "Nassella trichotoma", 10, 0)), GRASSES,
                          shed_enough=0.8)
    part = part_readiness(seed).iloc[0]
    assert part["verdict"] == "early"
    assert "declared weed is never left to seed" in part["why"]


def test_only_the_latest_check_counts():
    lines = made(("A", "Poa sieberiana", 40, 2), ("A", "Poa sieberiana", 40, 40))
    lines["date"] = ["2026-01-20", "2026-01-02"]
    assert seed_readiness(lines, GRASSES, shed_enough=0.8)["verdict"].tolist() == ["early"]


def test_the_grower_says_how_much_is_enough_and_checks_are_counts():
    with pytest.raises(InputMissing, match="your own number"):
        seed_readiness(made(("A", "", 3, 1)), GRASSES, shed_enough=None)
    with pytest.raises(RowsRefused, match="5 of 3 heads had shed"):
        seed_readiness(made(("A", "", 3, 5)), GRASSES, shed_enough=0.8)
    with pytest.raises(RowsRefused, match="heads looked at is 0"):
        seed_readiness(made(("A", "", 0, 0)), GRASSES, shed_enough=0.8)


def test_days_that_speak_against_it():
    said = {"fire_from": "11-15", "fire_to": "03-31", "nets_from": "04-20", "nets_to": "06-30",
            "flowering_from": "10-25", "flowering_to": "11-20", "snakes_from": "09-01", "snakes_to": "04-30",
            "stones": True}
    january, november, july = (against_slashing(dt.date(2026, month, 16), said) for month in (1, 11, 7))
    assert "fire period" in january[0]
    assert any("total fire ban" in text for text in january)
    assert any("in flower" in text for text in november)
    assert any("Snakes" in text for text in november)
    assert not any("fire period" in text or "Nets" in text for text in july)
    assert any("nets" in text for text in against_slashing(dt.date(2026, 5, 1), said))
    with pytest.raises(InputRefused, match="Day of the year is 'May'"):
        against_slashing(dt.date(2026, 5, 1), {"fire_from": "May", "fire_to": "06-01"})


def test_refuge_strips_change_places_each_time():
    rows = pd.DataFrame({"block": ["A"] * 5 + ["B"] * 3, "row": [1, 2, 3, 4, 5, 1, 2, 3]})
    first = refuge_rows(rows)
    left = [(block, row) for block, row, leave in first.itertuples(index=False) if leave]
    again = refuge_rows(rows, left_last_time=left)
    assert (first["leave"] ^ again["leave"]).all()
    for _, group in first.groupby("block"):
        assert (group["leave"].to_numpy()[1:] != group["leave"].to_numpy()[:-1]).all()


def test_running_grasses_grow_shrink_or_go():
    seen = pd.DataFrame([
        ("a", "2023-03-01", 10.0), ("a", "2025-03-01", 25.0), ("b", "2023-03-01", 10.0), ("b", "2025-03-01", 4.0),
        ("c", "2023-03-01", 10.0), ("c", "2025-03-01", 11.0), ("d", "2023-03-01", 10.0), ("d", "2025-03-01", 0.0),
    ], columns=["patch", "date", "area_m2"]).assign(grass="Cenchrus clandestinus")
    assert runner_growth(seen)["trend"].tolist() == ["growing", "shrinking", "as it was", "gone"]
    with pytest.raises(InputRefused, match="Area of a patch is -1"):
        runner_growth(seen.assign(area_m2=-1.0))


def test_the_reference_table_says_where_it_comes_from():
    assert {"read_on", "licence", "note"} <= set(REFERENCE)
    names = set(GRASSES["grass"])
    for grass in REFERENCE["grasses"]:
        assert grass["source"]
        assert grass["kind"] in ("native", "declared", "running")
        assert grass["kind"] != "native" or grass["group"] in REFERENCE["groups"]
        assert set(grass.get("looks_like", [])) <= names
        assert all(1 <= month <= 12 for month in grass.get("flowering_months", []))
    assert (GRASSES["kind"] == "declared").sum() >= 3
