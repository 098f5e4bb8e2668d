"""Litres and product for the treated trees, by every route whose numbers the grower has."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gridmap.checks import FloatArray, columns, number, one_of
from gridmap.errors import InputMissing
from gridmap.treatment.costs import product_of, tree_area_m2
from gridmap.treatment.needed import require
from gridmap.treatment.settings import BOUGHT_IN, Label, Sprayer
from gridmap.treatment.volumes import box_m3, ellipsoid_m3, litres_per_ha
from gridmap.units import M2_PER_HA, ha

#: Routes that disagree by more than this share of the smaller are pointed out.
DISAGREES: Final = 0.20


@dataclass(frozen=True)
class Route:
    """One way to litres: its name, formula, source, and whether its litres are those of a dilute spray."""

    name: str
    words: str
    formula: str
    source: str
    dilute: bool


ROUTES: Final = {route.name: route for route in (
    Route("measured", "measured litres per tree",
          "litres = treated trees x litres per tree to run-off / concentrate factor",
          "the grower's own measurement on a few trees; trees are counted, never area shares", True),
    Route("area_rate", "area rate", "L/ha = 600 x L/min / (km/h x row spacing m); hectares = treated trees x "
          "row spacing x tree spacing / 10,000",
          "unit identity; worked example 408 L/ha in a sprayer manual (manualshive 942471 p. 18)", False),
    Route("box", "canopy as a box (tree-row volume)",
          "litres = sum of height x width x tree spacing x L/m3 / concentrate factor",
          "Landers, Cornell University, Tree row volume; the L/m3 is the grower's own", True),
    Route("ellipsoid", "canopy as an ellipsoid",
          "litres = sum of pi/6 x height x width x width x L/m3 / concentrate factor",
          "Miranda-Fuentes et al. 2015, Sensors 15:3671-3687; the L/m3 is the grower's own", True),
)}


@dataclass(frozen=True)
class Mix:
    """What goes into the tank for a set of trees.

    Parameters
    ----------
    route : str
        Route that the litres come from.
    trees : int
    hectares : float
        Treated trees x row spacing x tree spacing [ha]; NaN where a spacing is not known.
    litres : float
        Mix to be sprayed [L].
    product : float
        In ``product_unit``, the label's own; NaN where no product figure may be given.
    product_unit, product_name : str
    concentrate_factor : float
    rate : str
        The rate as it was typed.
    by_tree : DataFrame
        tree, litres, product, in the order of the trees that were given.
    routes : DataFrame
        Side by side: route, words, litres, dilute_litres, litres_per_tree, product, formula, source.
    remarks : tuple of str
    """

    route: str
    trees: int
    hectares: float
    litres: float
    product: float
    product_unit: str
    product_name: str
    concentrate_factor: float
    rate: str
    by_tree: pd.DataFrame
    routes: pd.DataFrame
    remarks: tuple[str, ...]


def mix(
    trees: pd.DataFrame, blocks: pd.DataFrame, *, sprayer: Sprayer, label: Label, route: str | None = None,
    on: dt.date | None = None,
) -> Mix:
    """Tell how much mix and product the treated trees take.

    Parameters
    ----------
    trees : DataFrame
        Treated trees in walking order: tree, block; canopy_height_m and canopy_width_m where a tree has its own.
    blocks : DataFrame
        block, row_spacing_m, tree_spacing_m, canopy_height_m, canopy_width_m.
    sprayer, label
        As typed.
    route : {"measured", "area_rate", "box", "ellipsoid"}, optional
        Route to mix by. Without it: measured litres per tree, or the only route whose numbers were typed.
    on : date, optional
        Day of spraying; after the permit's expiry no product figure is given, only litres.

    Raises
    ------
    InputMissing
        The label's rate, or what the route needs, was not typed; or several routes could be meant.

    Notes
    -----
    Concentrate factor = dilute litres / litres really sprayed. Measured litres to run-off and wetting coefficients give
    dilute litres, which are divided by it; an area rate gives litres really sprayed, which are multiplied by it for the
    product.

    Examples
    --------
    >>> trees = pd.DataFrame({"tree": ["a", "b"], "block": "East"})
    >>> blocks = pd.DataFrame({"block": ["East"], "row_spacing_m": 8.0, "tree_spacing_m": 5.0})
    >>> label = Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l")
    >>> result = mix(trees, blocks, sprayer=Sprayer(litres_per_tree=8), label=label)
    >>> result.litres, result.product, result.product_unit
    (16.0, 80.0, 'mL')
    >>> mix(trees.iloc[:0], blocks, sprayer=Sprayer(litres_per_tree=8), label=label).litres
    0.0
    """
    columns(trees, ["tree", "block"], "trees")
    require("mix", label=label)
    factor = label.concentrate_factor
    litres = _by_route(trees, blocks, sprayer, factor)
    chosen = _choose(route, litres)
    area = tree_area_m2(trees, blocks)
    expired = on is not None and label.expires is not None and on > label.expires
    table, products = [], {}
    for name, (applied, dilute) in litres.items():
        product = np.broadcast_to(product_of(label, dilute, area), (len(trees),))
        products[name] = np.full(len(trees), np.nan) if expired else product
        total = float(applied.sum())
        table.append({
            "route": name, "words": ROUTES[name].words, "litres": total, "dilute_litres": float(dilute.sum()),
            "litres_per_tree": total / len(trees) if len(trees) else np.nan, "product": float(np.sum(products[name])),
            "formula": ROUTES[name].formula, "source": ROUTES[name].source})
    routes = pd.DataFrame(table)
    remarks = _disagreement(routes)
    if expired:
        remarks.append(f"The permit expired on {label.expires}: no product figure is given, only litres.")
    by_tree = pd.DataFrame({"tree": trees["tree"].to_numpy(), "litres": litres[chosen][0], "product": products[chosen]})
    return Mix(
        route=chosen, trees=len(trees), hectares=np.nan if area is None else ha(float(area.sum())),
        litres=float(by_tree["litres"].sum()), product=float(np.sum(products[chosen])),
        product_unit=str(label.rate_unit), product_name=str(label.product), concentrate_factor=factor,
        rate=label.rate_words(), by_tree=by_tree, routes=routes, remarks=tuple(remarks))


def amount_words(amount: float, unit: str) -> str:
    """Say an amount of product so that it can be measured out.

    Examples
    --------
    >>> amount_words(2000, "mL"), amount_words(0.25, "kg"), amount_words(float("nan"), "mL")
    ('2 L', '250 g', 'no product figure')
    """
    if not np.isfinite(amount):
        return "no product figure"
    big, share = BOUGHT_IN[one_of(unit, BOUGHT_IN, "unit")]
    value = amount * share
    small = {"L": "mL", "kg": "g"}[big]
    return f"{value:.4g} {big}" if value >= 1 else f"{value * 1000:.3g} {small}"


def _by_route(
    trees: pd.DataFrame, blocks: pd.DataFrame, sprayer: Sprayer, factor: float,
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Return litres sprayed and dilute litres of each tree, by every route whose numbers are there."""
    n, by_block = len(trees), blocks.set_index("block")

    def of_block(column: str) -> FloatArray:
        own = trees[column].astype(np.float64) if column in trees.columns else pd.Series(np.nan, index=trees.index)
        shared = trees["block"].map(by_block[column]).astype(np.float64) if column in by_block.columns else own
        return np.asarray(own.fillna(shared), dtype=np.float64)

    height, width = of_block("canopy_height_m"), of_block("canopy_width_m")
    row, tree = of_block("row_spacing_m"), of_block("tree_spacing_m")
    makers: dict[str, tuple[tuple[object, ...], Callable[[], Any]]] = {
        "measured": ((sprayer.litres_per_tree,), lambda: np.full(n, sprayer.litres_per_tree)),
        "area_rate": ((sprayer.flow_l_per_min, sprayer.speed_km_per_h), lambda: litres_per_ha(
            sprayer.flow_l_per_min, sprayer.speed_km_per_h, row) * row * tree / M2_PER_HA),
        "box": ((sprayer.litres_per_m3_box,), lambda: box_m3(height, width, tree) * sprayer.litres_per_m3_box),
        "ellipsoid": ((sprayer.litres_per_m3_ellipsoid,),
                      lambda: ellipsoid_m3(height, width) * sprayer.litres_per_m3_ellipsoid),
    }
    found = {}
    for name, (needs, make) in makers.items():
        if any(need is None for need in needs):
            continue
        litres = np.asarray(make(), dtype=np.float64)
        if np.isnan(litres).any():
            continue
        found[name] = (litres / factor, litres) if ROUTES[name].dilute else (litres, litres * factor)
    return found


