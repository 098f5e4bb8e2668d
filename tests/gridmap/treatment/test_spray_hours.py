"""Hours judged: by what is written of limits, by physical sense, and never by a formula's error.

The limits are the dated ones of `WeatherLimits.usual`, each with its source there; the tests put values on either side.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import SprayPlace, WeatherLimits, judge_hours, stull_wet_bulb_c
from gridmap.treatment.spray_hours import CAREFUL, GOOD, NO, _drying

ZONE = "Australia/Sydney"
LIMITS, _ = WeatherLimits(rain_fast_hours=4).filled()


def place(**changes):
    return SprayPlace(**{"longitude": 150.0, "latitude": -33.0, "time_zone": ZONE, "flowering": "none", **changes})


def day(n=30, start="2026-11-03T00:00", **changes):
    """Return hours of a mild, dry day (invented), with some columns changed."""
    time = pd.date_range(start, periods=n, freq="h", tz=ZONE).tz_convert("UTC")
    table = {"time": time, "temperature_c": 20.0, "humidity_pct": 60.0, "wind_km_per_h": 8.0, "rain_mm": 0.0}
    table.update({name: pd.Series(value) if np.ndim(value) else value for name, value in changes.items()})
    return pd.DataFrame(table)


def at(found, hour):
    """Return the judgement of the first day's local hour."""
    local = pd.DatetimeIndex(found["time"]).tz_convert(ZONE)
    return found.iloc[int(np.flatnonzero(local.hour == hour)[0])]


def test_a_mild_morning_is_good():
    row = at(judge_hours(day(), LIMITS, place()), 9)
    assert (row["fit"], row["words"]) == (GOOD, "nothing against it")


@pytest.mark.parametrize(("changes", "lane", "state", "words"), [
    ({"wind_km_per_h": 2.0}, "wind", NO, "under your limit of 3"),
    ({"wind_km_per_h": 21.0}, "wind", NO, "over your limit of 20"),
    ({"wind_km_per_h": 17.0}, "wind", CAREFUL, "near your limit of 20"),
    ({"wind_km_per_h": 3.5}, "wind", CAREFUL, "near your least of 3"),
    ({"gust_km_per_h": 24.0}, "wind", CAREFUL, "gusts of 24"),
    ({"temperature_c": 30.0}, "temperature", NO, "over your limit of 28"),
    ({"temperature_c": 27.5}, "temperature", CAREFUL, "near your limit"),
    ({"humidity_pct": 97.0}, "drying", CAREFUL, "damp air"),
    ({"temperature_c": 27.0, "humidity_pct": 40.0}, "drying", CAREFUL, "dry fast"),
    ({"temperature_c": 27.0, "humidity_pct": 20.0}, "drying", NO, "dry up"),
    ({"rain_mm": 1.2}, "rain", NO, "rain, 1.2 mm"),
    ({"wind_km_per_h": np.nan}, "wind", CAREFUL, "wind not known"),
    ({"humidity_pct": np.nan}, "drying", CAREFUL, "not known"),
    ({"rain_mm": np.nan}, "rain", CAREFUL, "rain not known"),
])
def test_each_limit_speaks_for_itself(changes, lane, state, words):
    row = at(judge_hours(day(**changes), LIMITS, place()), 10)
    assert row[lane] == state
    assert words in row[f"{lane}_words"]
    assert row["fit"] == max((row["fit"], state), key=[GOOD, CAREFUL, NO].index)
    assert words in row["words"]


@given(st.floats(5, 40), st.floats(5, 99))
def test_no_hour_turns_from_good_to_no_on_the_formula(temperature, humidity):
    # Stull (2011) against the psychrometric equation where they differ by no more than the band (facts: up to 0.4 degC
    # at half humidity): the two never say good and no of one hour.
    from gridmap.treatment import wet_bulb_depression

    ours = float(wet_bulb_depression(temperature, humidity))
    other = max(temperature - float(stull_wet_bulb_c(temperature, humidity)), 0.0)
    states = {_drying(np.array([d]), LIMITS)[0][0] for d in (ours, np.clip(other, ours - 0.5, ours + 0.5))}
    assert states != {GOOD, NO}


def test_rain_later_counts_for_as_long_as_the_label_asks():
    rain = np.zeros(30)
    rain[14] = 3.0
    found = judge_hours(day(rain_mm=rain), LIMITS, place())
    assert at(found, 9)["rain"] == GOOD
    assert at(found, 10)["rain"] == NO
    assert "4 hours later, your label asks for 4 dry hours" in at(found, 10)["rain_words"]
    assert at(found, 13)["rain_words"].startswith("rain 1 hour later")
    assert at(found, 15)["rain"] == GOOD


