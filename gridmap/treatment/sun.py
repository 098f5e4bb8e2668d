"""Where the sun stands: rise, set and height, for the hours in which air may lie in layers."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from gridmap.checks import FloatArray, number
from gridmap.errors import InputRefused

#: Height of the sun's centre at rise and set: half its width and the usual refraction below the horizon [degrees].
RISE_AND_SET_DEG: Final = -0.833
_J2000 = pd.Timestamp("2000-01-01T12:00:00Z")


class SunTimes(NamedTuple):
    """Rise and set of one local day, UTC; None where the sun stays up or down."""

    rise: pd.Timestamp | None
    set: pd.Timestamp | None


def sun_height_deg(times: Any, *, longitude: float, latitude: float) -> FloatArray:
    """Tell how high the sun stands over the horizon.

    Parameters
    ----------
    times : array_like of shape (n,)
        Times with their offset, or UTC.
    longitude, latitude : float
        WGS 84 [degrees]; east and north positive.

    Returns
    -------
    ndarray of shape (n,)
        Height of the sun's centre without refraction [degrees], below 0 at night.

    Raises
    ------
    InputRefused
        Times without an offset; a place that is none.

    Notes
    -----
    The low-precision formulas of the Astronomical Almanac: about 0.01 degrees between 1950 and 2050.

    References
    ----------
    Astronomical Almanac, page C5, as given by Michalsky, J. J. (1988) Solar Energy 40:227-235.
    doi:10.1016/0038-092X(88)90045-X.

    Examples
    --------
    The worked example of NREL's solar position report (2003-10-17 12:30:30 -07:00) prints a zenith of 50.1 degrees:

    >>> round(90 - sun_height_deg(["2003-10-17T12:30:30-07:00"], longitude=-105.1786, latitude=39.742476)[0], 1)
    np.float64(50.1)
    >>> sun_height_deg([], longitude=0, latitude=0)
    array([], dtype=float64)
    """
    east = number(longitude, "longitude", "degrees", least=-180, most=180)
    north = np.radians(number(latitude, "latitude", "degrees", least=-90, most=90))
    when = _utc(times)
    if not len(when):
        return np.empty(0)
    days = ((when - _J2000) / pd.Timedelta(days=1)).to_numpy(dtype=np.float64)
    declination, ascension = _sun(days)
    hours = (6.697375 + 0.0657098242 * days + (when.hour + when.minute / 60 + when.second / 3600).to_numpy()) % 24
    # Sidereal time at Greenwich grows by 0.0657 h a day beside the clock's own hours.
    angle = np.radians(hours * 15.0 + east) - ascension
    return np.asarray(np.degrees(np.arcsin(
        np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * np.cos(angle))))


def sun_times(day: dt.date, *, longitude: float, latitude: float, time_zone: str) -> SunTimes:
    """Tell when the sun rises and sets on one local day.

    Parameters
    ----------
    day : date
        The day on the grove's own calendar.
    longitude, latitude : float
        WGS 84 [degrees].
    time_zone : str
        The grove's time zone, an IANA name.

    Returns
    -------
    SunTimes
        rise, set [UTC], to the minute or so; a hill on the horizon is not known.

    Examples
    --------
    >>> times = sun_times(dt.date(2026, 6, 21), longitude=0.0, latitude=51.48, time_zone="UTC")
    >>> times.rise.strftime("%H:%M"), times.set.strftime("%H:%M")
    ('03:42', '20:20')
    >>> sun_times(dt.date(2026, 6, 21), longitude=20.0, latitude=75.0, time_zone="UTC")
    SunTimes(rise=None, set=None)
    """
    start = pd.Timestamp(day).tz_localize(time_zone, ambiguous=True, nonexistent="shift_forward")
    end = pd.Timestamp(day + dt.timedelta(days=1)).tz_localize(time_zone, ambiguous=True, nonexistent="shift_forward")
    minutes = pd.date_range(start, end, freq="5min").tz_convert("UTC")
    height = sun_height_deg(minutes, longitude=longitude, latitude=latitude) - RISE_AND_SET_DEG
    return SunTimes(_crossing(minutes, height, rising=True), _crossing(minutes, height, rising=False))


def _crossing(times: pd.DatetimeIndex, height: FloatArray, *, rising: bool) -> pd.Timestamp | None:
    """Return when the height goes through 0, by the straight line between two of the five-minute points."""
    turned = (height[:-1] < 0) & (height[1:] >= 0) if rising else (height[:-1] >= 0) & (height[1:] < 0)
    at = np.flatnonzero(turned)
    if not at.size:
        return None
    i = int(at[0])
    share = float(height[i] / (height[i] - height[i + 1]))
    return (times[i] + share * (times[i + 1] - times[i])).round("s")


def _sun(days: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return declination and right ascension [radians] for days from noon of 1 January 2000 (UT)."""
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439 - 4e-7 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    return np.asarray(np.arcsin(np.sin(tilt) * np.sin(longitude))), np.asarray(ascension)


def _utc(times: Any) -> pd.DatetimeIndex:
    """Return times as UTC; one without an offset is refused."""
    index = pd.DatetimeIndex(pd.to_datetime(list(times), utc=False, format="ISO8601") if len(times) else [])
    if not len(index):
        return index
    if index.tz is None:
        raise InputRefused(f"time {index[0]} has no offset from UTC", "the sun's place needs one",
                           "give times such as 2026-11-03T07:00:00+11:00")
    return index.tz_convert("UTC")
