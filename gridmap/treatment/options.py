"""Nothing, the zone, whole blocks or everything: what each would cost, and how sure the choice is."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap.checks import BoolArray, FloatArray, number
from gridmap.errors import InputRefused
from gridmap.treatment.costs import MINUTES_PER_HOUR, Costs
from gridmap.treatment.field import Field, chances, lay_field
from gridmap.treatment.runs import number_runs
from gridmap.treatment.zone import Zone

_NAMES = {"nothing": "leaving everything", "spot": "spraying the zone", "blocks": "spraying whole blocks",
          "everything": "spraying everything"}


@dataclass(frozen=True)
class Comparison:
    """The options side by side.

    Parameters
    ----------
    options : DataFrame
        option (nothing, spot, blocks, everything), trees, litres, product, product_unit, hours, loads, spend,
        likely_loss, expected_cost, chance_cheapest, blocks (names, for the option of whole blocks).
    best : str
        Option of least expected cost; of equal ones the first of the table.
    sentence : str
        Why, and the doubt in one number.
    look : tuple of str
        Blocks of which nothing is known.
    notes : tuple of str
    currency : str
    """

    options: pd.DataFrame
    best: str
    sentence: str
    look: tuple[str, ...]
    notes: tuple[str, ...]
    currency: str


def compare_options(
    trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, pressure: pd.DataFrame, draws: npt.ArrayLike, *,
    keep_outs: gpd.GeoDataFrame | None, walked: Iterable[str], threshold_per_beat: float, costs: Costs, zone: Zone,
    stage: str = "", beneficials: str = "",
) -> Comparison:
    """Tell what nothing, the zone, whole blocks and everything would cost, which is cheapest and how sure that is.

    Parameters
    ----------
    trees, blocks, pressure, keep_outs : frames
        As given to `make_zone`.
    draws : (draws, trees) array
        Joint draws of the expected count per standard beat, columns in the order of the lines of ``pressure``.
    walked : iterable of str
        Blocks of which something is known.
    threshold_per_beat : float
        The grower's threshold [per beat].
    costs : Costs
        From `work_out_costs`.
    zone : Zone
        The spot option.
    stage, beneficials : str, optional
        What the counts say of wing buds and of beneficials, to stand in the sentence.

    Returns
    -------
    Comparison

    Raises
    ------
    InputRefused
        Draws that do not belong to ``pressure``.

    Notes
    -----
    Expected cost = spend + L x sum of the chance over threshold over trees that are left. Costs and runs are separable
    by block, so the best set of whole blocks is every block whose own expected saving is over 0: exact.
    ``chance_cheapest`` is the share of draws in which the option costs least, each draw giving every tree at once, so
    that what is doubtful together stays together; draws in which two cost the same count for the first. Trees of blocks
    that were not walked have an unknown loss: it is left out of every option, and "everything" pays for spraying them.
    """
    field = lay_field(trees, blocks, keep_outs, walked=walked)
    sprayed, names = _sprayed(field, pressure, costs, zone)
    over = _over(field, pressure, draws, threshold_per_beat)
    # A tree in a setback loses the same whatever is done; it counts in every option, a tree of an unknown block in
    # none.
    chance = _known_chances(field, pressure)
    records, in_draws = [], []
    for option, mask in sprayed.items():
        record = _spending(field, costs, mask)
        left = field.known & ~mask
        loss = costs.loss_per_tree * float(chance[left].sum())
        records.append({"option": option, **record, "likely_loss": loss, "expected_cost": record["spend"] + loss})
        in_draws.append(record["spend"] + costs.loss_per_tree * over[:, left].sum(axis=1))
    table = pd.DataFrame(records)
    table["chance_cheapest"] = np.bincount(np.argmin(np.array(in_draws), axis=0), minlength=len(table)) / len(over)
    table["blocks"] = ["", "", ", ".join(names), ""]
    table.insert(4, "product_unit", costs.product_unit)
    best = str(table["option"].iloc[int(table["expected_cost"].argmin())])
    notes = list(costs.notes)
    if field.not_walked:
        notes.append(f"Nothing is known of {', '.join(field.not_walked)}: what may be lost there is in no figure.")
    kept = int(field.setback.mask.sum())
    if kept:
        notes.append(f"{kept} trees in a setback are sprayed in no option; what they may lose is in all of them.")
    sentence = _sentence(table, best, costs, field.not_walked, stage, beneficials)
    return Comparison(table, best, sentence, field.not_walked, tuple(notes), costs.currency)


def _sprayed(
    field: Field, pressure: pd.DataFrame, costs: Costs, zone: Zone,
) -> tuple[dict[str, BoolArray], list[str]]:
    """Return the trees that each option sprays, and the blocks of the best set."""
    trees, allowed = field.rows.trees, ~field.barred
    chance = chances(field, pressure)
    block = trees["block"].to_numpy()
    chosen = np.zeros(len(trees), dtype=bool)
    names = []
    for name in sorted(set(block[allowed])):
        mask = allowed & (block == name)
        if costs.loss_per_tree * float(chance[mask].sum()) > _spending(field, costs, mask)["spend"]:
            chosen |= mask
            names.append(str(name))
    spot = trees["tree"].isin(zone.trees["tree"]).to_numpy(dtype=bool)
    return {"nothing": np.zeros(len(trees), dtype=bool), "spot": spot, "blocks": chosen,
            "everything": ~field.setback.mask}, names


def _spending(field: Field, costs: Costs, mask: BoolArray) -> dict[str, float]:
    """Return what spraying a set of trees takes."""
    rows = field.rows
    run = number_runs(mask, row=rows.row_id, shut_before=field.setback.shut_before)
    runs = int(run.max(initial=-1)) + 1
    tree = rows.trees.loc[mask, "tree"]
    absent = ~tree.isin(costs.per_tree.index)
    if absent.any():
        raise InputRefused(f"costs have no entry for {int(absent.sum())} trees", "they must have one for each tree")
    total = costs.per_tree.loc[tree].sum()
    litres = float(total["litres"])
    # A hair of 1e-9 of a tank: rounding must not add a load.
    return {"trees": int(mask.sum()), "litres": litres, "product": float(total["product"]),
            "hours": (float(total["minutes"]) + runs * costs.start_minutes) / MINUTES_PER_HOUR,
            "loads": math.ceil(litres / costs.tank_l - 1e-9), "spend": float(total["cost"]) + runs * costs.start_cost}


def _known_chances(field: Field, pressure: pd.DataFrame) -> FloatArray:
    chance = field.rows.trees["tree"].map(pressure.set_index("tree")["chance_over"]).to_numpy(dtype=np.float64)
    if np.isnan(chance[field.known]).any():
        raise InputRefused("pressure has no chance for some living trees of walked blocks", "it must have one for each")
    return chance


def _over(field: Field, pressure: pd.DataFrame, draws: npt.ArrayLike, threshold_per_beat: float) -> BoolArray:
    """Return whether each living tree is over threshold in each draw; False for a tree that nothing is known of."""
    threshold = number(threshold_per_beat, "action threshold", "per beat", over=0)
    array = np.asarray(draws, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != len(pressure) or not len(array):
        raise InputRefused(f"draws have shape {array.shape}",
                           f"they must be (draws, {len(pressure)}), a column for each line of pressure")
    at = pd.Series(np.arange(len(pressure)), index=pressure["tree"]).reindex(field.rows.trees["tree"]).to_numpy()
    over = np.zeros((len(array), len(field.rows)), dtype=bool)
    there = ~np.isnan(at)
    over[:, there] = array[:, at[there].astype(int)] > threshold
    return over


def _sentence(
    table: pd.DataFrame, best: str, costs: Costs, look: tuple[str, ...], stage: str, beneficials: str,
) -> str:
    """Say the reason and the doubt."""
    lines = table.to_dict("records")
    first = next(line for line in lines if line["option"] == best)
    other = min((line for line in lines if line["option"] != best), key=lambda line: line["expected_cost"])

    def money(value: float) -> str:
        return f"{value:,.0f} {costs.currency}"

    if best == "nothing":
        why = (f"What may be lost by leaving everything, {money(first['likely_loss'])}, is no more than any spraying "
               "would cost and still leave")
    else:
        trees = f"{int(first['trees'])} trees" + (f" ({first['blocks']})" if first["blocks"] else "")
        why = (f"{_NAMES[best].capitalize()}, {trees}, is expected to cost {money(first['expected_cost'])} with what "
               f"may still be lost, against {money(other['expected_cost'])} for {_NAMES[other['option']]}")
    seen = "; ".join(text.strip().rstrip(".") for text in (stage, beneficials) if text.strip())
    share = _whole_percent(first["chance_cheapest"])
    text = f"{why}{f' ({seen})' if seen else ''}; it is the cheapest in {share}% of what the walk leaves open."
    return f"{text} Look first in {', '.join(look)}." if look else text


def _whole_percent(chance: float) -> int:
    """Return whole percents, halves upward as a page's own numbers are (Python rounds 92.5 to 92)."""
    return math.floor(100.0 * chance + 0.5)
