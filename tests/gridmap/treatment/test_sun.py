"""The sun's height, rise and set against a published worked example and the calendar's own sense."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import sun_height_deg, sun_times

# Reda and Andreas (2003, revised 2008), Solar position algorithm, NREL/TP-560-34302, appendix A.5: 2003-10-17 12:30:30
# at -7 h, 105.1786 W, 39.742476 N: height without refraction 39.872046 degrees (topocentric), sunrise 06:12:43, sunset
# 17:20:19 (values from memory). Its sunset is that of the day before: it is told in the UT day, which the sun of
# the 17th leaves before it sets.
COLORADO = {"longitude": -105.1786, "latitude": 39.742476}


def test_height_of_nrel_s_example():
    # Ours has no parallax (0.002 degrees) and claims 0.01.
    assert sun_height_deg(["2003-10-17T12:30:30-07:00"], **COLORADO)[0] == pytest.approx(39.872, abs=0.01)


def test_rise_and_set_of_nrel_s_example():
    rise = sun_times(dt.date(2003, 10, 17), **COLORADO, time_zone="Etc/GMT+7").rise
    evening = sun_times(dt.date(2003, 10, 16), **COLORADO, time_zone="Etc/GMT+7").set
    assert abs(rise - pd.Timestamp("2003-10-17T06:12:43-07:00")) < pd.Timedelta(seconds=20)
    assert abs(evening - pd.Timestamp("2003-10-16T17:20:19-07:00")) < pd.Timedelta(seconds=20)


def test_day_and_night_are_about_alike_at_the_equinox():
    # Physical sense: twelve hours and a few minutes (the sun's width and refraction) everywhere.
    for latitude in (-60.0, -35.0, 0.0, 35.0, 60.0):
        times = sun_times(dt.date(2026, 3, 20), longitude=0.0, latitude=latitude, time_zone="UTC")
        assert pd.Timedelta(hours=12) < times.set - times.rise < pd.Timedelta(hours=12, minutes=20)


def test_summer_is_on_the_side_of_the_sun():
    north, south = (sun_times(dt.date(2026, 6, 21), longitude=0.0, latitude=latitude, time_zone="UTC")
                    for latitude in (38.0, -38.0))
    assert north.set - north.rise > pd.Timedelta(hours=14) > pd.Timedelta(hours=10) > south.set - south.rise


@given(st.floats(-180, 180), st.floats(-90, 90), st.integers(0, 20_000))
def test_the_sun_is_never_higher_than_its_place_allows(longitude, latitude, hours):
    # Physical sense: at most 90 degrees less the distance of the latitude from the sun's widest declination.
    height = sun_height_deg([pd.Timestamp("2025-01-01", tz="UTC") + pd.Timedelta(hours=hours)],
                            longitude=longitude, latitude=latitude)[0]
    assert abs(height) <= 90
    assert height <= 90 - max(abs(latitude) - 23.45, 0) + 0.02


def test_polar_night_has_neither():
    assert sun_times(dt.date(2026, 12, 21), longitude=20.0, latitude=75.0, time_zone="UTC") == (None, None)


def test_a_day_of_23_hours_has_its_sun():
    # Clocks go forward in Sydney on 4 October 2026: the day has 23 hours, and its sun still rises and sets in it.
    times = sun_times(dt.date(2026, 10, 4), longitude=150.0, latitude=-33.0, time_zone="Australia/Sydney")
    assert {times.rise.tz_convert("Australia/Sydney").date(), times.set.tz_convert("Australia/Sydney").date()} == {
        dt.date(2026, 10, 4)}


def test_no_times_no_heights():
    assert sun_height_deg([], longitude=0, latitude=0).shape == (0,)
    assert np.isfinite(sun_height_deg(["2026-01-01T00:00Z"], longitude=0, latitude=90)).all()


@pytest.mark.parametrize(("arguments", "message"), [
    ({"times": ["2026-11-03T07:00"], "longitude": 0, "latitude": 0}, "has no offset from UTC"),
    ({"times": [], "longitude": 190, "latitude": 0}, "Longitude is 190 degrees: it must be at most 180"),
    ({"times": [], "longitude": 0, "latitude": 99}, "Latitude is 99 degrees"),
])
def test_what_can_not_be_is_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        sun_height_deg(arguments.pop("times"), **arguments)
