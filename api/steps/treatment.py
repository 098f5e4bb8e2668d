"""Treatment: the options side by side, the zone that is kept, and what goes into the tank."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import shapely

from api.steps.facts import Facts, facts_of
from api.steps.look_again import weigh_look_again
from api.steps.outcome import Outcome, plain
from api.steps.pressure import Grove, Pressure, load_grove, work_out_pressure
from api.steps.treatment_report import (
    Treatment,
    beneficial_words,
    describe_mix,
    describe_options,
    describe_zone,
    mix_figures,
    option_figures,
    stage_words,
    zone_figures,
)
from api.store import Grove as StoredGrove
from api.store import open_grove
from api.store.refusals import Conflict
from gridmap import __version__, treatment
from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import Mix

_BY_HAND = re.compile(r"^(?P<block>.+?)/(?P<row>\d+)(?:/(?P<first>\d+)(?:-(?P<last>\d+))?)?$")


def work_out_treatment(
    pressure: Pressure,
    *,
    margin_along_m: float = 0.0,
    margin_across_m: float = 0.0,
    add: Sequence[str] = (),
    drop: Sequence[str] = (),
) -> Treatment:
    """Go from chances to zone, options, mix and loads; nothing is stored.

    Raises
    ------
    InputMissing
        Names all that only the grower knows and has not typed.
    """
    grove, facts = pressure.grove, pressure.grove.facts
    treatment.require(
        "decision", threshold=facts.threshold, sprayer=facts.sprayer, label=facts.label, prices=facts.prices
    )
    costs = treatment.work_out_costs(
        grove.trees, grove.blocks, sprayer=facts.sprayer, label=facts.label, prices=facts.prices
    )
    gate_name, gate = start_gate(grove, pressure.walked)
    zone = treatment.make_zone(
        grove.trees,
        grove.blocks,
        pressure.frame,
        grove.keep_outs,
        walked=pressure.walked,
        cost_per_tree=costs.cost_per_tree,
        start_cost=costs.start_cost,
        loss_per_tree=costs.loss_per_tree,
        margin_along_m=margin_along_m,
        margin_across_m=margin_across_m,
        add=[by_hand(item) for item in add],
        drop=[by_hand(item) for item in drop],
        litres_per_tree=costs.per_tree["litres"],
        start=None if gate is None else (gate.x, gate.y),
    )
    if gate is not None and len(zone.runs) > 1:
        zone = replace(zone, notes=(*zone.notes, f"The walk starts at {gate_name}."))
    comparison = treatment.compare_options(
        grove.trees,
        grove.blocks,
        pressure.frame,
        pressure.draws,
        keep_outs=grove.keep_outs,
        walked=pressure.walked,
        threshold_per_beat=float(facts.threshold.per_beat or 0),
        costs=costs,
        zone=zone,
        stage=stage_words(grove.counts),
        beneficials=beneficial_words(grove.catch, len(grove.counts)),
    )
    again = weigh_look_again(pressure, costs, comparison, labour_per_hour=float(facts.prices.labour_per_hour or 0))
    mixed, loads = mix_zone(zone.trees, grove.trees, grove.blocks, facts) if len(zone.trees) else (None, pd.DataFrame())
    return Treatment(pressure, costs, zone, comparison, mixed, loads, again)


def start_gate(grove: Grove, walked: Sequence[str]) -> tuple[str, shapely.Point | None]:
    """Return the gate that the work starts at: the one nearest to a block that was walked, if there is any."""
    gates = grove.points[grove.points["kind"] == "gate"]
    known = grove.blocks[grove.blocks["block"].isin(walked)]
    if gates.empty or known.empty:
        return "", None
    nearest = gates.loc[gates.distance(known.union_all()).idxmin()]
    return str(nearest["name"]), nearest["geometry"]


def mix_zone(
    zone_trees: pd.DataFrame,
    trees: pd.DataFrame,
    blocks: pd.DataFrame,
    facts: Facts,
) -> tuple[Mix, pd.DataFrame]:
    """Work out litres, product and tank loads for treated trees in walking order."""
    canopy = trees[["tree", "canopy_height_m", "canopy_width_m"]]
    ordered = zone_trees.merge(canopy, on="tree", how="left", validate="one_to_one")
    mixed = treatment.mix(ordered, blocks, sprayer=facts.sprayer, label=facts.label)
    return mixed, treatment.tank_loads(zone_trees, mixed, sprayer=facts.sprayer)


def by_hand(text: str) -> str | dict[str, Any]:
    """Read what the grower adds or drops: BLOCK/ROW, BLOCK/ROW/TREE, BLOCK/ROW/FROM-TO or a tree's uuid.

    Examples
    --------
    >>> by_hand("Top/3/1-4")
    {'block': 'Top', 'row': 3, 'from_position': 1, 'to_position': 4}
    >>> by_hand("Top/3")
    {'block': 'Top', 'row': 3}
    """
    found = _BY_HAND.match(text.strip())
    if found is None:
        if re.fullmatch(r"[0-9a-fA-F-]{36}", text.strip()):
            return text.strip()
        raise InputRefused(
            f"a change by hand is {text!r}",
            "it must be BLOCK/ROW, BLOCK/ROW/TREE or BLOCK/ROW/FROM-TO",
            "for instance Top/3/1-4",
        )
    item: dict[str, Any] = {"block": found["block"], "row": int(found["row"])}
    if found["first"]:
        item |= {"from_position": int(found["first"]), "to_position": int(found["last"] or found["first"])}
    return item


def work_out_options(path: Path, *, walk: str | None = None) -> Outcome:
    """Put nothing, a spot, whole blocks and everything side by side, and keep nothing."""
    result = work_out_treatment(work_out_pressure(load_grove(path, walk=walk)))
    return describe_options(result)


def make_zone(
    path: Path,
    *,
    walk: str | None = None,
    margin_along_m: float = 0.0,
    margin_across_m: float = 0.0,
    add: Sequence[str] = (),
    drop: Sequence[str] = (),
    zone: str | None = None,
    replaces: str | None = "",
    who: str = "grower",
) -> Outcome:
    """Choose the trees and runs to spray and keep the zone, with the decision as it was made.

    A zone of the same walk that was kept before is replaced by a new version; the old one stays in the file. ``zone``
    is the UUID of the new one; ``replaces`` that of the one its maker has seen as the newest of the walk, None for
    none (a `Conflict` when it is another), whichever it is when left out.
    """
    result = work_out_treatment(
        work_out_pressure(load_grove(path, walk=walk)),
        margin_along_m=margin_along_m,
        margin_across_m=margin_across_m,
        add=add,
        drop=drop,
    )
    outcome = describe_zone(result)
    if not len(result.zone.trees):
        return outcome
    with open_grove(path) as grove, grove.act("make a zone", who=who):
        decision = grove.add_decision(plain(option_figures(result)), walk=result.pressure.grove.walk["walk"])
        newest = _newest_of_walk(grove, result.pressure.grove.walk["walk"])
        if replaces not in ("", newest):
            raise Conflict(
                "another zone of this walk was kept meanwhile", "an edit may not overwrite what it has not seen",
                "look at the newest one",
            )
        made = grove.add_zone(
            geometry=result.zone.geometry,
            runs=treatment.with_loads(result.zone.runs, result.zone.trees, result.loads),
            trees=result.zone.trees[["tree", "run", "why"]],
            loads=result.loads,
            settings=plain(zone_settings(result, add, drop)),
            summary=plain(zone_figures(result)),
            walk=result.pressure.grove.walk["walk"],
            decision=decision,
            replaces=newest,
            zone=zone,
        )
        kept = grove.zone(made)
    return Outcome(
        said=(*outcome.said, f"Kept as {kept.name}, version {kept.version}."),
        figures={**outcome.figures, "zone": kept.uuid, "version": kept.version},
        tables=outcome.tables,
        cautions=outcome.cautions,
    )


def _newest_of_walk(grove: StoredGrove, walk: str) -> str | None:
    """Return the newest zone that was made of a walk."""
    zones = grove.zones()
    same = zones[zones["walk"] == walk]
    return None if same.empty else str(same.iloc[-1]["zone"])


def zone_settings(result: Treatment, add: Iterable[str], drop: Iterable[str]) -> dict[str, Any]:
    """Return all that the zone was made from, so that it can be worked out again as it was."""
    facts = result.pressure.grove.facts
    return {
        **result.zone.settings,
        "cost_per_tree": result.costs.cost_per_tree.describe().to_dict(),
        "add": list(add),
        "drop": list(drop),
        "start": start_gate(result.pressure.grove, result.pressure.walked)[0] or None,
        "threshold": facts.threshold.to_dict(),
        "sprayer": facts.sprayer.to_dict(),
        "label": facts.label.to_dict(),
        "prices": facts.prices.to_dict(),
        "counted": result.pressure.counted,
        "gridmap": __version__,
    }


def work_out_mix(path: Path) -> Outcome:
    """Mix for the newest zone: from what is typed now, or as it was printed when the zone is frozen."""
    with open_grove(path) as grove:
        if grove.zones().empty:
            raise InputMissing(
                "there is no zone in the grove file",
                "a mix is for a zone's trees",
                "run gridmap zone first",
                missing=["a zone"],
            )
        zone, facts = grove.zone(), facts_of(grove.settings())
        if zone.frozen:
            return describe_mix(
                zone.summary["mix"],
                zone.loads,
                invented=grove.grove.invented,
                facts=facts,
                remark="This zone was printed, so its mix stays as it was. gridmap zone makes a new version.",
            )
        treatment.require("mix", label=facts.label)
        ordered = zone.trees.merge(
            grove.trees()[["tree", "block", "row", "position"]], on="tree", how="left", validate="one_to_one"
        )
        mixed, loads = mix_zone(ordered, grove.trees(), grove.blocks(), facts)
        summary = {**zone.summary, "litres": mixed.litres, "mix": plain(mix_figures(mixed, loads))}
        runs = zone.runs.assign(litres=mixed.by_tree.groupby(ordered["run"].to_numpy())["litres"].sum().to_numpy())
        grove.change_zone(
            zone.uuid, runs=treatment.with_loads(runs, ordered, loads), loads=loads, summary=summary, what="mix"
        )
        invented = grove.grove.invented
    return describe_mix(summary["mix"], loads, invented=invented, facts=facts)
