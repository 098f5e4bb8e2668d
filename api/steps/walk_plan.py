"""Plan a walk: which trees, which way round, how long, and when enough were beaten in a block."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from api.steps.facts import facts_of
from api.steps.grove import INVENTED
from api.steps.layers import blocks_layer, rows_layer, trees_layer
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.places_ground import coordinates
from api.steps.pressure import load_grove, work_out_pressure
from api.store import Grove
from gridmap import checks
from gridmap.crs import to_lonlat
from gridmap.errors import GridmapError, InputMissing, InputRefused
from gridmap.walk import PlanSettings, pace, plan_walk, stop_lines, table_of_lines, verdict_table
from gridmap.walk.mistakes import MOST_DAYS_OLD, MOST_INSECTS
from gridmap.walk.verdict import LEAST_TREES, VerdictTable
from gridmap.words import date_words
from maps.tally_sheet import tally_sheet

#: Words for what else lies on the sheet; any other word may be typed.
GROUPS: Final = ("spider", "ladybird", "lacewing", "ant")
_CLASSIC: Final = ("m0", "m1", "k", "alpha", "beta")
_SPREAD: Final = ("least_per_block", "edge_weight", "cross_row_m")
_DECIMALS: Final = 7


def make_plan(where: Path, given: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Plan a walk and keep the plan.

    Parameters
    ----------
    where : Path
        Grove file.
    given : mapping
        ``trees`` or ``minutes``; if wished plan, walk (UUIDs), date, name, seed, use_last_walk, gate (its name),
        least_per_block, edge_weight, cross_row_m, classic (m0, m1, k, alpha, beta).
    who : str
        For the history.

    Raises
    ------
    InputMissing
        There are no trees, or neither their number nor the time is said.
    InputRefused
        What is given makes no walk.
    """
    with open_grove(where) as grove:
        plan = given.get("plan")
        known = {each["plan"]: each for each in grove.plans()}
        settings = _settings(given)
        if plan in known and known[plan]["settings"] == settings and known[plan]["walk"] == given.get("walk"):
            # Sent again: what was planned then, not what would be planned now.
            return _told(grove, str(plan), new=False)
        date = given.get("date") or dt.datetime.now(ZoneInfo(grove.grove.time_zone)).date().isoformat()
        content = _work_out(where, grove, settings)
        made = grove.add_plan(
            content, date=date, settings=settings, name=given.get("name"), plan=plan, walk=given.get("walk"), who=who
        )
        return _told(grove, made, new=True)


