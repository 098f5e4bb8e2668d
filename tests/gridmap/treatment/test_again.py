"""Follow-up dates by the calendar; the comparable species by its published constants."""

import datetime as dt

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import degree_days, follow_up

DAY = dt.date(2026, 11, 3)


def test_both_dates():
    # The interval is the grower's; the least interval of the label is a minimum (for instance 14 days).
    found = follow_up(DAY, interval_days=10, least_interval_days=14)
    assert (found.beat_again, found.allowed_from) == (dt.date(2026, 11, 13), dt.date(2026, 11, 17))
    assert "your own interval" in found.words[0]
    assert "The count decides" in found.words[0]


def test_without_an_interval_the_usual_one_is_named_as_such():
    found = follow_up(DAY)
    assert found.beat_again == dt.date(2026, 11, 17)
    assert "common practice, no source" in found.words[0]
    assert "not typed" in found.words[1]
    assert found.allowed_from is None


def test_dates_over_a_change_of_clocks_and_a_leap_day():
    assert follow_up(dt.date(2026, 9, 30), interval_days=10).beat_again == dt.date(2026, 10, 10)
    assert follow_up(dt.date(2028, 2, 20), interval_days=12.5).beat_again == dt.date(2028, 3, 4)


def test_eggs_of_the_comparable_species():
    # Azalea lace bug (OSU EM 9066): 213.1 degree-days over 10.2 degC; steady 20.6 degC: 20.5 days [observed 23 days in
    # Maryland, 20.6 degC]. The date delays nothing.
    daily = np.full(40, degree_days(20.6, 20.6, 10.2))
    found = follow_up(DAY, interval_days=12, daily_degree_days=daily)
    assert (found.hatch - DAY).days == pytest.approx(20.5, abs=1)
    assert found.beat_again == dt.date(2026, 11, 15)
    assert "delays nothing" in found.words[-1]
    assert "no figure is published for the olive lace bug" in found.words[-1]


def test_weather_that_ends_too_soon_is_said():
    found = follow_up(DAY, daily_degree_days=np.full(5, 8.0))
    assert found.hatch is None
    assert "not within the weather given" in found.words[-1]


@pytest.mark.parametrize(("arguments", "message"), [
    ({"interval_days": 0}, "Follow-up interval is 0 days"),
    ({"least_interval_days": -1}, "Least interval is -1 days"),
    ({"daily_degree_days": np.array([3.0, np.nan])}, "Degree-days of day 2 are nan"),
])
def test_what_can_not_be_is_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        follow_up(DAY, **arguments)
