"""The climb told whole: simulated hillsides, next rows only, and what is said when it can't be told."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from gridmap.errors import InputMissing, InputRefused
from gridmap.sward import SwardSettings, climb, decimal_year

_spec = importlib.util.spec_from_file_location("hillsides", Path(__file__).with_name("hillsides.py"))
hillsides = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hillsides)


def rows_of(seed: int = 1, **changed: object) -> pd.DataFrame:
    looks = pd.DataFrame(hillsides.hillside(seed, **changed))
    return pd.DataFrame({
        "survey": looks["year"].map("s{:.0f}".format), "date": looks["year"].map("{:.0f}-09-01".format), "block": "A",
        "row": looks["row"] + 1, "upslope_m": looks["upslope_m"], "grass_cover": looks["grass"],
        "weight": looks["weight"],
    })


def test_the_truth_lies_within_and_the_next_rows_come_in_their_order():
    told = climb(rows_of(), level=0.5)
    assert told.advance["low_90"] <= 8.0 <= told.advance["high_90"]
    assert len(told.surveys) == 6
    last = told.surveys.iloc[-1]
    assert last["low_90"] < last["front_m"] < last["high_90"]
    assert len(told.coming) <= 3
    assert (told.coming["upslope_m"] > told.model.front_m(2026.66)).all()
    known = told.coming.dropna()
    assert ((known["earliest"] <= known["year"]) & (known["year"] <= known["latest"])).all()
    assert told.trend.enough
    assert told.trend.slope > 0
    assert len(told.passed) == 40
    assert told.blocks["block"].tolist() == ["A"]


def test_two_surveys_are_too_few_for_limits_and_a_forecast():
    told = climb(rows_of(years=(0.0, 4.0)), level=0.5)
    assert np.isnan(told.advance["low_90"])
    assert told.surveys["low_90"].isna().all()
    assert len(told.coming) == 0
    assert any("too few surveys" in note for note in told.notes)
    assert not told.trend.enough


def test_one_survey_has_a_front_alone():
    told = climb(rows_of(years=(0.0,)), level=0.5)
    assert np.isnan(told.advance["m_per_year"])
    assert told.surveys["low_90"].notna().all()
    assert told.trend is None


def test_grass_everywhere_alike_has_no_front_and_says_so():
    told = climb(rows_of().assign(grass_cover=0.4), level=0.5)
    assert told.model is None
    assert "covers 40 % wherever" in told.notes[0]


def test_nothing_is_said_as_what_is_missing():
    rows = rows_of()
    with pytest.raises(InputMissing, match="There is no cover survey yet"):
        climb(rows.head(0), level=0.5)
    with pytest.raises(InputMissing, match="No row has its metres upslope"):
        climb(rows.assign(upslope_m=np.nan), level=0.5)


def test_a_day_is_part_of_its_year():
    assert decimal_year("2024-12-31") == pytest.approx(2024 + 365 / 366)
    assert decimal_year("2025-01-01") == 2025.0


def test_settings_are_the_growers_own_and_checked():
    assert SwardSettings().to_dict()["level"] is None
    assert SwardSettings.from_dict({"fire_from": "11-15", "stones": True}).fire_from == "11-15"
    for typed, message in (({"level": 60}, "Level is 60"), ({"fire_from": "15/11"}, "Fire from is '15/11'"),
                           ({"stones": "yes"}, "Stones is 'yes'"), ({"lawn": 1}, "no field 'lawn'")):
        with pytest.raises(InputRefused, match=message):
            SwardSettings.from_dict(typed)
