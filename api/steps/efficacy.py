"""Did it work: check trees named before, counts compared after, and the date to look again."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from api.steps.outcome import Outcome, plain
from api.steps.pressure import choose_walk, load_grove, work_out_pressure
from api.steps.treating import progress_of, started_on
from api.steps.treating import treatment_of as find_treatment
from api.store import Grove, open_grove
from api.store.treatments import StoredTreatment
from gridmap import treatment
from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import (
    WITHOUT_CHECK_TREES,
    Counted,
    Efficacy,
    Label,
    change_of_counts,
    check_trees_needed,
    degree_days,
    efficacy_of_counts,
    follow_up,
    group_diversity,
    power_of,
    propose_check_trees,
)
from gridmap.words import date_words


def propose_checks(
    path: Path, *, zone: str | None = None, n: int | None = None, hoped_percent: float = 80.0, power: float = 0.8,
    keep: bool = True, seed: int = 1, who: str = "grower",
) -> Outcome:
    """Name the trees of a zone to leave unsprayed, how many and where, so that the treatment can be proved.

    Parameters
    ----------
    path : Path
        Grove.
    zone : str, optional
        UUID; the newest when left out.
    n : int, optional
        Check trees; as many as the power asks for when left out.
    hoped_percent, power : float
        Fall that is hoped for [percent], and the chance of proving it.
    keep : bool
        Store them with the zone.
    seed : int
        The same seed names the same trees.
    who : str
        For the history.
    """
    with open_grove(path, read_only=True) as grove:
        kept = grove.zone(zone)
    result = work_out_pressure(load_grove(path, walk=kept.walk))
    inside = kept.trees[kept.trees["why"] != "dropped"]
    frame = result.frame.merge(inside[["tree"]], on="tree").merge(
        result.grove.trees[["tree", "block", "row", "position", "geometry"]], on="tree")
    if len(frame) < 2:
        raise InputRefused(f"the zone holds {len(frame)} living trees", "a check tree is one of several",
                           "make a larger zone")
    mean, k = float(frame["mean_per_beat"].mean()), usual_k(result)
    counted = int(min(len(frame), max(20, len(result.grove.counts))))
    wanted = n if n is not None else check_trees_needed(mean, k, counted, efficacy_percent=hoped_percent, power=power)
    doubts = []
    if wanted is None or wanted > len(frame) // 3:
        most = max(len(frame) // 3, 1)
        doubts.append(f"With {len(frame)} trees and {mean:.1f} a beat a fall of {hoped_percent:g} % can hardly be "
                      "proved: "
                    f"{most} check trees are a third of the zone.")
        wanted = most if wanted is None or n is None else wanted
    xy = np.column_stack([frame["geometry"].map(lambda p: p.x), frame["geometry"].map(lambda p: p.y)])
    chosen = frame.iloc[propose_check_trees(xy, frame["mean_per_beat"], int(wanted), seed=seed)]
    chance = power_of(mean, k, counted, max(int(wanted), 1), efficacy_percent=hoped_percent)
    labels = [f"{line.block} row {line.row} tree {line.position}" for line in chosen.itertuples()]
    said = [f"Leave {len(chosen)} trees unsprayed: {'; '.join(labels)}.",
            f"Beat them and {counted} sprayed trees before and after: a fall of {hoped_percent:g} % is then proved in "
            f"{100 * chance:.0f} of 100 cases.", *doubts, "Mark them so that the gun passes them."]
    if keep:
        with open_grove(path) as grove:
            grove.set_check_trees(kept.uuid, chosen["tree"], who=who)
    table = pd.DataFrame({"block": chosen["block"], "row": chosen["row"], "tree": chosen["position"],
                          "expected_per_beat": chosen["mean_per_beat"].round(2)})
    return Outcome(said=tuple(said), figures={"zone": kept.uuid, "check_trees": chosen["tree"].tolist(),
                                              "labels": labels, "power": chance, "sprayed_to_count": counted,
                                              "mean_per_beat": mean, "k": k, "kept": keep},
                   tables={"Check trees": table})


def usual_k(result: Any) -> float:
    """Return how unevenly insects sit, from the fit to the walk."""
    counts = result.grove.counts
    column = counts["nymphs"].fillna(0) + (counts["adults"].fillna(0) if result.counted == "nymphs_and_adults" else 0)
    return treatment.common_k((Counted(tuple(column.astype(float))),))


def efficacy(
    path: Path, *, treatment_uuid: str | None = None, before: str | None = None, after: str | None = None
) -> Outcome:
    """Compare counts before and after a treatment, sprayed trees against check trees, with limits.

    Parameters
    ----------
    path : Path
        Grove.
    treatment_uuid : str, optional
        The newest when left out.
    before, after : str, optional
        Walks by date or name; the last before and the first after the treatment's start when left out.
    """
    with open_grove(path, read_only=True) as grove:
        stored = find_treatment(grove, treatment_uuid)
        first, second = _walks_around(grove, stored, before, after)
        done = set(progress_of(grove, stored).done["tree"])
        checks = set(grove.check_trees(stored.zone))
        counted = str((grove.setting("threshold") or {}).get("counts") or "nymphs")
        groups = {(when, whose): _counted(grove, walk, trees, counted)
                  for when, walk in (("before", first), ("after", second))
                  for whose, trees in (("sprayed", done - checks), ("check", checks))}
        beneficials = [_beneficials(grove, walk, trees, when, whose)
                       for when, walk in (("before", first), ("after", second))
                       for whose, trees in (("sprayed", done - checks), ("not sprayed", None))
                       for trees in [trees if trees is not None else _others(grove, done)]]
    if not done:
        raise InputMissing("no tree of the treatment is ticked off", "what was sprayed is compared with what was not",
                           "write the runs down first", missing=["the runs that were done"])
    with_checks = groups["before", "check"].total > 0 and groups["after", "check"].trees > 0
    if with_checks:
        found = efficacy_of_counts(*(groups[key] for key in (
            ("before", "sprayed"), ("after", "sprayed"), ("before", "check"), ("after", "check"))))
    else:
        found = change_of_counts(groups["before", "sprayed"], groups["after", "sprayed"])
    days = (second["date"] - first["date"]).days
    said = [_said(found, with_checks=with_checks, days=days)]
    if not with_checks:
        said.append(f"This is {WITHOUT_CHECK_TREES}. Weather and enemies change counts too.")
    table = pd.DataFrame([{"trees": whose, "when": when, "walk": (first if when == "before" else second)["date"],
                           "beaten": group.trees, "insects": group.total,
                           "per_beat": group.total / group.trees if group.trees else float("nan")}
                          for (when, whose), group in groups.items()])
    catch = pd.DataFrame(beneficials)
    figures = {"treatment": stored.uuid, "percent": found.percent, "low_95": found.low, "high_95": found.high,
               "with_check_trees": with_checks, "days_between": days, "counted": counted,
               "groups": plain(table.to_dict("records")), "beneficials": plain(beneficials)}
    return Outcome(said=tuple(said), figures=figures, tables={"Counts": table, "Beneficials": catch})


def when_again(
    path: Path, *, treatment_uuid: str | None = None, interval_days: float | None = None, calendar: Path | None = None
) -> Outcome:
    """Tell when to beat again and when the label allows a second spray; write both to a calendar file."""
    with open_grove(path, read_only=True) as grove:
        stored = find_treatment(grove, treatment_uuid)
        zone = ZoneInfo(grove.grove.time_zone)
        day = started_on(stored, zone)
        label = Label.from_dict(stored.facts.get("label") or {})
        held = grove.weather()
        name = grove.grove.name
    daily = None if held is None else _daily(held[1], day, zone)
    found = follow_up(day, interval_days=interval_days, least_interval_days=label.least_interval_days,
                      daily_degree_days=daily)
    figures: dict[str, Any] = {"treatment": stored.uuid, "treated": day, "beat_again": found.beat_again,
                               "allowed_from": found.allowed_from, "comparable_hatch": found.hatch}
    said = list(found.words)
    if calendar is not None:
        from gridmap.exchange import write_calendar

        events = [(f"Beat again: {name}", found.beat_again, found.words[0], f"{stored.uuid}-beat")]
        if found.allowed_from is not None:
            events.append((f"Second spray allowed by the label as typed: {name}", found.allowed_from,
                           "The count decides; the label is the law.", f"{stored.uuid}-allowed"))
        write_calendar(calendar, events)
        said.append(f"Written to {calendar.name}: {len(events)} dates.")
        figures["file"] = calendar.name
    return Outcome(said=tuple(said), figures=plain(figures), cautions=treatment.cautions("date", label))


def _said(found: Efficacy, *, with_checks: bool, days: int) -> str:
    """Say the figure with its limits."""
    what = "Efficacy" if with_checks else "Counts fell by"
    if not with_checks and found.percent < 0:
        return (f"Counts rose by {-found.percent:.0f} % in {days} days (95 % limits: {found.low:.0f} to "
                f"{found.high:.0f} % fallen).")
    return f"{what} {found.percent:.0f} % after {days} days (95 % limits {found.low:.0f} to {found.high:.0f} %)."


def _walks_around(
    grove: Grove, stored: StoredTreatment, before: str | None, after: str | None
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the walks before and after a treatment."""
    walks = grove.walks()
    day = started_on(stored, ZoneInfo(grove.grove.time_zone))
    dates = pd.to_datetime(walks["date"]).dt.date

    def chosen(name: str | None, among: pd.DataFrame, at: int, words: str) -> dict[str, Any]:
        if name is not None:
            return choose_walk(walks, name)
        if among.empty:
            raise InputMissing(f"there is no walk {words} {date_words(day)}", "counts are compared before and after",
                               "walk, or name the walk", missing=[f"a walk {words} the treatment"])
        return dict(among.iloc[at])

    first = chosen(before, walks[dates <= day], -1, "before")
    second = chosen(after, walks[dates > day], 0, "after")
    for walk in (first, second):
        walk["date"] = pd.Timestamp(walk["date"]).date()
    if second["date"] <= first["date"]:
        raise InputRefused(f"the walks are of {first['date']} and {second['date']}", "the second must be the later one")
    return first, second


