"""The weather hour: a table of hours in, each judged by the grower's own limits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd

from api.steps.outcome import Outcome, plain
from api.store import Grove, open_grove
from gridmap import treatment
from gridmap.checks import one_of
from gridmap.crs import to_lonlat
from gridmap.errors import InputMissing, InputRefused
from gridmap.exchange import read_weather
from gridmap.treatment import REASONS, USUAL, SprayPlace, WeatherLimits, judge_hours
from gridmap.words import date_words

LIMITS: Final = "weather_limits"
FLOWERING: Final = "flowering"
FLOWERS: Final = ("none", "trees", "sward", "both", "unknown")
#: A note on flowers or bees older than this says nothing of today (common practice, no source).
_NOTE_HOLDS: Final = dt.timedelta(days=7)
_MOST_HOURS = 24 * 14


def import_weather(
    path: Path, file: Path, *, name: str = "weather", columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None, times: str = "local", who: str = "grower",
) -> Outcome:
    """Read the hours of a station or a forecast; hours that are there already are replaced.

    Parameters
    ----------
    path, file : Path
        Grove; CSV of hours.
    name : str
        What the table is called.
    columns, units : mapping, optional
        Our name of a column to the file's, and to its unit (see `gridmap.exchange.read_weather`).
    times : {"local", "utc"}
        What times without an offset are in.
    who : str
        For the history.
    """
    with open_grove(path) as grove:
        hours, told = read_weather(file, time_zone=grove.grove.time_zone, columns=columns, units=units, times=times)
        kept = {"columns": told.columns, "units": told.units, "file": file.name}
        held = grove.set_weather(name, hours, kept, who=who)
        zone = ZoneInfo(grove.grove.time_zone)
    first, last = (hours["time"].iloc[i].tz_convert(zone) for i in (0, -1))
    said = [f"{len(hours)} hours from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, local time.",
            "Read as: " + "; ".join(f"{theirs} as {ours}" + (f" in {told.units[ours]}" if ours in told.units else "")
                                    for ours, theirs in told.columns.items()) + "."]
    if told.gaps:
        said.append(f"Missing: {', '.join(told.gaps)}.")
    if told.ignored:
        said.append(f"Nothing was read from {', '.join(told.ignored)}.")
    return Outcome(said=tuple(said), figures={"hours": len(hours), "kept": held, "name": name, "columns": told.columns,
                                              "units": told.units, "ignored": list(told.ignored),
                                              "gaps": list(told.gaps)})


def set_weather_limits(path: Path, typed: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Keep the limits as read off the label; what was left out stays as it was."""
    given = {name: value for name, value in typed.items() if value is not None}
    if not given:
        raise InputRefused("no limit was typed", "at least one must be given", "see --help for their names")
    with open_grove(path) as grove:
        limits = WeatherLimits.from_dict({**(grove.setting(LIMITS) or {}), **given})
        grove.set_setting(LIMITS, limits.to_dict(), who=who)
    shown = ", ".join(f"{name} {value:g}" for name, value in limits.to_dict().items() if value is not None)
    return Outcome(said=(f"Kept: {shown}.", "The label in your hand is the law; this is only a copy of it."),
                   figures={LIMITS: limits.to_dict()})