def _settings(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a plan is made from, so that the same can be made again."""
    classic = given.get("classic")
    if classic is not None:
        absent = [name for name in _CLASSIC if classic.get(name) is None]
        if absent:
            raise InputMissing(
                f"the classic plan lacks {', '.join(absent)}", "all of it is yours to choose",
                f"give {', '.join(_CLASSIC)}", missing=absent,
            )
    spread = {name: given[name] for name in _SPREAD if given.get(name) is not None}
    return {
        "trees": given.get("trees"), "minutes": given.get("minutes"), "seed": int(given.get("seed") or 0),
        "use_last_walk": given.get("use_last_walk") is not False, "gate": given.get("gate"),
        **{name: getattr(PlanSettings(**spread), name) for name in _SPREAD},
        "classic": None if classic is None else {name: float(classic[name]) for name in _CLASSIC},
    }


def _work_out(where: Path, grove: Grove, settings: Mapping[str, Any]) -> dict[str, Any]:
    trees = grove.trees()
    if not len(trees):
        raise InputMissing(
            "the grove has no trees yet", "a walk goes from tree to tree", "lay rows or import trees first",
            missing=["trees"],
        )
    gate, facts = _gate(grove, settings["gate"]), facts_of(grove.settings())
    previous, seen = _last_round(where) if settings["use_last_walk"] else (None, None)
    speed = pace(grove.counts())
    walk = plan_walk(
        trees, settings["trees"], minutes=settings["minutes"], seed=settings["seed"], previous=previous,
        gate_xy=None if gate is None else gate["xy"], pace=speed,
        settings=PlanSettings(**{name: settings[name] for name in _SPREAD}),
    )
    threshold = facts.threshold
    verdicts = [] if threshold.per_beat is None else [
        _verdict(walk, trees, str(block), threshold.per_beat, settings).as_json()
        for block in sorted(walk["block"].unique())
    ]
    said = [
        f"{len(walk)} trees in {walk['block'].nunique()} blocks, {walk.attrs['length_m']:,.0f} m on foot"
        + (" from the gate and back." if gate else "."),
        speed.words(len(walk)),
    ]
    if seen is not None:
        number = int((walk["chosen"] == "uncertain").sum())
        said.append(f"{number} of them go where the walk of {date_words(seen)} left the decision open.")
    if not verdicts:
        said.append("No verdict on the way: your action threshold is not typed.")
    return plain({
        "trees": _lines(walk), "length_m": walk.attrs["length_m"], "back_m": walk.attrs["back_m"],
        "minutes": walk.attrs["minutes"], "own_pace": speed.own, "verdicts": verdicts,
        "gate": None if gate is None else {name: gate[name] for name in ("name", "longitude", "latitude")},
        "taps": threshold.standard_taps, "counted": threshold.counts, "said": said,
    })


def _gate(grove: Grove, named: str | None) -> dict[str, Any] | None:
    """Return the gate that the walk starts from: the one named, else the first there is."""
    points = grove.points()
    gates = points[points["kind"] == "gate"] if named is None else points[points["name"] == named]
    if not len(gates):
        if named is not None:
            raise InputRefused(f"there is no point called {named!r}", "the walk starts at a gate", "set it first")
        return None
    there = to_lonlat(gates.iloc[:1]).geometry.iloc[0]
    return {
        "name": str(gates["name"].iloc[0]), "longitude": round(there.x, _DECIMALS),
        "latitude": round(there.y, _DECIMALS), "xy": coordinates(gates.iloc[:1])[0],
    }


def _last_round(where: Path) -> tuple[pd.DataFrame | None, dt.date | None]:
    """Return the map of the last walk, none where there is none to be had."""
    try:
        result = work_out_pressure(load_grove(where))
    except GridmapError as trouble:
        # No walk yet, no threshold, nothing counted: then the walk is spread alone.
        logging.getLogger(__name__).debug("no last round: %s", trouble)
        return None, None
    if result.grove.facts.threshold.per_beat is None:
        return None, None
    return result.frame, result.grove.walk["date"]


def _verdict(
    walk: pd.DataFrame, trees: gpd.GeoDataFrame, block: str, per_beat: float, settings: Mapping[str, Any]
) -> VerdictTable:
    """Return the verdict table of one block."""
    route = coordinates(walk[walk["block"] == block])
    if settings["classic"] is not None:
        lines = stop_lines(**settings["classic"])
        return table_of_lines(
            lines, block=block, threshold_per_beat=per_beat, minimum=min(LEAST_TREES, len(route)), maximum=len(route),
            error=max(settings["classic"]["alpha"], settings["classic"]["beta"]),
        )
    return verdict_table(
        route, coordinates(trees[trees["block"] == block]), block=block, threshold_per_beat=per_beat,
        seed=settings["seed"],
    )


def _lines(walk: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    there = to_lonlat(walk).geometry
    frame = pd.DataFrame({
        **{name: walk[name] for name in ("order", "tree", "block", "row", "position")},
        "longitude": there.x.round(_DECIMALS), "latitude": there.y.round(_DECIMALS), "leg_m": walk["leg_m"].round(1),
        "chosen": walk["chosen"], "edge": walk["edge"],
    })
    return plain(frame.to_dict("records"))


def _told(grove: Grove, plan: str, *, new: bool) -> Outcome:
    """Answer with a plan as it is kept."""
    kept = grove.plan(plan)
    table = pd.DataFrame(kept["trees"])[["order", "block", "row", "position", "leg_m"]]
    said = tuple(kept["said"])
    return Outcome(
        said=(INVENTED, *said) if grove.grove.invented else said, figures={**kept, "new": new},
        tables={f"Walk of {date_words(dt.date.fromisoformat(kept['date']))}, in walking order": table},
    )


def plans_table(where: Path) -> list[dict[str, Any]]:
    """Return every planned walk: plan, walk, date, name, number of trees, when it was made."""
    with open_grove(where, read_only=True) as grove:
        kept = grove.plans()
    return [{**{name: each[name] for name in ("plan", "walk", "date", "name", "made")}, "trees": len(each["trees"])}
            for each in kept]


def show_plan(where: Path, plan: str | None = None) -> dict[str, Any]:
    """Return one planned walk, the newest when none is named."""
    with open_grove(where, read_only=True) as grove:
        kept = grove.plan(plan)
    return {name: value for name, value in kept.items() if name not in ("gate", "taps", "counted")}


def bundle(where: Path, plan: str) -> dict[str, Any]:
    """Return all that a phone takes along for a planned walk."""
    with open_grove(where, read_only=True) as grove:
        kept, info, blocks, state = grove.plan(plan), grove.grove, grove.blocks(), grove.state()[0]
    trees = trees_layer(where)
    trees.pop("cells")
    spacing = blocks.set_index("block")["row_spacing_m"]
    return plain({
        "version": str(state),
        "grove": {"grove": info.uuid, "name": info.name, "invented": info.invented, "time_zone": info.time_zone},
        "plan": {name: value for name, value in kept.items() if name not in ("gate", "taps", "counted")},
        "blocks": blocks_layer(where), "rows": rows_layer(where), "trees": trees, "gate": kept["gate"],
        "taps": kept["taps"], "counted": kept["counted"], "row_spacing_m": spacing.to_dict(), "groups": list(GROUPS),
        "checks": {"most_insects": MOST_INSECTS, "most_days_old": MOST_DAYS_OLD, "taps": kept["taps"]},
    })


def stop_lines_told(m0: float, m1: float, k: float, alpha: float, beta: float, *, most: int = 40) -> Outcome:
    """Work out classic stop lines, with the totals at which each number of trees may stop."""
    lines = stop_lines(m0, m1, k, alpha, beta)
    maximum = int(checks.number(most, "most trees", least=LEAST_TREES, most=500))
    table = table_of_lines(lines, block="any", threshold_per_beat=lines.slope, minimum=LEAST_TREES, maximum=maximum)
    n = np.arange(LEAST_TREES, maximum + 1)
    frame = pd.DataFrame({"trees": n, "clearly under at most": table.under, "clearly over from": table.over})
    return Outcome(
        said=(
            f"Total after n trees: clearly under up to {lines.slope:.3f} n {lines.lower:+.3f}, clearly over from "
            f"{lines.slope:.3f} n {lines.upper:+.3f}.",
            "These lines take counts for independent and k for known. Trees near one another are alike, so they "
            "promise too much: gridmap's own verdict comes with each planned walk.",
        ),
        figures={**lines._asdict(), "least_trees": LEAST_TREES},
        tables={"Totals at which one may stop": frame},
    )



def print_tally(where: Path, out: Path, plan: str | None = None) -> Outcome:
    """Print the tally sheet of a planned walk, the newest when none is named."""
    with open_grove(where, read_only=True) as grove:
        kept, info = grove.plan(plan), grove.grove
    day = dt.date.fromisoformat(kept["date"])
    file = tally_sheet(
        pd.DataFrame(kept["trees"]), out, grove=info.name, invented=info.invented, day=day, taps=kept["taps"],
        groups=GROUPS, verdicts=kept["verdicts"], length_m=kept["length_m"], minutes=kept["minutes"],
        plan=kept["plan"],
    )
    said = f"The walk of {date_words(day)}, {len(kept['trees'])} trees, is on {file.name}."
    return Outcome(said=(said,), figures={"plan": kept["plan"], "file": str(file), "trees": len(kept["trees"])})
