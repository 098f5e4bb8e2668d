"""Weather tables as stations and spreadsheets write them (the lines are invented; units by definition).

Units: 1 kn = 1.852 km/h, 1 mph = 1.609344 km/h, 1 in = 25.4 mm, degC = (degF - 32) 5/9, all exact by definition
(BIPM, SI brochure, table 8; NIST SP 811, appendix B).
"""

import numpy as np
import pandas as pd
import pytest

from gridmap.errors import FileRefused, InputMissing, InputRefused, RowsRefused
from gridmap.exchange import read_weather

ZONE = "Australia/Sydney"


def write(folder, text, name="hours.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def test_a_station_s_table(tmp_path):
    path = write(tmp_path, "Date Time,Air Temp (°C),Relative Humidity (%),Wind Speed (km/h),Wind Gust (km/h),"
                           "Wind Direction (°),Rain (mm),Battery (V)\n"
                           "2026-11-03 07:00,14.2,71,6.5,11.0,210,0.0,12.6\n"
                           "2026-11-03 08:00,15.9,66,8.0,14.5,SSW,0.2,12.6\n")
    hours, told = read_weather(path, time_zone=ZONE)
    assert hours["time"].tolist() == [pd.Timestamp("2026-11-02T20:00Z"), pd.Timestamp("2026-11-02T21:00Z")]
    assert hours.iloc[1].drop("time").to_dict() == {
        "temperature_c": 15.9, "humidity_pct": 66, "wind_km_per_h": 8.0, "gust_km_per_h": 14.5, "wind_from_deg": 202.5,
        "rain_mm": 0.2}
    assert told.columns["wind_km_per_h"] == "wind_speed_(km/h)"
    assert told.units["temperature_c"] == "degC"
    assert (told.ignored, told.gaps) == (("battery_(v)",), ())


def test_units_of_other_places(tmp_path):
    path = write(tmp_path, "timestamp;temp_f;rh;wind_kt;gust_mph;precip_in\n2026-11-03T07:00+11:00;50,0;71;10;10;0,1\n")
    hours, told = read_weather(path, time_zone=ZONE)
    assert hours.iloc[0].drop("time").tolist() == pytest.approx([10.0, 71, 18.52, 16.09344, 2.54])
    assert (told.units["wind_km_per_h"], told.units["gust_km_per_h"], told.units["rain_mm"]) == ("kn", "mph", "in")


def test_a_unit_that_no_header_says_is_asked_for(tmp_path):
    path = write(tmp_path, "time,temperature,humidity,wind\n2026-11-03T07:00,14,70,3\n")
    with pytest.raises(InputMissing, match="does not say the unit of 2 columns") as caught:
        read_weather(path, time_zone=ZONE)
    assert caught.value.missing == ["unit of column 'temperature' (degC, degF, K)",
                                    "unit of column 'wind' (km/h, m/s, kn, mph)"]
    hours, _ = read_weather(path, time_zone=ZONE, units={"temperature_c": "degC", "wind_km_per_h": "m/s"})
    assert hours["wind_km_per_h"][0] == pytest.approx(10.8)


def test_columns_by_hand(tmp_path):
    path = write(tmp_path, "when,dry,wet%,w10 km/h\n2026-11-03T07:00,14,70,9\n")
    names = {"time": "when", "temperature_c": "dry", "humidity_pct": "wet%", "wind_km_per_h": "w10 km/h"}
    hours, told = read_weather(path, time_zone=ZONE, columns=names, units={"temperature_c": "degC"})
    assert hours["wind_km_per_h"][0] == 9
    assert told.units["wind_km_per_h"] == "km/h"
    with pytest.raises(FileRefused, match="has no column 'dew'"):
        read_weather(path, time_zone=ZONE, columns={"temperature_c": "dew"})


def test_ten_minute_lines_become_hours(tmp_path):
    lines = "\n".join(f"2026-11-03 07:{m:02d},{10 + m / 10},70,6,{m},0.1" for m in range(0, 60, 10))
    path = write(tmp_path, f"date_time,temp_c,rh,wind_km/h,gust_km/h,rain_mm\n{lines}\n")
    hours, _ = read_weather(path, time_zone=ZONE)
    assert len(hours) == 1
    assert hours.iloc[0].drop("time").tolist() == pytest.approx([12.5, 70, 6, 50, 0.6])


def test_date_and_hour_in_two_columns(tmp_path):
    path = write(tmp_path, "date,time,temp_c,rh,wind_km/h\n2026-11-03,7:00,14,70,9\n2026-11-03,08:00,15,70,9\n")
    hours, _ = read_weather(path, time_zone=ZONE)
    assert hours["time"][0] == pd.Timestamp("2026-11-03T07:00+11:00")


def test_the_hour_that_clocks_repeat(tmp_path):
    # Sydney, 5 April 2026: 2:00 to 3:00 comes twice; the file holds it twice, in order.
    rows = "".join(f"2026-04-05 {hour}:00,14,70,9\n" for hour in ("01", "02", "02", "03"))
    hours, told = read_weather(write(tmp_path, f"time,temp_c,rh,wind_km/h\n{rows}"), time_zone=ZONE)
    assert (hours["time"].diff().dropna() == pd.Timedelta(hours=1)).all()
    assert (len(hours), told.gaps) == (4, ())


def test_the_hour_that_clocks_leave_out_is_refused(tmp_path):
    path = write(tmp_path, "time,temp_c,rh,wind_km/h\n2026-10-04 02:30,14,70,9\n")
    with pytest.raises(RowsRefused, match="line 2: time is '2026-10-04 02:30': the clocks jumped over it"):
        read_weather(path, time_zone=ZONE)
    hours, _ = read_weather(path, time_zone=ZONE, times="utc")
    assert hours["time"][0] == pd.Timestamp("2026-10-04T02:00Z")


def test_gaps_are_told_and_nothing_is_filled_in(tmp_path):
    rows = "".join(f"2026-11-03 {hour:02d}:00,14,{'' if hour == 9 else 70},9\n" for hour in (7, 8, 9, 12, 13, 15))
    hours, told = read_weather(write(tmp_path, f"time,temp_c,rh,wind_km/h\n{rows}"), time_zone=ZONE)
    assert told.gaps == ("2 hours from 2026-11-03 10:00", "1 hour from 2026-11-03 14:00")
    assert len(hours) == 6
    assert np.isnan(hours["humidity_pct"][2])


@pytest.mark.parametrize(("text", "error", "message"), [
    ("", FileRefused, "is empty"),
    ("time,temp_c,rh,wind_km/h\n", FileRefused, "holds no hour"),
    ("temp_c,rh,wind_km/h\n14,70,9\n", FileRefused, "has no time column"),
    ("time,temp_c,rh\n2026-11-03T07:00,14,70\n", FileRefused, "has no column for wind_km_per_h"),
    ("time,temp_c,rh,wind_km/h\n2026-11-03T07:00,14,170,9\n", RowsRefused, "humidity_pct is 170 percent"),
    ("time,temp_c,rh,wind_km/h\n2026-11-03T07:00,warm,70,9\n", RowsRefused, "temperature_c is 'warm'"),
    ("time,temp_c,rh,wind_km/h\n2026-11-03T07:00,57,70,9\n", RowsRefused, "is the unit right"),
    ("time,temp_c,rh,wind_km/h\n03/11/2026 07:00,14,70,9\n", RowsRefused, "year-month-day and hour"),
    ("time,temp_c,rh,wind_km/h\n2026-11-03T07:00,14,70\n", RowsRefused, "it has 3 cells where the header has 4"),
    ("time,temp_c,rh,wind_km/h\n2026-11-03T07:00,inf,70,9\n", RowsRefused, "temperature_c is inf"),
])
def test_what_can_not_be_is_refused(tmp_path, text, error, message):
    with pytest.raises(error, match=message):
        read_weather(write(tmp_path, text), time_zone=ZONE)


def test_a_zone_and_a_unit_that_are_none(tmp_path):
    path = write(tmp_path, "time,temp_c,rh,wind_km/h\n2026-11-03T07:00,14,70,9\n")
    with pytest.raises(InputRefused, match="Time zone is 'Nowhere/Sea'"):
        read_weather(path, time_zone="Nowhere/Sea")
    with pytest.raises(InputRefused, match="Unit of wind_km_per_h is 'knots'"):
        read_weather(path, time_zone=ZONE, units={"wind_km_per_h": "knots"})