def note_flowering(
    path: Path, flowering: str | None = None, *, on: dt.date | None = None, bees_not_flying_at: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Note what is in flower, or that no bee was seen flying at an hour."""
    with open_grove(path) as grove:
        zone = ZoneInfo(grove.grove.time_zone)
        note = dict(grove.setting(FLOWERING) or {})
        said = []
        if flowering is not None:
            note["flowering"] = one_of(flowering, FLOWERS, "what is in flower")
            note["on"] = (on or dt.datetime.now(zone).date()).isoformat()
            said.append(f"Noted on {note['on']}: in flower {flowering}.")
        if bees_not_flying_at is not None:
            at = _moment(bees_not_flying_at, zone)
            note["bees"] = [*note.get("bees", []), at.isoformat()][-50:]
            said.append(f"Noted: bees not flying, observed at {at.astimezone(zone):%Y-%m-%d %H:%M}.")
        if not said:
            raise InputRefused("nothing was noted", "say what is in flower, or when no bee was seen flying")
        grove.set_setting(FLOWERING, note, who=who)
    return Outcome(said=tuple(said), figures={FLOWERING: note})


def spray_hours(path: Path, *, name: str | None = None, day: str | None = None, hours: int = 48) -> Outcome:
    """Judge the hours of a weather table: good, careful or no, with reasons in words.

    Parameters
    ----------
    path : Path
        Grove.
    name : str, optional
        Weather table; the one read last when left out.
    day : str, optional
        First local day, YYYY-MM-DD; the first of the table when left out.
    hours : int
        How many hours are told.
    """
    if not 1 <= hours <= _MOST_HOURS:
        raise InputRefused(f"{hours} hours are asked for", f"it must be 1 to {_MOST_HOURS}")
    with open_grove(path, read_only=True) as grove:
        held = grove.weather(name)
        if held is None:
            raise InputMissing("the grove has no weather table", "hours are judged from one",
                               "import a table of hours first", missing=["a weather table"])
        zone = ZoneInfo(grove.grove.time_zone)
        limits, usual = WeatherLimits.from_dict(grove.setting(LIMITS) or {}).filled()
        title, table, _ = held
        first = table["time"].iloc[0] if day is None else pd.Timestamp(_day(day), tz=zone).tz_convert("UTC")
        place = _place(grove, first)
    judged = judge_hours(table, limits, place)
    judged = judged.merge(table, on="time", how="left")
    shown = judged[judged["time"] >= first].head(hours).reset_index(drop=True)
    if shown.empty:
        raise InputRefused(f"the table {title!r} has no hour from {first.tz_convert(zone):%Y-%m-%d %H:%M} on",
                           "it ends before", "choose an earlier day, or import newer hours")
    return _describe(shown, zone, title, limits, usual, place)


def _describe(
    shown: pd.DataFrame, zone: ZoneInfo, title: str, limits: WeatherLimits, usual: tuple[str, ...], place: SprayPlace
) -> Outcome:
    """Say what the hours are fit for."""
    local = shown["time"].dt.tz_convert(zone)
    spans = _spans(shown, local, "good")
    said = [f"Good hours: {'; '.join(spans)}." if spans else
            "No hour is good by these figures. " + (f"Careful: {'; '.join(_spans(shown, local, 'careful'))}."
                                                     if (shown["fit"] == "careful").any() else "")]
    said.append("Numbers of a station or a forecast; the wind at the tree and the label decide.")
    if usual:
        said.append("Usual limits stand in where you typed none: " + "; ".join(
            f"{name} {USUAL[name][0]:g} ({USUAL[name][1]})" for name in usual) + ".")
    table = pd.DataFrame({
        "hour": local.dt.strftime("%Y-%m-%d %H:%M"), "fit": shown["fit"],
        "temperature_c": shown["temperature_c"].round(1), "depression_c": shown["depression_c"].round(1),
        "wind_km_per_h": shown["wind_km_per_h"].round(0), "why": shown["words"]})
    records = plain(shown.assign(time=shown["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
                                 local=local.dt.strftime("%Y-%m-%dT%H:%M"),
                                 day=local.dt.strftime("%Y-%m-%d")).to_dict("records"))
    figures = {"weather": title, "hours": records, "lanes": list(REASONS), "good_spans": spans,
               "limits": limits.to_dict(), "usual": list(usual),
               "sources": {key: source for key, (_, source) in USUAL.items()}, "flowering": place.flowering}
    return Outcome(said=tuple(said), figures=figures, tables={"Hours": table}, cautions=treatment.cautions("drift"))


def _spans(shown: pd.DataFrame, local: pd.Series, fit: str) -> list[str]:
    """Join hours of one kind that follow one another."""
    spans: list[list[pd.Timestamp]] = []
    for time, here, state in zip(shown["time"], local, shown["fit"], strict=True):
        if state != fit:
            continue
        end = here + pd.Timedelta(hours=1)
        if spans and spans[-1][2] == time:
            spans[-1][1:] = [end, time + pd.Timedelta(hours=1)]
        else:
            spans.append([here, end, time + pd.Timedelta(hours=1)])
    return [f"{date_words(begin.date())} {begin:%H:%M} to {end:%H:%M}" for begin, end, _ in spans]


def _place(grove: Grove, first: pd.Timestamp) -> SprayPlace:
    """Return where the hours are judged, and what the grower noted lately."""
    longitude, latitude, elevation = grove_middle(grove)
    note = grove.setting(FLOWERING) or {}
    noted = dt.date.fromisoformat(note["on"]) if note.get("on") else None
    day = first.tz_convert(ZoneInfo(grove.grove.time_zone)).date()
    fresh = noted is not None and abs(day - noted) <= _NOTE_HOLDS
    return SprayPlace(longitude=longitude, latitude=latitude, time_zone=grove.grove.time_zone, elevation_m=elevation,
                      flowering=note["flowering"] if fresh else "unknown",
                      bees_seen_not_flying=tuple(pd.Timestamp(at) for at in note.get("bees", [])))


def grove_middle(grove: Grove) -> tuple[float, float, float | None]:
    """Return longitude and latitude [degrees] of the grove's middle, and its mean height [m] where that is known."""
    blocks = grove.blocks()
    if blocks.empty:
        raise InputMissing("the grove has no block yet", "the sun's place needs one", "draw a block first",
                           missing=["a block"])
    middle = to_lonlat(gpd.GeoDataFrame(geometry=[blocks.union_all().centroid], crs=blocks.crs)).geometry.iloc[0]
    heights = grove.places()["elevation_m"].dropna()
    return float(middle.x), float(middle.y), float(heights.mean()) if len(heights) else None


def _moment(text: str, zone: ZoneInfo) -> dt.datetime:
    """Read a time; without an offset it is the grove's own."""
    try:
        found = dt.datetime.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"the time is {text!r}", "it must be as 2026-11-03T18:30") from None
    return found.replace(tzinfo=zone) if found.tzinfo is None else found


def _day(text: str) -> dt.date:
    """Read a day."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"the day is {text!r}", "it must be as 2026-11-03") from None
