"""The walk: counts of one monitoring round in."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd

from api.steps.ground import neighbour_distance_m
from api.steps.outcome import Outcome
from api.store import Grove, open_grove
from gridmap.errors import InputMissing, InputRefused, RowsRefused
from gridmap.exchange import Resolved, catch_long, count_uuids, read_counts, resolve_trees
from gridmap.words import date_words

PARTS = ["line", "uuid", "tree", "time", "taps", "nymphs", "adults", "wing_buds", "reason", "accuracy_m", "observer"]


def import_counts(
    path: Path,
    file: Path,
    *,
    walk: str | None = None,
    date: str | None = None,
    crs: str | None = None,
    snap_m: float | None = None,
    accept_good_rows: bool = False,
    who: str = "grower",
) -> Outcome:
    """Read the counts of one walk; all or nothing, unless the good lines are asked for.

    Parameters
    ----------
    path, file : Path
        Grove file; CSV of counts.
    walk : str, optional
        Name of the walk.
    date : str, optional
        Its local day, YYYY-MM-DD, where the lines carry none.
    crs : str, optional
        CRS of easting and northing.
    snap_m : float, optional
        How far a position may lie from its tree [m]; half the usual distance between neighbours when left out.
    accept_good_rows : bool
        Store the good lines and tell the bad ones.
    who : str
        For the history.

    Raises
    ------
    RowsRefused
        With every bad line.
    """
    with open_grove(path) as grove:
        trees, limit = _trees_and_limit(grove, snap_m)
        read, problems = read_counts(file, crs=crs, time_zone=grove.grove.time_zone)
        found = resolve_trees(read, trees, limit_m=limit)
        problems = sorted([*problems, *found.problems])
        if problems and not (accept_good_rows and len(found.rows)):
            raise RowsRefused(
                f"{len(problems)} of {len(problems) + len(found.rows)} lines of {file.name} can't be used",
                "nothing was stored",
                "mend them, or say --accept-good-rows",
                problems,
            )
        day = walk_day(found.rows, date, ZoneInfo(grove.grove.time_zone))
        with grove.act(f"import counts from {file.name}", who=who):
            uuid = _walk(grove, day, walk, found.rows)
            rows = found.rows.assign(uuid=count_uuids(found.rows, grove=grove.grove.uuid, walk=uuid))
            counts = rows[PARTS].rename(columns={"uuid": "count"}).drop(columns="line").assign(walk=uuid)
            stored = grove.add_counts(pd.DataFrame(counts), catch_long(rows))
    return _told(file, day, found, stored.new, stored.already, problems, limit, list(read.attrs.get("ignored", [])))


def _trees_and_limit(grove: Grove, snap_m: float | None) -> tuple[gpd.GeoDataFrame, float]:
    """Return all plants, and how far a position may lie from its tree [m]."""
    trees = grove.trees(include_gone=True)
    if not len(trees):
        raise InputMissing(
            "the grove has no trees yet",
            "a count belongs to a tree",
            "lay rows or import trees first",
            missing=["trees"],
        )
    return trees, snap_limit_m(trees) if snap_m is None else snap_m


def snap_limit_m(trees: gpd.GeoDataFrame) -> float:
    """Return half the usual distance between living neighbours [m], 2 m where there is only one tree."""
    near = neighbour_distance_m(trees[trees["status"] == "alive"].get_coordinates().to_numpy())
    return near / 2 if math.isfinite(near) else 2.0


def walk_day(rows: pd.DataFrame, date: str | None, zone: ZoneInfo) -> dt.date:
    """Return the walk's local day: what the grower says, else what the lines carry."""
    if date is not None:
        try:
            return dt.date.fromisoformat(date)
        except ValueError:
            raise InputRefused(f"the date is {date!r}", "it must be a day such as 2026-02-03") from None
    days = {day for day in rows["date"] if isinstance(day, (dt.date, str)) and str(day)}
    times = pd.to_datetime(rows["time"], utc=True).dropna()
    days |= {day.isoformat() for day in times.dt.tz_convert(zone).dt.date}
    found = sorted({str(day) for day in days})
    if not found:
        raise InputMissing(
            "the day of the walk is not said",
            "the lines carry no time and no date",
            "say --date YYYY-MM-DD",
            missing=["the day of the walk"],
        )
    if len(found) > 3:
        raise InputRefused(
            f"the lines are of {len(found)} days, {found[0]} to {found[-1]}",
            "a walk is one round of a day or a few",
            "split the file, or say --date for the day the walk is kept under",
        )
    return dt.date.fromisoformat(found[0])


def _walk(grove: Grove, day: dt.date, name: str | None, rows: pd.DataFrame) -> str:
    """Return the walk of that day and name, a new one where there is none; the same file twice is one walk."""
    walks = grove.walks()
    same = walks[(walks["date"] == day) & (walks["name"].isna() if name is None else walks["name"] == name)]
    if len(same):
        return str(same.iloc[0]["walk"])
    observers = sorted({str(observer) for observer in rows["observer"].dropna()})
    return grove.add_walk(day, name=name, observer=", ".join(observers) or None)


def _told(
    file: Path,
    day: dt.date,
    found: Resolved,
    new: int,
    already: int,
    problems: list[tuple[int, str]],
    limit: float,
    ignored: list[str],
) -> Outcome:
    """Say what was stored and what was not."""
    said = [f"{new} counts stored for the walk of {date_words(day)}, on {found.rows['tree'].nunique()} trees."]
    if already:
        said.append(f"{already} were there already and are stored once.")
    snapped = found.rows["distance_m"].dropna()
    if len(snapped):
        said.append(
            f"Trees named by position: the nearest within {limit:.1f} m; on average {snapped.mean():.1f} m away, "
            f"at most {snapped.max():.1f} m."
        )
    said += found.notes
    if ignored:
        said.append(f"Not read: column {', '.join(ignored)}.")
    if problems:
        said.append(f"{len(problems)} lines were left out.")
    tables = {"Lines left out": pd.DataFrame(problems, columns=["line", "what is wrong"])} if problems else {}
    figures = {
        "walk_date": day.isoformat(),
        "counts_new": new,
        "counts_already_there": already,
        "trees": int(found.rows["tree"].nunique()),
        "snap_limit_m": limit,
        "columns_not_read": ignored,
        "lines_left_out": [{"line": line, "problem": text} for line, text in problems],
        "notes": found.notes,
    }
    return Outcome(said=tuple(said), figures=figures, tables=tables)