def _counted(grove: Grove, walk: dict[str, Any], trees: set[str], counted: str) -> Counted:
    """Return the counts of some trees on a walk, brought to one number of taps; a tree beaten twice gives its mean."""
    counts = grove.counts(walk["walk"])
    counts = counts[counts["tree"].isin(trees)]
    number = counts["nymphs"].fillna(0) + (counts["adults"].fillna(0) if counted == "nymphs_and_adults" else 0)
    taps = counts["taps"].median() if len(counts) else 1.0
    each = (number * taps / counts["taps"]).groupby(counts["tree"]).mean()
    return Counted(tuple(float(value) for value in each))


def _others(grove: Grove, done: set[str]) -> set[str]:
    """Return the trees that were not sprayed."""
    return set(grove.trees()["tree"]) - done


def _beneficials(grove: Grove, walk: dict[str, Any], trees: set[str], when: str, whose: str) -> dict[str, Any]:
    """Tell the beneficials of some trees on a walk: a beat's worth, how many groups; ants apart."""
    counts = grove.counts(walk["walk"])
    counts = counts[counts["tree"].isin(trees)]
    catch = grove.catch(walk["walk"])
    catch = catch[catch["count"].isin(counts["count"])]
    friends = catch[catch["group"] != "ant"].groupby("group")["number"].sum()
    diversity = group_diversity(friends.to_numpy(dtype=float))
    beaten = len(counts)
    return {"when": when, "trees": whose, "beaten": beaten,
            "beneficials_per_beat": float(friends.sum()) / beaten if beaten else float("nan"),
            "groups": diversity.order_0, "groups_as_common": diversity.order_1,
            "ants_per_beat": float(catch.loc[catch["group"] == "ant", "number"].sum()) / beaten if beaten else
            float("nan")}


def _daily(hours: pd.DataFrame, day: dt.date, zone: ZoneInfo) -> np.ndarray[Any, np.dtype[np.float64]] | None:
    """Return degree-days of the days from a treatment on, for the comparable species' eggs; None where days lack."""
    local = hours["time"].dt.tz_convert(zone).dt.date
    by_day = hours[local >= day].groupby(local)["temperature_c"]
    low, high, many = by_day.min(), by_day.max(), by_day.count()
    whole = (many >= 20).to_numpy()
    days = list(low.index)
    run = 0
    while run < len(days) and whole[run] and days[run] == day + dt.timedelta(days=run):
        run += 1
    if not run:
        return None
    return np.atleast_1d(degree_days(low.to_numpy()[:run], high.to_numpy()[:run], treatment.COMPARABLE_EGG[0]))
