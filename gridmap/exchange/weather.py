"""Hourly weather, in: a CSV file of a station or a forecast, its columns guessed and shown, its units asked for."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
import zoneinfo
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gridmap.errors import FileRefused, InputMissing, InputRefused
from gridmap.exchange.table import Table, column_name, read_table, refusal

#: What is read, by the words that a header uses for it (the longest match wins), and what it may not hold.
_HEADS: Final[dict[str, tuple[str, str]]] = {
    "gust_km_per_h": (r"gust", r"dir|time"),
    "wind_from_deg": (r"wind.*dir|dir.*wind|^dir(ection)?\b|wind_?(from|bearing)|^wd$", r"gust"),
    "wind_km_per_h": (r"wind|^ws$", r"gust|dir|from|bearing|chill|run"),
    "humidity_pct": (r"humid|^rh\b|^rh_|relhum", r"max|min|soil"),
    "rain_mm": (r"rain|precip", r"prob|chance|since|rate|total_since"),
    "cloud_pct": (r"cloud|sky_cover", r"base|height"),
    "temperature_c": (r"temp|^t$|^t_|t2m|dry_?bulb", r"dew|soil|wet|max|min|feels|apparent|water"),
}
_TIME: Final = r"(local_?|valid_?)?(date_?time|time_?stamp|time|date|day|hour)(_\(?(utc|local|gmt)\)?)?"
#: Units of each, what turns them into ours, and how a header writes them.
UNITS: Final[dict[str, dict[str, tuple[float, float]]]] = {
    "temperature_c": {"degC": (1.0, 0.0), "degF": (5 / 9, -160 / 9), "K": (1.0, -273.15)},
    "humidity_pct": {"percent": (1.0, 0.0), "share": (100.0, 0.0)},
    "wind_km_per_h": {"km/h": (1.0, 0.0), "m/s": (3.6, 0.0), "kn": (1.852, 0.0), "mph": (1.609344, 0.0)},
    "rain_mm": {"mm": (1.0, 0.0), "in": (25.4, 0.0)},
    "cloud_pct": {"percent": (1.0, 0.0), "share": (100.0, 0.0), "eighths": (12.5, 0.0)},
    "wind_from_deg": {"degrees": (1.0, 0.0)},
}
UNITS["gust_km_per_h"] = UNITS["wind_km_per_h"]
_WRITTEN: Final = {
    r"deg_?c|°_?c|celsius|\(c\)|_c$": "degC", r"deg_?f|°_?f|fahrenheit|\(f\)|_f$": "degF", r"kelvin|\(k\)": "K",
    r"km/?_?(per_)?h|kph|kmph": "km/h", r"m/s|\bms\b|_ms$|m_?s-1|m_per_s|mps": "m/s",
    r"knots?|\(kn?t?s?\)|_k[nt]s?$": "kn",
    r"mph|mi/h|miles": "mph", r"\(mm\)|_mm$|millimet|mm/h": "mm", r"\(in\)|_in$|inch": "in",
    r"%|pct|percent": "percent", r"okta|eighth": "eighths", r"°$|\(°\)|degrees?|_deg$|\(deg\)": "degrees",
}
#: Over or under these a number is a slip, or a unit was mistaken.
_RANGE: Final = {
    "temperature_c": (-30.0, 55.0), "humidity_pct": (0.0, 100.0), "wind_km_per_h": (0.0, 150.0),
    "gust_km_per_h": (0.0, 250.0), "wind_from_deg": (0.0, 360.0), "rain_mm": (0.0, 200.0), "cloud_pct": (0.0, 100.0),
}
_ORDER: Final = ("temperature_c", "humidity_pct", "wind_km_per_h", "gust_km_per_h", "wind_from_deg", "rain_mm",
                 "cloud_pct")
_NEEDED: Final = ("temperature_c", "humidity_pct", "wind_km_per_h")
_COMPASS: Final = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
# Printed where a station has nothing to tell.
_NOTHING: Final = frozenset({"", "-", "--", "na", "n/a", "nan", "null", "none", "m", "calm"})


@dataclasses.dataclass(frozen=True)
class WeatherColumns:
    """Which column was read as what, in which unit, to be shown to the grower.

    Parameters
    ----------
    columns, units : dict
        Our name of a column to the file's, and to the unit that it was read in.
    ignored : tuple of str
        Columns that nothing was read from.
    gaps : tuple of str
        Hours that are missing between the first and the last, in local time, told as stretches.
    """

    columns: dict[str, str]
    units: dict[str, str]
    ignored: tuple[str, ...]
    gaps: tuple[str, ...]


def read_weather(
    path: str | Path, *, time_zone: str, columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None, times: str = "local",
) -> tuple[pd.DataFrame, WeatherColumns]:
    """Read the hours of a weather table.

    Parameters
    ----------
    path : path
        CSV with a header; one line an hour, or more often (each hour then gets its mean, its greatest gust, its rain).
    time_zone : str
        IANA name of the grove's time zone, for times without an offset.
    columns : mapping, optional
        Our name (time, date, temperature_c, humidity_pct, wind_km_per_h, gust_km_per_h, wind_from_deg, rain_mm,
        cloud_pct) to the file's, where the guess is wrong.
    units : mapping, optional
        Our name to its unit (`UNITS`), where the header does not say it.
    times : {"local", "utc"}
        What times without an offset are in.

    Returns
    -------
    hours : DataFrame
        time (start of the hour, UTC) and the columns found, NaN where nothing was measured; in order, each hour once.
    told : WeatherColumns

    Raises
    ------
    InputMissing
        A unit is not in the header and was not given: it is asked for, never guessed.
    FileRefused
        No time, temperature, humidity or wind column; nothing in it.
    RowsRefused
        Lines that can't be used.

    Notes
    -----
    Of the hour that clocks repeat, the second is the later one where the file is in order. A time that clocks leave out
    is refused. Wind directions by compass point are taken as their bearing.

    Examples
    --------
    >>> read_weather("nowhere.csv", time_zone="UTC")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    zone = _zone(time_zone, times)
    table = read_table(path, ("time", "date", "temperature", "humidity", "wind_speed", "rain"), pattern=r".+")
    chosen = _columns(table, columns or {})
    told = {name: _unit(name, chosen[name], units or {}) for name in chosen if name in UNITS}
    missing = [f"unit of column {chosen[name]!r} ({', '.join(UNITS[name])})"
               for name, unit in told.items() if unit is None]
    if missing:
        many = "1 column" if len(missing) == 1 else f"{len(missing)} columns"
        raise InputMissing(f"{table.name} does not say the unit of {many}", "; ".join(missing),
                           "give it; a wrong unit would turn every hour", missing=missing)
    known = {name: str(unit) for name, unit in told.items()}
    frame = _rows(table, chosen, known, zone)
    hours = _hourly(frame)
    return hours, WeatherColumns(chosen, known,
                                 tuple(name for name in table.columns if name not in chosen.values()),
                                 _gaps(hours["time"], time_zone))


