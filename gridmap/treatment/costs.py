"""What spraying a tree costs, what beginning a run costs, and what a tree left over threshold loses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap.checks import columns, number
from gridmap.errors import InputMissing
from gridmap.treatment.needed import require
from gridmap.treatment.settings import BOUGHT_IN, Label, Prices, Sprayer
from gridmap.units import M2_PER_HA

MINUTES_PER_HOUR = 60.0
L_PER_M3 = 1000.0


def product_of(label: Label, dilute_litres: npt.ArrayLike, area_m2: npt.ArrayLike | None = None) -> Any:
    """Work out the product that the label's rate gives, in the rate's own unit.

    Parameters
    ----------
    label : Label
        With the rate as it was typed.
    dilute_litres : float or array
        Litres that a dilute spray would take [L]: litres sprayed x concentrate factor.
    area_m2 : float or array, optional
        Ground that a rate per hectare counts: treated trees x row spacing x tree spacing [m2].

    Raises
    ------
    InputMissing
        No rate was typed, or the rate is per hectare and no area was given.

    Notes
    -----
    Per 100 L: rate x dilute litres / 100, whatever the concentrate factor (the same product in less water). Per
    hectare: rate x area / 10,000.

    Examples
    --------
    A rate of 0.2 % by volume in 500 L is 1 L (OMAFRA, onfruit.ca, 2020):

    >>> product_of(Label(product="x", rate=0.2, rate_unit="L", rate_basis="per_100_l"), 500)
    1.0
    """
    require("mix", label=label)
    rate = number(label.rate, "rate", over=0)
    if label.rate_basis == "per_100_l":
        amount = rate * np.asarray(dilute_litres, dtype=np.float64) / 100.0
        return float(amount) if amount.ndim == 0 else amount
    if area_m2 is None:
        raise InputMissing("the rate is per hectare and no area was given",
                           "it counts row spacing x tree spacing a tree", "give the spacings of the block",
                           missing=["row spacing and tree spacing of the block"])
    amount = rate * np.asarray(area_m2, dtype=np.float64) / M2_PER_HA
    return float(amount) if amount.ndim == 0 else amount


@dataclass(frozen=True)
class Costs:
    """The grower's prices turned into the three numbers that decide.

    Parameters
    ----------
    per_tree : DataFrame
        Indexed by tree: litres (as sprayed), product (label's unit), minutes, cost.
    start_minutes, start_cost : float
        To begin a run [min], [money].
    loss_per_tree : float
        Lost by a tree over threshold that is left [money].
    tank_l : float
        What the tank holds [L].
    currency, product_unit : str
    notes : tuple of str
        What was left out.
    """

    per_tree: pd.DataFrame
    start_minutes: float
    start_cost: float
    loss_per_tree: float
    tank_l: float
    currency: str
    product_unit: str
    notes: tuple[str, ...] = ()

    @property
    def cost_per_tree(self) -> pd.Series:
        """Cost of spraying each tree, indexed by tree [money]."""
        return self.per_tree["cost"]

    @property
    def cost_ratio(self) -> float:
        """Chance over which spraying a tree pays, c / L, start costs left aside (infinite where nothing is lost)."""
        mean = float(self.cost_per_tree.mean())
        return mean / self.loss_per_tree if self.loss_per_tree > 0 else math.inf

    def sentence(self) -> str:
        """Say the ratio back in words that a grower can check (see `clean_trees_for_one`)."""
        return would_rather(float(self.cost_per_tree.mean()), self.loss_per_tree)


def clean_trees_for_one(cost_per_tree: float, loss_per_tree: float) -> float:
    """Tell how many clean trees it is worth spraying so as not to miss one: N = (L - c) / c.

    Parameters
    ----------
    cost_per_tree, loss_per_tree : float
        c, over 0, and L, at least 0 [money].

    Returns
    -------
    float
        Under 0 when a missed tree loses less than spraying it costs.

    Notes
    -----
    Spraying a clean tree wastes c. Missing a tree over threshold loses L but saves the c of spraying it, so it wastes L
    - c. N clean trees weigh as much as one missed when N c = L - c. It is the odds form of "spray when the chance is
    over c / L": at a chance of c / L the odds of clean to over are (1 - c/L) / (c/L) = (L - c) / c. (L / c would count
    the tree itself.)

    Examples
    --------
    >>> clean_trees_for_one(2, 10)
    4.0
    """
    cost = number(cost_per_tree, "cost per tree", over=0)
    return (number(loss_per_tree, "loss per tree", least=0) - cost) / cost


def would_rather(cost_per_tree: float, loss_per_tree: float) -> str:
    """Say `clean_trees_for_one` as a sentence.

    Examples
    --------
    >>> would_rather(2, 10)
    'I would rather spray 4 clean trees than miss one.'
    >>> would_rather(2, 1)
    'Spraying a tree costs more than it could lose: no tree is worth spraying.'
    """
    if cost_per_tree == 0:
        return "Spraying costs nothing at these prices: every tree that might be over threshold is worth spraying."
    clean = clean_trees_for_one(cost_per_tree, loss_per_tree)
    if clean <= 0:
        return "Spraying a tree costs more than it could lose: no tree is worth spraying."
    shown = f"{clean:.1f}" if clean < 3 and abs(clean - round(clean)) > 0.05 else f"{clean:.0f}"
    return f"I would rather spray {shown} clean {'tree' if shown == '1' else 'trees'} than miss one."


def work_out_costs(
    trees: gpd.GeoDataFrame | pd.DataFrame, blocks: pd.DataFrame, *, sprayer: Sprayer, label: Label, prices: Prices,
) -> Costs:
    """Turn the grower's own sprayer, label and prices into the cost of a tree, of a start, and of a miss.

    Parameters
    ----------
    trees : DataFrame
        tree, block.
    blocks : DataFrame
        block, row_spacing_m, tree_spacing_m; used for a rate per hectare only.
    sprayer, label, prices
        As typed.

    Raises
    ------
    InputMissing
        Names everything that was not typed.

    Notes
    -----
    With v = litres per tree to run-off / concentrate factor: minutes = v / flow + v / tank x minutes per refill +
    minutes between trees; cost = product x price + v x water price + minutes x wage. Start cost = minutes per start x
    wage. Loss = kilograms x price x share lost. Refilling is spread over the litres, so a part load costs its part.

    Examples
    --------
    >>> trees = pd.DataFrame({"tree": ["a"], "block": ["East"]})
    >>> blocks = pd.DataFrame({"block": ["East"], "row_spacing_m": [8.0], "tree_spacing_m": [5.0]})
    >>> costs = work_out_costs(trees, blocks,
    ...     sprayer=Sprayer(method="hand_gun", tank_l=400, flow_l_per_min=8, litres_per_tree=8, minutes_per_run_start=3,
    ...                     minutes_per_refill=20),
    ...     label=Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l"),
    ...     prices=Prices(currency="AUD", labour_per_hour=30, product_per_unit=20, water_per_m3=0, crop_kg_per_tree=14,
    ...                   crop_price_per_kg=1.5, share_lost_if_left=0.3))
    >>> costs.per_tree.loc["a"].round(3).tolist()  # 40 mL x 20 AUD/L + 1.4 min x 0.5 AUD/min
    [8.0, 40.0, 1.4, 1.5]
    >>> costs.start_cost, round(costs.loss_per_tree, 2), costs.sentence()
    (1.5, 6.3, 'I would rather spray 3 clean trees than miss one.')
    """
    columns(trees, ["tree", "block"], "trees")
    require("costs", sprayer=sprayer, label=label, prices=prices)
    given = {item: float(getattr(holder, item)) for holder, names in (
        (sprayer, ("litres_per_tree", "flow_l_per_min", "tank_l", "minutes_per_refill", "minutes_per_run_start")),
        (prices, ("labour_per_hour", "product_per_unit", "water_per_m3", "crop_kg_per_tree", "crop_price_per_kg",
                  "share_lost_if_left"))) for item in names}
    litres = given["litres_per_tree"] / label.concentrate_factor
    moving = sprayer.minutes_between_trees
    refilling = litres / given["tank_l"] * given["minutes_per_refill"]
    minutes = litres / given["flow_l_per_min"] + refilling + (moving or 0.0)
    wage = given["labour_per_hour"] / MINUTES_PER_HOUR
    product = np.broadcast_to(product_of(label, given["litres_per_tree"], tree_area_m2(trees, blocks)), (len(trees),))
    _, share = BOUGHT_IN[str(label.rate_unit)]
    cost = product * share * given["product_per_unit"] + litres / L_PER_M3 * given["water_per_m3"] + minutes * wage
    table = pd.DataFrame({"litres": litres, "product": product, "minutes": minutes, "cost": cost},
                         index=pd.Index(trees["tree"], name="tree"))
    notes = ["That pests may spread from a tree that is left is not costed."]
    if moving is None:
        notes.append("The time from one tree to the next was not typed and is left out.")
    return Costs(
        per_tree=table, start_minutes=given["minutes_per_run_start"], start_cost=given["minutes_per_run_start"] * wage,
        loss_per_tree=given["crop_kg_per_tree"] * given["crop_price_per_kg"] * given["share_lost_if_left"],
        tank_l=given["tank_l"], currency=str(prices.currency), product_unit=str(label.rate_unit), notes=tuple(notes))


def tree_area_m2(trees: pd.DataFrame, blocks: pd.DataFrame) -> npt.NDArray[np.float64] | None:
    """Return row spacing x tree spacing of each tree's block [m2]; None where a spacing is not known."""
    columns(blocks, ["block", "row_spacing_m", "tree_spacing_m"], "blocks")
    by_block = blocks.set_index("block")
    area = trees["block"].map(by_block["row_spacing_m"] * by_block["tree_spacing_m"]).to_numpy(dtype=np.float64)
    return None if np.isnan(area).any() else area
