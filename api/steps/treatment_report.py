"""What a treatment says of itself: options, zone and mix in sentences, tables and figures."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from api.steps.facts import Facts
from api.steps.grove import INVENTED
from api.steps.look_again import LookAgain, look_again_figures
from api.steps.outcome import Outcome
from api.steps.pressure import Pressure
from gridmap import treatment
from gridmap.treatment import Comparison, Costs, Mix, Zone


@dataclass(frozen=True)
class Treatment:
    """A zone with the decision around it and its mix."""

    pressure: Pressure
    costs: Costs
    zone: Zone
    comparison: Comparison
    mix: Mix | None
    loads: pd.DataFrame
    look_again: LookAgain | None = None


def stage_words(counts: pd.DataFrame) -> str:
    """Say what the sheets told of wing buds: the spray moment is just before the oldest nymphs get wings."""
    seen = counts["wing_buds"].dropna()
    if not len(seen):
        return ""
    most, some = int((seen == "most").sum()), int((seen == "some").sum())
    return f"of {len(seen)} sheets with nymphs {most} had mostly nymphs with wing buds and {some} had some"


def beneficial_words(catch: pd.DataFrame, sheets: int) -> str:
    """Say on how many sheets beneficials lay; ants tend scale and are told apart."""
    found = catch[catch["number"] > 0]
    kinds = found[found["group"] != "ant"].groupby("group")["count"].nunique().sort_values(ascending=False)
    ants = found.loc[found["group"] == "ant", "count"].nunique()
    words = [f"{str(group).replace('_', ' ')} on {number}" for group, number in kinds.items()]
    if ants:
        words.append(f"ants, which tend scale, on {ants}")
    return f"of {sheets} sheets {', '.join(words)}" if words else ""


def describe_options(result: Treatment) -> Outcome:
    """Say which option is cheapest, why, and how sure that is."""
    comparison = result.comparison
    table = comparison.options
    money = comparison.currency
    amounts = [
        treatment.amount_words(amount, unit) if amount == amount else "-"
        for amount, unit in zip(table["product"], table["product_unit"], strict=True)
    ]
    shown = pd.DataFrame(
        {
            "option": table["option"],
            "trees": table["trees"],
            "litres": table["litres"].round(0),
            "product": amounts,
            "hours": table["hours"].round(1),
            "loads": table["loads"],
            f"spend {money}": table["spend"].round(0),
            "likely loss": table["likely_loss"].round(0),
            "to expect": table["expected_cost"].round(0),
            "chance cheapest": [f"{share * 100:.0f} %" for share in table["chance_cheapest"]],
            "blocks": table["blocks"],
        }
    )
    said = ([INVENTED] if result.pressure.grove.info.invented else []) + [comparison.sentence, result.costs.sentence()]
    if result.look_again is not None:
        said.append(result.look_again.words())
    said += list(comparison.notes)
    return Outcome(
        said=tuple(said),
        figures=option_figures(result),
        tables={"Four ways to act": shown},
        cautions=treatment.cautions("decision"),
    )


def option_figures(result: Treatment) -> dict[str, Any]:
    """Return every figure of the options, units in the names."""
    costs = result.costs
    return {
        "currency": result.comparison.currency,
        "best": result.comparison.best,
        "look": list(result.comparison.look),
        "look_again": look_again_figures(result.look_again),
        "options": result.comparison.options.to_dict("records"),
        "cost_ratio": costs.cost_ratio,
        "cost_per_tree_mean": float(costs.cost_per_tree.mean()),
        "start_cost": costs.start_cost,
        "loss_per_tree": costs.loss_per_tree,
        "notes": list(result.comparison.notes),
    }


def zone_figures(result: Treatment) -> dict[str, Any]:
    """Return every figure of a zone, units in the names."""
    zone = result.zone
    return {
        "trees": len(zone.trees),
        "runs": len(zone.runs),
        "area_ha": zone.area_ha,
        "run_length_m": float(zone.runs["length_m"].sum()),
        "litres": float(zone.trees["litres"].sum()),
        "trees_chosen": int((zone.trees["why"] == "chosen").sum()),
        "trees_margin": int((zone.trees["why"] == "margin").sum()),
        "trees_added_by_hand": int((zone.trees["why"] == "added").sum()),
        "trees_barred": len(zone.barred),
        "not_walked": list(zone.not_walked),
        "changed_by_hand": changed_words(zone),
        "notes": list(zone.notes),
        "mix": mix_figures(result.mix, result.loads) if result.mix is not None else None,
    }


def changed_words(zone: Zone) -> str:
    """Say what was changed by hand, empty when nothing was."""
    return "; ".join(f"{row.asked} {row.change}" for row in zone.changes.itertuples() if row.trees)


def describe_zone(result: Treatment) -> Outcome:
    """Say how many trees and runs, list the runs, and what goes into the tank."""
    zone = result.zone
    said = [INVENTED] if result.pressure.grove.info.invented else []
    if not len(zone.trees):
        said += [
            "No tree is worth spraying at your prices and this walk's chances. No zone is kept.",
            result.comparison.sentence,
        ]
        return Outcome(
            said=tuple(said),
            figures={"options": option_figures(result), "trees": 0},
            cautions=treatment.cautions("decision"),
        )
    said.append(
        f"{len(zone.trees)} trees in {len(zone.runs)} runs, {zone.area_ha:.2f} ha, {zone.trees['litres'].sum():,.0f} L."
    )
    setback = zone.barred["keep_out"].notna().sum() if len(zone.barred) else 0
    if setback:
        said.append(f"{setback} trees stand in a setback and are never sprayed.")
    said += [note for note in zone.notes if note not in said]
    runs = treatment.with_loads(zone.runs, zone.trees, result.loads)
    shown = pd.DataFrame(
        runs[["run", "block", "row", "from_position", "to_position", "trees", "length_m", "litres", "load"]]
    )
    shown = shown.round({"length_m": 0, "litres": 1}).rename(
        columns={"from_position": "from tree", "to_position": "to tree", "length_m": "metres"}
    )
    tables = {"Runs, in walking order": shown}
    figures = {**zone_figures(result), "options": option_figures(result)}
    if result.mix is not None:
        tables["Tank loads"] = loads_table(result.loads)
    return Outcome(said=tuple(said), figures=figures, tables=tables, cautions=treatment.cautions("zone"))


def loads_table(loads: pd.DataFrame) -> pd.DataFrame:
    """Set the tank loads as they are poured."""
    return pd.DataFrame(
        {
            "load": loads["load"],
            "kind": loads["kind"],
            "mix L": loads["mix_l"].round(1),
            "water L": loads["water_l"].round(1),
            "product": [
                treatment.amount_words(amount, unit) if pd.notna(amount) else "-"
                for amount, unit in zip(loads["product"], loads["product_unit"], strict=True)
            ],
            "covers": loads["covers"],
        }
    )


def mix_figures(mixed: Mix, loads: pd.DataFrame) -> dict[str, Any]:
    """Return every figure of a mix, units in the names."""
    figures = {name: value for name, value in asdict(mixed).items() if name not in ("by_tree", "routes")}
    return {**figures, "routes": mixed.routes.to_dict("records"), "loads": loads.to_dict("records")}


def describe_mix(
    mixed: dict[str, Any], loads: pd.DataFrame, *, invented: bool, facts: Facts, remark: str = ""
) -> Outcome:
    """Say litres and product, the routes side by side, and the loads."""
    amount = mixed["product"]
    product = (
        treatment.amount_words(amount, mixed["product_unit"])
        if amount is not None and amount == amount
        else "no figure"
    )
    said = [INVENTED] if invented else []
    said.append(
        f"{mixed['litres']:,.1f} L for {mixed['trees']} trees, product {product} ({mixed['product_name']}, "
        f"{mixed['rate']} as you typed it)."
    )
    said += [*mixed["remarks"], *([remark] if remark else [])]
    routes = pd.DataFrame(mixed["routes"])
    shown = pd.DataFrame(
        {"route": routes["words"], "litres": routes["litres"].round(1), "a tree": routes["litres_per_tree"].round(2)}
    )
    said += [f"{_capital(way['words'])}: {way['formula']}. Source: {way['source']}." for way in mixed["routes"]]
    return Outcome(
        said=tuple(said),
        figures={"mix": mixed},
        tables={"Routes to the litres": shown, "Tank loads": loads_table(loads)},
        cautions=treatment.cautions("mix", facts.label),
    )


def _capital(text: str) -> str:
    """Start with a capital letter and leave the rest as it is."""
    return text[:1].upper() + text[1:]
