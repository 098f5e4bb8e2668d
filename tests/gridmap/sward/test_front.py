"""The front: a published dose-response through the same code, general peers, truth that was simulated, refusals."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from gridmap.errors import InputMissing, InputRefused
from gridmap.sward import FrontModel

_spec = importlib.util.spec_from_file_location("hillsides", Path(__file__).with_name("hillsides.py"))
hillsides = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hillsides)
hillside = hillsides.hillside

# Bliss, C. I. (1935) The calculation of the dosage-mortality curve. Ann. Appl. Biol. 22:134-167 (beetles and carbon
# disulphide, mg/L); logit fit as printed with the data in a public R course (matstat.org): intercept -14.82300
# (standard error 1.28959), slope 0.24942 (0.02139).
DOSE = np.array([49.1, 53.0, 56.9, 60.8, 64.8, 68.7, 72.6, 76.5])
DEAD, BEETLES = np.array([6, 13, 18, 28, 52, 53, 61, 60]), np.array([59, 60, 62, 56, 63, 59, 62, 60])
INTERCEPT, SLOPE = -14.82300, 0.24942


@pytest.mark.parametrize("rising", [True, False])
def test_the_half_response_of_a_published_dose_table(rising):
    """Mortality crosses one half at -intercept / slope; survival, which falls, at the same dose."""
    share = DEAD / BEETLES
    model = FrontModel(level=0.5).fit(DOSE, np.full(8, 2025), share if rising else 1 - share, weight=BEETLES)
    assert model.front_m(2025) == pytest.approx(-INTERCEPT / SLOPE, abs=0.003)  # five digits printed of either
    assert model.falls_uphill_ is not rising
    assert abs(model._b) / model._scale_m == pytest.approx(SLOPE, abs=6e-6)
    level = FrontModel(level=0.2).fit(DOSE, np.full(8, 2025), share, weight=BEETLES)
    assert level.front_m(2025) == pytest.approx((np.log(0.2 / 0.8) - INTERCEPT) / SLOPE, abs=0.003)


def test_one_survey_has_a_front_but_no_advance():
    model = FrontModel().fit(DOSE, np.full(8, 2025), DEAD / BEETLES, weight=BEETLES)
    low, high = model.front_limits(2025)
    assert low < model.front_m(2025) < high
    assert np.isnan(model.advance_m_per_year_)
    assert "too few surveys" in model.notes_[0]
    with pytest.raises(InputMissing, match=r"[Tt]oo few surveys: 1"):
        model.advance_limits()
    with pytest.raises(InputMissing, match=r"[Tt]oo few surveys to tell the front of 2026"):
        model.front_m(2026)


def test_two_surveys_have_a_rate_but_no_limits():
    looks = hillside(1, years=(0.0, 4.0))
    model = FrontModel().fit(**looks)
    assert model.advance_m_per_year_ == pytest.approx(8.0, abs=5.0)
    with pytest.raises(InputMissing, match="Too few surveys: 2"):
        model.advance_limits()
    with pytest.raises(InputMissing, match="Too few surveys: 2"):
        model.front_limits(2020)


def test_without_rows_it_is_the_binomial_fit_of_a_general_library():
    """Peer: statsmodels' GLM, survey intercepts and one slope; every look at a place of its own, so no row effect."""
    import statsmodels.api as sm

    chance = np.random.default_rng(5)
    x, year = chance.uniform(0, 200, 150), np.repeat([2020.0, 2022.0, 2025.0], 50)
    hits = chance.binomial(25, 1 / (1 + np.exp((x - 60 - 9 * (year - 2020)) / 20)))
    design = np.column_stack([year == 2020, year == 2022, year == 2025, x]).astype(float)
    peer = sm.GLM(np.column_stack([hits, 25 - hits]), design, family=sm.families.Binomial()).fit(scale="X2")
    model = FrontModel(0.4, plateaus=(0, 1)).fit(x, year, hits / 25, weight=np.full(150, 25.0))
    front = (peer.params[:3] - np.log(0.4 / 0.6)) / -peer.params[3]
    np.testing.assert_allclose(model.surveys_["front_m"], front, rtol=1e-4)
    # Its scale is of shares of 25 points each
    assert model._fitted.dispersion == pytest.approx(25 * peer.scale, rel=1e-3)
    assert model.advance_m_per_year_ == pytest.approx(np.polyfit([2020, 2022, 2025], front, 1)[0], rel=1e-3)


def test_limits_of_the_advance_cover_the_truth_as_often_as_they_say():
    """Simulated truth (no published example): 200 hillsides, 2.4 binomial errors allowed; 1,000 in the bench."""
    inside = 0
    for seed in range(200):
        low, high = FrontModel().fit(**hillside(seed)).advance_limits(0.9)
        inside += low <= 8.0 <= high
    assert 0.85 <= inside / 200 <= 0.95


