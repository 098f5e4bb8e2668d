"""Tank loads, filled in the order in which the trees are walked."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from gridmap.checks import FloatArray, IntArray, columns, number
from gridmap.errors import InputRefused
from gridmap.treatment.mix import Mix
from gridmap.treatment.needed import require
from gridmap.treatment.settings import BOUGHT_IN, Sprayer

# A share of a tank so small that only rounding makes it.
_HAIR: Final = 1e-9
_COLUMNS: Final = ["load", "kind", "mix_l", "water_l", "product", "product_unit", "from_run", "from_tree", "to_run",
                   "to_tree", "covers"]


def split_loads(litres: float, tank_l: float) -> tuple[int, float]:
    """Tell how many full loads and what part load a volume makes: full = floor(V / tank), part = V - full x tank.

    Parameters
    ----------
    litres, tank_l : float
        Mix to be sprayed, what the tank holds [L].

    Returns
    -------
    full : int
    part_l : float
        [L]; 0 where the last load is full.

    Examples
    --------
    >>> split_loads(1000, 400), split_loads(800, 400), split_loads(0, 400)
    ((2, 200.0), (2, 0.0), (0, 0.0))
    """
    volume, tank = number(litres, "mix", "L", least=0), number(tank_l, "tank", "L", over=0)
    full = math.floor(volume / tank + _HAIR)
    part = volume - full * tank
    return full, part if part > _HAIR * tank else 0.0


def tank_loads(trees: pd.DataFrame, mixed: Mix, *, sprayer: Sprayer) -> pd.DataFrame:
    """Tell what goes into each tank load and which runs it covers.

    Parameters
    ----------
    trees : DataFrame
        Treated trees in walking order (``Zone.trees``): tree, block, row, position, run.
    mixed : Mix
        Mix of the same trees.
    sprayer : Sprayer
        With what its tank holds.

    Returns
    -------
    DataFrame
        The contract's ``loads``: mix_l and water_l [L], product in product_unit, from_tree and to_tree the first and
        the last tree that gets any of the load (its uuid), covers in words. No trees: no lines.

    Raises
    ------
    InputMissing
        What the tank holds was not typed.
    InputRefused
        The mix is of other trees.

    Notes
    -----
    A load ends where the litres given so far reach the tank, so it may end inside a run and inside a tree; the next
    load begins with that tree. A load's product is what the trees, or parts of trees, that it covers take; loads add up
    to the whole. Water is mix less product where the product is a liquid: fill to the mark all the same.
    """
    require("loads", sprayer=sprayer)
    columns(trees, ["tree", "block", "row", "position", "run"], "trees")
    if trees["tree"].tolist() != mixed.by_tree["tree"].tolist():
        raise InputRefused("the mix is of other trees, or of another order",
                           "loads are filled in the order of the mix's trees", "mix again for this zone")
    tank = number(sprayer.tank_l, "tank", "L", over=0)
    given = mixed.by_tree["litres"].to_numpy(dtype=np.float64)
    full, part = split_loads(mixed.litres, tank)
    edges = np.append(np.arange(full + 1) * tank, [full * tank + part] if part else [])
    edges[-1] = mixed.litres
    if len(edges) < 2:
        return pd.DataFrame({name: [] for name in _COLUMNS})
    reached = np.concatenate([[0.0], np.cumsum(given)])
    reached[-1] = mixed.litres
    product = np.diff(_product_at(edges, reached, mixed))
    first, last = _ends(edges, reached, tank)
    bought_in, share = BOUGHT_IN[mixed.product_unit]
    liquid_l = np.nan_to_num(product * share) if bought_in == "L" else np.zeros(len(product))
    hair = _HAIR * tank
    mix_l = np.diff(edges)
    uuid, run = trees["tree"].to_numpy(), trees["run"].to_numpy()
    return pd.DataFrame({
        "load": np.arange(1, len(edges)), "kind": ["full"] * full + ["part"] * (len(edges) - 1 - full), "mix_l": mix_l,
        "water_l": mix_l - liquid_l, "product": product, "product_unit": mixed.product_unit,
        "from_run": run[first], "from_tree": uuid[first], "to_run": run[last], "to_tree": uuid[last],
        "covers": [_covers(trees, int(a), int(b), bool(reached[b + 1] - edge > hair), bool(start - reached[a] > hair))
                   for a, b, start, edge in zip(first, last, edges[:-1], edges[1:], strict=True)],
    })


def with_loads(runs: pd.DataFrame, trees: pd.DataFrame, loads: pd.DataFrame) -> Any:
    """Return the runs with the load that each begins with.

    Parameters
    ----------
    runs, trees, loads
        ``Zone.runs``, ``Zone.trees`` and what `tank_loads` gave.

    Returns
    -------
    GeoDataFrame
        A copy with ``load`` filled in.
    """
    if not len(loads):
        return runs.assign(load=pd.array([pd.NA] * len(runs), dtype="Int64"))
    at = {tree: i for i, tree in enumerate(trees["tree"])}
    # Where one load ends and another begins in the same tree, the tree's run begins with the earlier one.
    ends = np.array([at[tree] for tree in loads["to_tree"]], dtype=np.int64)
    begins = np.array([int(np.flatnonzero(trees["run"].to_numpy() == run)[0]) for run in runs["run"]], dtype=np.int64)
    number_of = np.searchsorted(ends, begins, side="left") + 1
    return runs.assign(load=pd.array(number_of, dtype="Int64"))


def _product_at(edges: FloatArray, reached: FloatArray, mixed: Mix) -> FloatArray:
    """Product given by the time the litres reach each edge; the last one is the whole, so loads add up to it."""
    taken = np.concatenate([[0.0], np.cumsum(mixed.by_tree["product"].to_numpy(dtype=np.float64))])
    taken[-1] = mixed.product
    return np.interp(edges, reached, taken)


def _ends(edges: FloatArray, reached: FloatArray, tank: float) -> tuple[IntArray, IntArray]:
    """Index of the first and of the last tree that gets any of each load."""
    hair = _HAIR * tank
    trees = len(reached) - 1
    first = np.searchsorted(reached, edges[:-1] + hair, side="right") - 1
    last = np.searchsorted(reached, edges[1:] - hair, side="left") - 1
    return np.clip(first, 0, trees - 1), np.clip(last, 0, trees - 1)


def _covers(trees: pd.DataFrame, first: int, last: int, dry_inside: bool, begun: bool) -> str:
    """Say which runs a load covers, and inside which tree it begins or runs dry."""
    run, a, b = trees["run"].to_numpy(), trees.iloc[first], trees.iloc[last]
    begins = ends = ""
    if begun:
        begins = f" tree {a['position']} (the rest of it)"
    elif first and run[first - 1] == run[first]:
        begins = f" tree {a['position']}"
    if dry_inside:
        ends = f" tree {b['position']} (part of it)"
    elif last + 1 < len(run) and run[last + 1] == run[last]:
        ends = f" tree {b['position']}"
    if a["run"] == b["run"]:
        return f"run {a['run']}" + (f", from{begins}" if begins else "") + (f", to{ends}" if ends else "")
    return f"run {a['run']}{begins} to run {b['run']}{ends}"
