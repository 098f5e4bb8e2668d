"""Degree-days against the values of a published test suite, numerical integration and observed days."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from gridmap.errors import InputRefused
from gridmap.treatment import days_to_develop, degree_days

# Values of the tests of R package TrenchR (tests 13, 16 to 19), L 12 and U 33 degC, the next morning as this one.
# Three of its pinned values contradict its own definition (single sine 35/40, double triangle 13/40 and 13/32) and
# are not used.
TRENCHR = [
    (7, 14, "single_triangle", 0.29), (7, 14, "single_sine", 0.47), (7, 14, "double_triangle", 0.29),
    (7, 14, "double_sine", 0.47), (7, 10, "single_triangle", 0), (7, 10, "single_sine", 0),
    (7, 10, "double_triangle", 0), (7, 10, "double_sine", 0), (13, 14, "single_triangle", 1.5),
    (13, 14, "single_sine", 1.5), (13, 14, "double_sine", 1.5), (7, 20, "double_triangle", 2.46),
    (7, 20, "double_sine", 2.87), (7, 40, "single_triangle", 11.14), (7, 40, "single_sine", 10.94),
    (7, 40, "double_triangle", 11.14), (7, 40, "double_sine", 10.94), (13, 40, "single_triangle", 13.59),
    (13, 40, "single_sine", 12.94), (13, 40, "double_sine", 12.94), (35, 40, "single_triangle", 21),
    (35, 40, "double_triangle", 21), (35, 40, "double_sine", 21),
]


@pytest.mark.parametrize(("low", "high", "method", "published"), TRENCHR)
def test_values_of_trenchr(low, high, method, published):
    assert degree_days(low, high, 12, 33, method, next_minimum_c=low) == pytest.approx(published, abs=0.005)


def test_simple_average_where_the_day_lies_over_the_threshold():
    # UC IPM, "Degree-days" (ipm.ucanr.edu/PMG/FIG/cit-t01.html): mean 64 degF, threshold 53 degF -> 11 degree-days F.
    assert degree_days((56 - 32) / 1.8, (72 - 32) / 1.8, (53 - 32) / 1.8) * 1.8 == pytest.approx(11, abs=1e-9)


@given(st.floats(-5, 25), st.floats(0.1, 25), st.floats(0, 20), st.floats(1, 20))
def test_sine_with_cut_off_is_the_integral(low, span, lower, more):
    # No published example needed: the definition, integrated by scipy (QUADPACK).
    middle, half, upper = low + span / 2, span / 2, lower + more

    def warmth(phase):
        return min(max(middle + half * np.sin(phase) - lower, 0.0), more)

    kinks = [k for t in (lower, upper) if abs(t - middle) < half
             for k in (np.arcsin((t - middle) / half),)]
    whole, _ = quad(warmth, -np.pi / 2, np.pi / 2, points=kinks or None, limit=200)
    assert degree_days(low, low + span, lower, upper) == pytest.approx(whole / np.pi, abs=1e-6)


@given(st.floats(-5, 25), st.floats(0.1, 25), st.floats(0, 20), st.floats(1, 20))
def test_triangle_with_cut_off_is_the_integral(low, span, lower, more):
    # No published example needed: the straight line's own integral by the trapezoid rule on a fine grid.
    line = np.clip(np.linspace(low, low + span, 20_001) - lower, 0, more)
    assert degree_days(low, low + span, lower, lower + more, "single_triangle") == pytest.approx(
        np.trapezoid(line, dx=1 / 20_000), abs=1e-4)


def test_double_methods_take_half_from_the_next_morning():
    # Definition in Zalom et al. (1983): half a day to each lowest. Inputs of its example (55, 90, 50, 82, 45 degF).
    for shape in ("sine", "triangle"):
        today, tomorrow = (degree_days(low, 82, 55, 90, f"single_{shape}") for low in (50, 45))
        assert degree_days(50, 82, 55, 90, f"double_{shape}", 45) == pytest.approx((today + tomorrow) / 2)


def test_days_of_the_azalea_lace_bug():
    # Lower 11.2 degC, 394 degree-days (OSU Extension EM 9066): observed about 22 days at 30 and 97 days at 15 degC; a
    # straight line is good to 8 %.
    assert days_to_develop(30, 11.2, 394) == pytest.approx(22, rel=0.08)
    assert days_to_develop(15, 11.2, 394) == pytest.approx(97, rel=0.08)


def test_a_season_of_the_open_weather_table(open_data):
    # No published total: sine and triangle are two shapes of one day and differ by a few percent over a season; both
    # are over the plain average method where days straddle the threshold.
    import pandas as pd

    table = pd.read_csv(open_data / "weather_cimis231_2018" / "cimis231.csv")
    sine, triangle = (float(np.nansum(degree_days(table["AirTmpMin"], table["AirTmpMax"], 11.2, 33, method)))
                      for method in ("single_sine", "single_triangle"))
    average = float(np.clip((table["AirTmpMin"] + table["AirTmpMax"]) / 2 - 11.2, 0, None).sum())
    assert average < triangle < sine < 1.3 * average


def test_unknown_days_stay_unknown():
    assert np.isnan(degree_days([np.nan, 7.0], [20.0, np.nan], 12)).all()


@pytest.mark.parametrize(("arguments", "message"), [
    ((20, 7, 12), "The day's highest is 7 degC and its lowest 20 degC"),
    ((7, 20, 12, 12), "Upper temperature is 12 degC: it must be over 12 degC"),
    ((7, 20, 12, 33, "single_square"), "Method is 'single_square': it must be one of"),
    ((7, 20, 12, 33, "double_sine"), "without the next day's lowest temperature"),
])
def test_what_can_not_be_is_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        degree_days(*arguments)
