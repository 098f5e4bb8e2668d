"""What the grower adds to a zone, or drops from it, by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from gridmap.checks import BoolArray
from gridmap.errors import InputRefused
from gridmap.treatment.rows import Rows

#: A tree's uuid, or a mapping with ``tree``, or with ``block`` and ``row``, or with these and ``from_position``,
#: ``to_position``.
Item = str | Mapping[str, Any]


def find(rows: Rows, item: Item) -> tuple[BoolArray, str]:
    """Find the living trees that one change by hand names, and say it in words.

    Parameters
    ----------
    rows : Rows
        Living trees.
    item : str or mapping
        A tree, a row, or a stretch of a row.

    Returns
    -------
    (n,) array of bool, str

    Raises
    ------
    InputRefused
        It names no living tree, or is none of these.
    """
    trees = rows.trees
    if isinstance(item, str):
        item = {"tree": item}
    if set(item) == {"tree"}:
        mask = (trees["tree"] == item["tree"]).to_numpy(dtype=bool)
        words = f"tree {item['tree']}"
        if mask.any():
            place = trees[mask].iloc[0]
            words = f"{place['block']} row {place['row']} tree {place['position']}"
    elif set(item) == {"block", "row"}:
        mask = ((trees["block"] == item["block"]) & (trees["row"] == item["row"])).to_numpy(dtype=bool)
        words = f"{item['block']} row {item['row']}"
    elif set(item) == {"block", "row", "from_position", "to_position"}:
        low, high = sorted((item["from_position"], item["to_position"]))
        mask = ((trees["block"] == item["block"]) & (trees["row"] == item["row"])
                & trees["position"].between(low, high)).to_numpy(dtype=bool)
        words = f"{item['block']} row {item['row']} trees {low} to {high}"
    else:
        raise InputRefused(f"a change by hand names {', '.join(map(str, item)) or 'nothing'}",
                           "it must name a tree, or a block and a row, or these with from_position and to_position")
    if not mask.any():
        raise InputRefused(f"{words} is in no row of the grove", "a change by hand must name living trees")
    return mask, words


def added(rows: Rows, items: Iterable[Item], reasons: Mapping[str, str]) -> tuple[BoolArray, list[str], list[str]]:
    """Find the trees that the grower adds, leaving out those that may not be sprayed.

    Parameters
    ----------
    rows : Rows
        Living trees.
    items : iterable
        What was added.
    reasons : mapping of tree to str
        Why a tree can't be sprayed.

    Returns
    -------
    mask : (n,) array of bool
    words : list of str
        Each change in words.
    notes : list of str
        What had to stay out of a row, and why.

    Raises
    ------
    InputRefused
        Nothing that a change names may be sprayed.
    """
    mask, words, notes = np.zeros(len(rows), dtype=bool), [], []
    no = rows.trees["tree"].isin(reasons.keys()).to_numpy(dtype=bool)
    for item in items:
        asked, said = find(rows, item)
        if not (asked & ~no).any():
            why = reasons[rows.trees["tree"].to_numpy()[np.flatnonzero(asked)[0]]]
            raise InputRefused(f"{said} can't be added", why,
                               "beat a few trees of the block first" if "not walked" in why else "leave it out")
        if (asked & no).any():
            notes.append(f"{said} was added but for {int((asked & no).sum())} trees that may not be sprayed.")
        mask |= asked & ~no
        words.append(said)
    return mask, words, notes


def dropped(rows: Rows, items: Iterable[Item]) -> tuple[BoolArray, list[str]]:
    """Find the trees that the grower drops."""
    mask, words = np.zeros(len(rows), dtype=bool), []
    for item in items:
        asked, said = find(rows, item)
        mask |= asked
        words.append(said)
    return mask, words
