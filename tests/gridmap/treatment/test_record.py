"""Records: what each profile asks for against the fields that its source lists, and the time left."""

import datetime as dt
import json

import pytest

import data
from gridmap.errors import InputRefused
from gridmap.treatment import FIELDS, RecordProfile, left_words, missing_fields, read_profiles, time_left

TABLE = json.loads(data.path("reference/spray_record_profiles.json").read_text(encoding="utf-8"))
PROFILES = read_profiles(TABLE)


def test_every_profile_has_its_source_and_day():
    assert dt.date.fromisoformat(TABLE["read_on"])
    assert all(profile.source for profile in PROFILES.values())
    assert set(PROFILES) >= {"au-nsw", "au-vic", "au-wa", "eu", "us-rup"}


@pytest.mark.parametrize(("profile", "hours", "years"), [
    # NSW Pesticides Regulation 2017 cl. 35-37 (24 h meets both readings, 3 years); Agriculture Victoria AG1212 (48 h,
    # 2 years); WA regulations of 2020 (7 days, 2 years); 7 CFR 110 (14 days, 2 years).
    ("au-nsw", 24, 3), ("au-vic", 48, 2), ("au-wa", 7 * 24, 2), ("us-rup", 14 * 24, 2),
])
def test_times_of_the_sources(profile, hours, years):
    assert (PROFILES[profile].complete_within_hours, PROFILES[profile].keep_years) == (hours, years)


def test_fields_of_the_sources():
    # NSW cl. 36 asks for wind at the start and at each significant change, rate and quantity; 7 CFR 110 for the
    # product's registration number and the certificate; EU 2023/564 for the area's geometry.
    assert {"wind_start", "wind_changes", "rate", "quantity"} <= set(PROFILES["au-nsw"].needs)
    assert {"authorisation_number", "applicator_licence"} <= set(PROFILES["us-rup"].needs)
    assert "area_geometry" in PROFILES["eu"].needs


def test_a_full_record_misses_nothing_and_an_empty_one_all():
    for profile in PROFILES.values():
        assert missing_fields(dict.fromkeys(FIELDS, "written"), profile) == ()
        assert missing_fields({}, profile) == tuple(FIELDS[field] for field in profile.asked)
        assert missing_fields(dict.fromkeys(FIELDS, "  "), profile) == missing_fields({}, profile)


def test_time_left_over_a_change_of_clocks():
    # 24 hours are 24 hours, whatever the clock on the wall does (Sydney, 4 October 2026, at 2:00).
    import zoneinfo

    zone = zoneinfo.ZoneInfo("Australia/Sydney")
    end, now = dt.datetime(2026, 10, 3, 18, tzinfo=zone), dt.datetime(2026, 10, 4, 18, tzinfo=zone)
    assert time_left(end, now, PROFILES["au-nsw"]) == dt.timedelta(hours=1)


def test_words_for_the_last_hour_and_for_days():
    assert left_words(dt.timedelta(minutes=20), ["x"]).endswith("Under an hour left to complete it.")
    assert left_words(dt.timedelta(days=6), ["x"]).endswith("6 days left to complete it.")


@pytest.mark.parametrize(("call", "message"), [
    (lambda: missing_fields({"smell": "x"}, PROFILES["eu"]), "The record holds 'smell'"),
    (lambda: RecordProfile("x", "y", "z", ("smell",), 24, 3), "Profile x asks for 'smell'"),
    (lambda: RecordProfile("x", "y", "z", (), 0, 3), "Time to complete a record is 0 h"),
    (lambda: time_left(dt.datetime(2026, 1, 1), dt.datetime.now(dt.UTC), PROFILES["eu"]), "needs its offset"),
])
def test_what_can_not_be_is_refused(call, message):
    with pytest.raises(InputRefused, match=message):
        call()