def test_without_the_label_s_dry_hours_no_hour_is_good():
    limits, put = WeatherLimits().filled()
    assert "rain_fast_hours" not in put
    found = judge_hours(day(), limits, place())
    assert GOOD not in set(found["fit"])
    assert "not typed" in at(found, 9)["words"]


def test_the_end_of_the_table_is_not_taken_for_dry():
    found = judge_hours(day(12), LIMITS, place())
    assert "does not reach 4 hours ahead" in at(found, 11)["rain_words"]


def test_layers_of_air_from_before_sunset_to_after_sunrise():
    # GRDC spray manual 10.8 (2025). Sun on 3 November at 33 S, 150 E: rise about 6:00, set about 19:30 (UTC+11).
    found = judge_hours(day(30, wind_km_per_h=8.0), LIMITS, place())
    assert [at(found, hour)["inversion"] for hour in (4, 7, 12, 17, 19, 22)] == [NO, GOOD, GOOD, CAREFUL, NO, NO]


@pytest.mark.parametrize("changes", [{"wind_km_per_h": 13.0}, {"cloud_pct": 100.0}])
def test_a_night_of_wind_or_low_cloud_is_careful(changes):
    # IREC newsletter 197 (2017): unlikely with wind over 11 km/h all night or continuous low overcast.
    found = judge_hours(day(40, **changes), LIMITS, place())
    late = found.iloc[22:29]
    assert (late["inversion"] == CAREFUL).all()
    assert late["inversion_words"].str.contains("look at smoke").all()


def test_one_calm_hour_in_the_night_undoes_the_wind():
    wind = np.full(40, 13.0)
    wind[20] = 5.0
    found = judge_hours(day(40, wind_km_per_h=wind), LIMITS, place())
    assert found["inversion"].iloc[19] == CAREFUL
    assert (found["inversion"].iloc[20:28] == NO).all()


def test_bees_leave_no_hour_good_of_itself():
    found = judge_hours(day(), LIMITS, place(flowering="sward"))
    assert (at(found, 10)["bees"], at(found, 22)["bees"]) == (NO, CAREFUL)
    looked = pd.Timestamp("2026-11-03T10:20", tz=ZONE)
    found = judge_hours(day(), LIMITS, place(flowering="sward", bees_seen_not_flying=(looked,)))
    assert at(found, 10)["bees_words"] == "sward in flower; bees not flying, observed"
    assert (at(found, 10)["fit"], at(found, 11)["fit"]) == (CAREFUL, NO)


def test_high_ground_is_judged_with_its_own_air():
    # Physical sense: at 1,500 m the same air dries a droplet faster.
    low, high = (judge_hours(day(), LIMITS, place(elevation_m=z))["depression_c"][0] for z in (0, 1500))
    assert high > low + 0.2


@pytest.mark.parametrize(("start", "hours"), [("2026-10-04T00:00", 23), ("2027-04-04T00:00", 25)])
def test_days_with_a_clock_change(start, hours):
    # Sydney's clocks: 4 October 2026 has 23 hours, 4 April 2027 has 25; each hour is judged once.
    found = judge_hours(day(hours, start=start), LIMITS, place())
    local = pd.DatetimeIndex(found["time"]).tz_convert(ZONE)
    assert len(found) == hours
    assert len(set(local.date)) == 1
    assert found["time"].is_unique


def test_polar_night_has_no_end_in_sight():
    found = judge_hours(day(12), LIMITS, place(latitude=-88.0))
    assert set(found["inversion"]) <= {GOOD, NO, CAREFUL}


@pytest.mark.parametrize(("change", "message"), [
    (lambda table: table.drop(columns="humidity_pct"), "Hours has no column 'humidity_pct'"),
    (lambda table: table.iloc[::-1], "Hours are not in order or one stands twice"),
    (lambda table: pd.concat([table, table.tail(1)]), "one stands twice"),
])
def test_what_can_not_be_is_refused(change, message):
    with pytest.raises(InputRefused, match=message):
        judge_hours(change(day(5)), LIMITS, place())


def test_a_missing_limit_is_asked_for():
    with pytest.raises(InputRefused, match="No limit for least_wind_km_per_h is given"):
        judge_hours(day(3), WeatherLimits(most_wind_km_per_h=20), place())