def _choose(route: str | None, litres: dict[str, Any]) -> str:
    """Return the route to mix by, or say what is missing."""
    needs = {"measured": "litres per tree to run-off (sprayer: litres_per_tree)",
             "area_rate": "flow, travel speed and spacings (sprayer: flow_l_per_min, speed_km_per_h; block: "
                          "row_spacing_m, tree_spacing_m)",
             "box": "canopy height and width, tree spacing and your wetting coefficient (sprayer: litres_per_m3_box)",
             "ellipsoid": "canopy height and width and your wetting coefficient (sprayer: litres_per_m3_ellipsoid)"}
    if route is not None and one_of(route, ROUTES, "route") not in litres:
        raise InputMissing(f"the route by {ROUTES[route].words} can't be used", f"it needs {needs[route]}",
                           "type it in; nothing is assumed", missing=[needs[route]])
    if route is not None:
        return route
    if "measured" in litres or len(litres) == 1:
        return "measured" if "measured" in litres else next(iter(litres))
    if litres:
        raise InputMissing("the route to mix by was not chosen", f"litres can be had by {', '.join(litres)}",
                           "choose one", missing=["the route to mix by"])
    raise InputMissing("there is no way to litres yet", f"type one of: {'; '.join(needs.values())}",
                       missing=[needs["measured"]])


def _disagreement(routes: pd.DataFrame) -> list[str]:
    """Point out routes that disagree; every route that is there stands on the grower's own calibration."""
    litres = routes["litres"]
    if len(routes) < 2 or not litres.min() > 0 or litres.max() / litres.min() <= 1 + DISAGREES:
        return []
    low, high = routes.iloc[int(litres.argmin())], routes.iloc[int(litres.argmax())]
    more = number(high["litres"] / low["litres"] - 1, "difference")
    return [f"The routes disagree by {more:.0%}: {low['words']} gives {low['litres']:,.0f} L, {high['words']} gives "
            f"{high['litres']:,.0f} L. Measure a few trees to run-off again before mixing."]