def _columns(table: Table, given: Mapping[str, str]) -> dict[str, str]:
    """Choose a column of the file for each of ours."""
    left = list(table.columns)
    chosen: dict[str, str] = {}
    for ours, theirs in given.items():
        if ours not in (*UNITS, "time", "date"):
            raise InputRefused(f"column {ours!r} is asked for", f"it must be one of time, date, {', '.join(UNITS)}")
        name = column_name(theirs)
        if name not in table.columns:
            raise FileRefused(f"{table.name} has no column {theirs!r}", f"it has {', '.join(table.columns)}")
        chosen[ours] = name
        left.remove(name)
    clock = [name for name in left if re.fullmatch(_TIME, name)]
    if "time" not in chosen:
        # One column that holds both comes first; else a date and an hour beside it.
        both = ([name for name in clock if re.search(r"stamp|date_?time", name)]
                or [name for name in clock if "time" in name] or clock)
        if not both:
            raise FileRefused(f"{table.name} has no time column", f"it has {', '.join(table.columns)}",
                              "name the column that holds the time")
        chosen["time"] = both[0]
    if "date" not in chosen:
        days = [name for name in clock if name != chosen["time"] and re.search(r"^(local_?)?(date|day)", name)]
        if days:
            chosen["date"] = days[0]
    left = [name for name in left if name not in chosen.values()]
    for ours, (head, never) in _HEADS.items():
        found = [name for name in left if re.search(head, name) and not re.search(never, name)]
        if ours not in chosen and found:
            chosen[ours] = min(found, key=len)
            left.remove(chosen[ours])
    absent = [name for name in _NEEDED if name not in chosen]
    if absent:
        raise FileRefused(f"{table.name} has no column for {', '.join(absent)}", f"it has {', '.join(table.columns)}",
                          "name the columns, or take another table")
    return {name: chosen[name] for name in ("time", "date", *_ORDER) if name in chosen}


def _unit(ours: str, theirs: str, given: Mapping[str, str]) -> str | None:
    """Find the unit of a column: as given, as its header says, or None where neither does."""
    allowed = UNITS[ours]
    if ours in given:
        if given[ours] not in allowed:
            raise InputRefused(f"unit of {ours} is {given[ours]!r}", f"it must be one of {', '.join(allowed)}")
        return given[ours]
    for pattern, unit in _WRITTEN.items():
        if unit in allowed and re.search(pattern, theirs):
            return unit
    # Degrees and percent are what a direction and a humidity are told in; a share shows in its range below.
    return {"wind_from_deg": "degrees", "humidity_pct": "percent"}.get(ours)