def test_limits_of_the_front_cover_the_truth():
    """Front of year 8 lies at 60 + 8 x 8 m when surveys and rows are taken at their mean."""
    inside = coming = 0
    for seed in range(80):
        looks = hillside(1000 + seed)
        model = FrontModel().fit(**looks)
        low, high = model.front_limits(2026.0)
        inside += low <= 124.0 <= high
        near, far = model.front_limits(2026.0, coming=True)
        coming += near < low and far > high
    # Rows are 40 a hillside, so their mean shifts the front; the lower bound is three binomial errors under 90 %
    assert inside / 80 >= 0.8
    assert coming == 80


def test_plateaus_are_found_and_their_neglect_would_mislead():
    """Cover that levels off at 10 and 85 %: the plain curve makes the front climb too slowly."""
    free, plain = [], []
    for seed in range(12):
        looks = hillside(seed, low=0.1, high=0.85, of_survey=0.05)
        free.append(FrontModel().fit(**looks))
        plain.append(FrontModel(plateaus=(0, 1)).fit(**looks).advance_m_per_year_)
    assert np.mean([model.plateaus_ for model in free], axis=0) == pytest.approx([0.1, 0.85], abs=0.03)
    # The advance of one hillside has a standard deviation of about 1 m
    advance = np.mean([model.advance_m_per_year_ for model in free])
    assert advance == pytest.approx(8.0, abs=0.9)
    assert np.mean(plain) < advance - 0.4


def test_blocks_under_more_grass_do_not_bend_the_slope():
    chance = np.random.default_rng(3)
    x = np.concatenate([np.linspace(0, 120, 20), np.linspace(100, 220, 20)])
    block = ["low"] * 20 + ["high"] * 20
    lift = np.where(np.array(block) == "high", 1.0, -1.0)
    years = np.repeat([2020.0, 2022.0, 2024.0, 2026.0], 40)
    eta = -(np.tile(x, 4) - 80 - 6 * (years - 2020)) / 15 + np.tile(lift, 4)
    hits = chance.binomial(60, 1 / (1 + np.exp(-eta)))
    model = FrontModel(plateaus=(0, 1)).fit(np.tile(x, 4), years, hits / 60, np.full(160, 60.0), block=block * 4)
    assert model.front_m(2026) == pytest.approx(116, abs=2.5)
    assert model.advance_m_per_year_ == pytest.approx(6, abs=0.8)


def test_the_answer_does_not_hang_on_the_origin_the_unit_of_weight_or_the_order():
    """Physical sense: metres from elsewhere, points counted by twos, looks in another order."""
    looks = hillside(2)
    model = FrontModel().fit(**looks)
    order = np.random.default_rng(0).permutation(len(looks["grass"]))
    other = FrontModel().fit(
        looks["upslope_m"][order] + 500, looks["year"][order], looks["grass"][order], looks["weight"][order],
        [looks["row"][i] for i in order],
    )
    assert other.front_m(2026) == pytest.approx(model.front_m(2026) + 500, abs=0.05)
    assert other.advance_limits() == pytest.approx(model.advance_limits(), abs=0.02)


def test_a_survey_without_grass_and_a_step_stay_finite():
    x = np.tile(np.arange(10.0, 110.0, 10.0), 3)
    year = np.repeat([2020.0, 2022.0, 2024.0], 10)
    cover = np.where(x < 20 * (year - 2020) + 5, 1.0, 0.0)
    model = FrontModel().fit(x, year, cover)
    assert np.isfinite(model.advance_m_per_year_)
    assert 0.0 <= model.front_m(2024) <= 110.0
    assert np.isfinite(model.advance_limits()).all()


def test_grass_that_goes_back_has_a_negative_advance():
    looks = hillside(4, advance=-6.0)
    model = FrontModel().fit(**looks)
    assert model.advance_limits()[1] < 0.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"grass": [0.1, 55.0]}, "Divide percent by 100"),
        ({"grass": [0.1, np.nan]}, "Grass holds nan at index 1"),
        ({"grass": [0.4, 0.4]}, "covers 40 % wherever"),
        ({"upslope_m": [10.0, 10.0]}, "Every look lies 10 m upslope"),
        ({"year": [2020.0]}, "Year has 1 entries"),
        ({"weight": [1.0, 0.0]}, "Weight is 0"),
    ],
)
def test_what_cannot_be_used_is_said(change, message):
    given = {"upslope_m": [10.0, 20.0], "year": [2020.0, 2020.0], "grass": [0.9, 0.1], **change}
    with pytest.raises(InputRefused, match=message):
        FrontModel().fit(**given)


@pytest.mark.parametrize("level", [0, 1, -0.2, 60, "much"])
def test_a_level_is_a_share(level):
    with pytest.raises(InputRefused, match=r"[Ll]evel that counts as grassed"):
        FrontModel(level)


def test_a_level_that_cover_never_reaches_is_said():
    model = FrontModel(0.95, plateaus=(0.1, 0.9)).fit(**hillside(3, low=0.1, high=0.9))
    assert any("levels off before" in note for note in model.notes_)
