"""Each hour judged: good, careful or no, with its reasons in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from gridmap.checks import BoolArray, FloatArray, columns, number, one_of
from gridmap.errors import InputRefused
from gridmap.treatment.humidity import STANDARD_PRESSURE_HPA, pressure_at_height_hpa, wet_bulb_depression
from gridmap.treatment.sun import sun_height_deg, sun_times
from gridmap.treatment.weather_limits import WeatherLimits

GOOD, CAREFUL, NO = "good", "careful", "no"
#: Lanes in the order they are shown.
REASONS: Final = ("drying", "wind", "temperature", "rain", "inversion", "bees")
# No hour turns on what two formulas for one wet bulb differ by (up to 0.4 degC between the psychrometric equation and
# Stull's).
FORMULA_BAND_C: Final = 0.5
# An hour within these of a limit is careful: what a hand-held meter can tell.
_WIND_BAND_KM_PER_H = 1.0
_TEMPERATURE_BAND_C = 1.0
# A tenth of a millimetre is dew in the gauge.
_RAIN_MM = 0.2
# GRDC spray manual 10.8 (January 2025): hazardous from 1 to 2 h before sundown to about 1 h after sunrise.
_BEFORE_SUNSET_SURE, _BEFORE_SUNSET_MAYBE, _AFTER_SUNRISE = (pd.Timedelta(hours=h) for h in (1, 2, 1))
# Continuous low overcast makes an inversion unlikely (IREC newsletter 197, 2017); seven eighths and more of the sky.
_OVERCAST_PCT = 87.5
_NEEDED = ("time", "temperature_c", "humidity_pct", "wind_km_per_h")
_WORST = {GOOD: 0, CAREFUL: 1, NO: 2}


@dataclass(frozen=True)
class SprayPlace:
    """Where the hours are judged.

    Parameters
    ----------
    longitude, latitude : float
        WGS 84 [degrees].
    time_zone : str
        IANA name of the grove's time zone.
    elevation_m : float, optional
        Height above the sea, for the air pressure [m]; sea level where it is not known.
    flowering : {"none", "trees", "sward", "both", "unknown"}
        What bees could be on.
    bees_seen_not_flying : tuple of Timestamp
        Hours at which the grower looked and saw no bee flying.

    Examples
    --------
    >>> SprayPlace(longitude=10.0, latitude=-40.0, time_zone="UTC").flowering
    'unknown'
    """

    longitude: float
    latitude: float
    time_zone: str
    elevation_m: float | None = None
    flowering: Literal["none", "trees", "sward", "both", "unknown"] = "unknown"
    bees_seen_not_flying: tuple[pd.Timestamp, ...] = ()

    def __post_init__(self) -> None:
        number(self.longitude, "longitude", "degrees", least=-180, most=180)
        number(self.latitude, "latitude", "degrees", least=-90, most=90)
        one_of(self.flowering, ("none", "trees", "sward", "both", "unknown"), "flowering")


def judge_hours(hours: pd.DataFrame, limits: WeatherLimits, place: SprayPlace) -> pd.DataFrame:
    """Tell for each hour whether it is fit to spray, and why not.

    Parameters
    ----------
    hours : DataFrame
        time (start of the hour, UTC), temperature_c, humidity_pct, wind_km_per_h; where there are: gust_km_per_h,
        wind_from_deg, rain_mm (in that hour), cloud_pct. NaN where not known.
    limits : WeatherLimits
        All of them; `WeatherLimits.filled` puts the usual ones where none was typed. Without rain_fast_hours no hour
        is good until the grower has read it off the label.
    place : SprayPlace
        Where, and what is in flower.

    Returns
    -------
    DataFrame
        time, depression_c, sun_height_deg; a column for each of `REASONS` (good, careful, no) and one beside it named
        ``<reason>_words``; fit (the worst of them); words (all that speak against it, or "nothing against it").

    Raises
    ------
    InputRefused
        A column missing, hours not in order or given twice, a limit missing.

    Notes
    -----
    A value within its band of a limit is careful on both sides of it: half a degree of depression (what formulas
    differ by), 1 km/h of wind, 1 degree of temperature. Unknown is careful, never good. The tool judges numbers from a
    station or a forecast: wind and flowering at the tree decide, and the label before both.

    Examples
    --------
    >>> hours = pd.DataFrame({"time": pd.to_datetime(["2026-11-03T22:00Z"]), "temperature_c": [18.0],
    ...                       "humidity_pct": [60.0], "wind_km_per_h": [9.0], "rain_mm": [0.0]})
    >>> place = SprayPlace(longitude=150.0, latitude=-33.0, time_zone="Australia/Sydney", flowering="none")
    >>> found = judge_hours(hours, WeatherLimits.usual(), place)
    >>> found["fit"][0], found["words"][0]
    ('careful', 'the rain-fast hours of your label are not typed')
    >>> judge_hours(hours[:0], WeatherLimits.usual(), place).empty
    True
    """
    columns(hours, _NEEDED, "hours")
    for name in WeatherLimits.usual().to_dict():
        if name != "rain_fast_hours" and getattr(limits, name) is None:
            raise InputRefused(f"no limit for {name} is given", "each hour is judged against all of them",
                               "use WeatherLimits.filled() for the usual ones")
    time = _times(hours["time"])
    read = {name: _column(hours, name, len(time)) for name in (
        "temperature_c", "humidity_pct", "wind_km_per_h", "gust_km_per_h", "rain_mm", "cloud_pct")}
    pressure = STANDARD_PRESSURE_HPA if place.elevation_m is None else pressure_at_height_hpa(place.elevation_m)
    depression = np.asarray(wet_bulb_depression(read["temperature_c"], read["humidity_pct"], pressure)).reshape(-1)
    lanes = {
        "drying": _drying(depression, limits),
        "wind": _wind(read["wind_km_per_h"], read["gust_km_per_h"], limits),
        "temperature": _temperature(read["temperature_c"], limits),
        "rain": _rain(time, read["rain_mm"], limits),
        "inversion": _inversion(time, read, limits, place),
        "bees": _bees(time, place),
    }
    found = pd.DataFrame({"time": time, "depression_c": depression, "sun_height_deg": sun_height_deg(
        time, longitude=place.longitude, latitude=place.latitude)})
    for name, lane in lanes.items():
        found[name], found[f"{name}_words"] = [state for state, _ in lane], [words for _, words in lane]
    found["fit"] = [max((lane[i][0] for lane in lanes.values()), key=_WORST.__getitem__) for i in range(len(time))]
    found["words"] = ["; ".join(lane[i][1] for lane in lanes.values() if lane[i][0] != GOOD) or "nothing against it"
                      for i in range(len(time))]
    return found


_Lane = list[tuple[str, str]]


def _drying(depression: FloatArray, limits: WeatherLimits) -> _Lane:
    """Judge how fast droplets dry."""
    least, most, never = (float(value or 0) for value in (
        limits.least_depression_c, limits.most_depression_c, limits.never_depression_c))
    lane: _Lane = []
    for d in depression:
        said = f"wet-bulb depression {d:.1f} degrees"
        if np.isnan(d):
            lane.append((CAREFUL, "temperature or humidity not known"))
        elif d > never + FORMULA_BAND_C:
            lane.append((NO, f"{said}, over {never:g}: droplets dry up"))
        elif d > most - FORMULA_BAND_C:
            lane.append((CAREFUL, f"{said}, near or over {most:g}: droplets dry fast"))
        elif d < least + FORMULA_BAND_C:
            lane.append((CAREFUL, f"{said}, near or under {least:g}: droplets hang in damp air"))
        else:
            lane.append((GOOD, said))
    return lane


def _wind(wind: FloatArray, gust: FloatArray, limits: WeatherLimits) -> _Lane:
    """Judge the wind and its gusts."""
    least, care, most = (float(value or 0) for value in (
        limits.least_wind_km_per_h, limits.careful_wind_km_per_h, limits.most_wind_km_per_h))
    lane: _Lane = []
    for w, g in zip(wind, gust, strict=True):
        said = f"wind {w:.0f} km/h"
        if np.isnan(w):
            lane.append((CAREFUL, "wind not known"))
        elif w > most:
            lane.append((NO, f"{said}, over your limit of {most:g}"))
        elif w < least:
            lane.append((NO, f"{said}, under your limit of {least:g}"))
        elif g > most:
            lane.append((CAREFUL, f"{said} with gusts of {g:.0f}, over your limit of {most:g}"))
        elif w > min(care, most - _WIND_BAND_KM_PER_H):
            lane.append((CAREFUL, f"{said}, near your limit of {most:g}"))
        elif w < least + _WIND_BAND_KM_PER_H:
            lane.append((CAREFUL, f"{said}, near your least of {least:g}"))
        else:
            lane.append((GOOD, said))
    return lane


def _temperature(temperature: FloatArray, limits: WeatherLimits) -> _Lane:
    """Judge the heat."""
    most = float(limits.most_temperature_c or 0)
    return [(CAREFUL, "temperature not known") if np.isnan(t)
            else (NO, f"{t:.0f} degrees, over your limit of {most:g}") if t > most
            else (CAREFUL, f"{t:.0f} degrees, near your limit of {most:g}") if t > most - _TEMPERATURE_BAND_C
            else (GOOD, f"{t:.0f} degrees") for t in temperature]


def _rain(time: pd.DatetimeIndex, rain: FloatArray, limits: WeatherLimits) -> _Lane:
    """Judge rain in the hour and in the hours that the spray needs to dry on."""
    fast = limits.rain_fast_hours
    falls = np.asarray(rain >= _RAIN_MM, dtype=bool)
    lane: _Lane = []
    for i, start in enumerate(time):
        until = start + pd.Timedelta(hours=1 + (fast or 0))
        ahead: BoolArray = np.asarray((time >= start) & (time < until))
        known = ahead & ~np.isnan(rain)
        if np.isnan(rain[i]):
            lane.append((CAREFUL, "rain not known"))
        elif falls[i]:
            lane.append((NO, f"rain, {rain[i]:.1f} mm"))
        elif fast is None:
            lane.append((CAREFUL, "the rain-fast hours of your label are not typed"))
        elif (ahead & falls).any():
            first = time[np.flatnonzero(ahead & falls)[0]]
            lane.append((NO, f"rain {_hours_words(first - start)} later, your label asks for {fast:g} dry hours"))
        elif known.sum() < np.ceil(1 + fast):
            lane.append((CAREFUL, f"the table does not reach {fast:g} hours ahead, as your label asks"))
        else:
            lane.append((GOOD, f"no rain for {fast:g} hours"))
    return lane


def _inversion(
    time: pd.DatetimeIndex, read: dict[str, FloatArray], limits: WeatherLimits, place: SprayPlace
) -> _Lane:
    """Judge whether air may lie in layers: by the sun, and by a night of steady wind or low cloud."""
    steady = float(limits.steady_wind_km_per_h or 0)
    cloud, wind, rain = read["cloud_pct"], read["wind_km_per_h"], read["rain_mm"]
    mixed = (wind > steady) | (cloud >= _OVERCAST_PCT) | (rain >= _RAIN_MM)
    spans = _risky_spans(time, place)
    lane: _Lane = []
    for start in time:
        end = start + pd.Timedelta(hours=1)
        span = next((s for s in spans if s[0] < end and start < s[2]), None)
        if span is None:
            lane.append((GOOD, "sun high enough to mix the air"))
            continue
        _, sure, _ = span
        night: BoolArray = np.asarray((time + pd.Timedelta(hours=1) > sure) & (time <= start))
        if end <= sure:
            lane.append((CAREFUL, "under two hours before sunset: air may begin to lie in layers"))
        elif mixed[night].all() and night.any() and time[night][0] <= sure:
            lane.append((CAREFUL, f"night, but wind over {steady:g} km/h, low cloud or rain all through: "
                                  "an inversion is unlikely; look at smoke or dust"))
        else:
            lane.append((NO, "air may lie in layers (inversion): from an hour before sunset to an hour after sunrise"))
    return lane


def _risky_spans(time: pd.DatetimeIndex, place: SprayPlace) -> list[tuple[pd.Timestamp, pd.Timestamp, pd.Timestamp]]:
    """Return (may begin, surely begun, over) of each night that the hours touch."""
    if not len(time):
        return []
    local = time.tz_convert(place.time_zone)
    days = pd.date_range(local[0].normalize() - pd.Timedelta(days=1), local[-1].normalize() + pd.Timedelta(days=1)).date
    suns = [sun_times(day, longitude=place.longitude, latitude=place.latitude, time_zone=place.time_zone)
            for day in days]
    rises = [sun.rise for sun in suns if sun.rise is not None]
    spans = []
    for sun in suns:
        if sun.set is None:
            continue
        after = [rise for rise in rises if rise > sun.set]
        over = after[0] + _AFTER_SUNRISE if after else sun.set + pd.Timedelta(hours=24)
        spans.append((sun.set - _BEFORE_SUNSET_MAYBE, sun.set - _BEFORE_SUNSET_SURE, over))
    return spans


def _bees(time: pd.DatetimeIndex, place: SprayPlace) -> _Lane:
    """Judge bees: never good of itself while anything flowers."""
    if place.flowering == "none":
        return [(GOOD, "nothing in flower, as you noted")] * len(time)
    if place.flowering == "unknown":
        return [(CAREFUL, "you have not noted whether trees or sward flower")] * len(time)
    where = {"trees": "trees", "sward": "sward", "both": "trees and sward"}[place.flowering]
    seen = {pd.Timestamp(one).tz_convert("UTC").floor("h") for one in place.bees_seen_not_flying}
    sun = sun_height_deg(time, longitude=place.longitude, latitude=place.latitude)
    return [(CAREFUL, f"{where} in flower; bees not flying, observed") if start.floor("h") in seen
            else (NO, f"{where} in flower: bees may be flying") if height > 0
            else (CAREFUL, f"{where} in flower: look whether bees still fly")
            for start, height in zip(time, sun, strict=True)]


def _times(values: pd.Series) -> pd.DatetimeIndex:
    """Return the hours as UTC, in order and each once."""
    index = pd.DatetimeIndex(pd.to_datetime(values, utc=True))
    if not index.is_monotonic_increasing or index.has_duplicates:
        raise InputRefused("hours are not in order or one stands twice", "each hour stands once, in order")
    return index


def _column(hours: pd.DataFrame, name: str, length: int) -> FloatArray:
    """Return a column as floats, all unknown where the table has none."""
    if name not in hours:
        return np.full(length, np.nan)
    return hours[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _hours_words(gap: pd.Timedelta) -> str:
    """Say how many hours lie between."""
    n = round(gap / pd.Timedelta(hours=1))
    return "1 hour" if n == 1 else f"{n} hours"