def _rows(table: Table, chosen: dict[str, str], units: dict[str, str], zone: zoneinfo.ZoneInfo) -> pd.DataFrame:
    """Read every line, or list those that can't be used."""
    problems = list(table.problems)
    records: list[dict[str, object]] = []
    last: dt.datetime | None = None
    for line, cells in table.rows:
        try:
            stamp, last = _moment(cells, chosen, zone, last)
            records.append({"time": stamp, **{name: _value(cells[chosen[name]], name, unit)
                                              for name, unit in units.items()}})
        except ValueError as problem:
            problems.append((line, str(problem)))
    if problems:
        raise refusal(table.name, sorted(problems), table.unit)
    if not records:
        raise FileRefused(f"{table.name} holds no hour", "it has a header only", "export it again")
    return pd.DataFrame(records)


def _moment(
    cells: Mapping[str, str], chosen: dict[str, str], zone: zoneinfo.ZoneInfo, last: dt.datetime | None
) -> tuple[pd.Timestamp, dt.datetime | None]:
    """Read a line's time; of a repeated local hour the second one in the file is the later."""
    shown = " ".join(cells[chosen[name]].strip() for name in ("date", "time") if name in chosen)
    if re.fullmatch(r"[0-9-]{10} [0-9]{1,2}", shown):
        shown += ":00"
    try:
        given = dt.datetime.fromisoformat(re.sub(r"^([0-9-]{10}) ([0-9]:)", r"\1 0\2", shown))
    except ValueError:
        raise ValueError(f"time is {shown!r}: it must be year-month-day and hour, as 2026-11-03 07:00") from None
    if given.tzinfo is not None:
        return pd.Timestamp(given).tz_convert("UTC"), None
    placed = given.replace(tzinfo=zone)
    back = placed.astimezone(dt.UTC).astimezone(zone)
    if back.replace(tzinfo=None) != given:
        raise ValueError(f"time is {shown!r}: the clocks jumped over it in {zone.key}")
    if last is not None and placed.replace(fold=0).utcoffset() != placed.replace(fold=1).utcoffset() and (
            given <= last.replace(tzinfo=None) or last.fold):
        placed = placed.replace(fold=1)
    return pd.Timestamp(placed).tz_convert("UTC"), placed


def _value(text: str, ours: str, unit: str) -> float:
    """Read a number in its unit; NaN where the station tells nothing."""
    bare = text.strip()
    if ours == "wind_from_deg" and bare.upper() in _COMPASS:
        return 22.5 * _COMPASS.index(bare.upper())
    if ours == "wind_km_per_h" and bare.casefold() == "calm":
        return 0.0
    if bare.casefold() in _NOTHING:
        return float("nan")
    if re.fullmatch(r"[-+]?[0-9]+,[0-9]+", bare):
        bare = bare.replace(",", ".")
    try:
        number = float(bare)
    except ValueError:
        raise ValueError(f"{ours} is {text!r}: it must be a number") from None
    scale, shift = UNITS[ours][unit]
    value = number * scale + shift
    low, high = _RANGE[ours]
    if not low <= round(value, 6) <= high:
        raise ValueError(f"{ours} is {number:g} {unit}: it must be {low:g} to {high:g} in our unit; is the unit right?")
    return value


def _hourly(frame: pd.DataFrame) -> pd.DataFrame:
    """Bring lines that come more often than hourly to one an hour."""
    special: dict[str, Any] = {"gust_km_per_h": "max", "rain_mm": _sum, "wind_from_deg": "first"}
    how = {str(name): special.get(str(name), "mean") for name in frame.columns if name != "time"}
    grouped = frame.assign(time=frame["time"].dt.floor("h")).groupby("time", sort=True).agg(how)
    return grouped.reset_index().astype(dict.fromkeys(how, "float64"))


def _sum(values: pd.Series) -> float:
    """Add rain up; unknown where any part of the hour is."""
    return float(values.sum(skipna=False))


def _gaps(time: pd.Series, time_zone: str) -> tuple[str, ...]:
    """Tell which hours are missing between the first and the last."""
    whole = pd.date_range(time.iloc[0], time.iloc[-1], freq="h")
    absent = whole.difference(pd.DatetimeIndex(time))
    if not len(absent):
        return ()
    starts = [absent[0], *(b for a, b in pairwise(absent) if b - a > pd.Timedelta(hours=1))]
    told = []
    for start in starts:
        run = absent[absent >= start]
        hours = 1
        while hours < len(run) and run[hours] - run[hours - 1] == pd.Timedelta(hours=1):
            hours += 1
        told.append(f"{hours} hour{'s' if hours > 1 else ''} from {start.tz_convert(time_zone):%Y-%m-%d %H:%M}")
    return tuple(told)


def _zone(time_zone: str, times: str) -> zoneinfo.ZoneInfo:
    """Return the zone that bare times are in."""
    if times not in ("local", "utc"):
        raise InputRefused(f"times are {times!r}", "they must be local or utc")
    try:
        return zoneinfo.ZoneInfo("UTC" if times == "utc" else time_zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        raise InputRefused(f"time zone is {time_zone!r}", "it must be a name such as Europe/Rome") from None
