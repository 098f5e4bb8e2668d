"""Where to look next: which trees a beat of would most likely change what is sprayed, and when to stop."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from api.steps.facts import Facts, missing_facts
from api.steps.grove import INVENTED
from api.steps.outcome import Outcome, plain
from api.steps.pressure import Pressure, load_grove, work_out_pressure
from api.steps.visits import coordinates
from gridmap import checks, treatment
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputMissing
from gridmap.pressure import MoreTrees, worth_of_knowing, worth_of_more

#: Trees that are named when nobody says how many.
USUAL_NUMBER: Final = 20
#: Loss over cost that is gone by until prices are typed.
USUAL_RATIO: Final = 4.0
#: Most trees that are named at once.
MOST: Final = 200


@dataclass(frozen=True)
class LookNext:
    """Which trees to beat next, in order of worth.

    Parameters
    ----------
    trees : DataFrame
        tree, block, row, position, chance_over, knowledge, worth (0 to 1: what it would be worth to know for certain,
        as a share of the cost of spraying the tree), reason (in words).
    more : MoreTrees or None
        What beating them would be expected to bring; None where no tree could be worth it.
    cost_ratio : float
        Loss of a tree over threshold that is left, over the cost of spraying one.
    typed : bool
        Whether that ratio comes from the grower's prices.
    words : tuple of str
        The same to read.
    """

    trees: pd.DataFrame
    more: MoreTrees | None
    cost_ratio: float
    typed: bool
    words: tuple[str, ...]


def look_next(result: Pressure, *, n: int = USUAL_NUMBER, known_only: bool = False) -> LookNext:
    """Name the trees whose count would most likely change the decision, and say whether it would.

    Parameters
    ----------
    result : Pressure
        The map.
    n : int
        How many trees, 1 to 200.
    known_only : bool
        Leave out blocks that nobody walked, as the options do.

    Raises
    ------
    InputMissing
        No action threshold was typed.

    Notes
    -----
    Trees in a setback are left out: they are sprayed in no case, so that knowing them changes nothing. Trees of blocks
    that nobody walked are in: what is not known there may cost.
    """
    number = int(checks.number(n, "number of trees", least=1, most=MOST))
    grove = result.grove
    if grove.facts.threshold.per_beat is None:
        raise InputMissing(
            "the action threshold is not typed in",
            "the next trees are those where it decides",
            "type it with gridmap set-threshold",
            missing=["the action threshold, in insects per standard beat"],
        )
    ratio, typed = cost_ratio(result)
    if not ratio > 1:
        said = "At your prices no tree is worth spraying, so no count would change what is done."
        return LookNext(_named(result, np.zeros(0, dtype=np.int64), 4.0), None, ratio, typed, (said,))
    kept = _may_be_sprayed(result, known_only)
    if not len(kept):
        said = "There is no tree that could be sprayed, so no count would change what is done."
        return LookNext(_named(result, kept, ratio), None, ratio, typed, (said,))
    more = _worth(result, kept, number, ratio)
    named = _named(result, kept[more.rows], ratio)
    return LookNext(named, more, ratio, typed, _words(more, ratio, typed, len(named)))


def next_lines(result: Pressure, *, n: int = USUAL_NUMBER) -> list[dict[str, Any]]:
    """Name the trees of `look_next` alone, which is quick; none without a threshold, or where none is worth it."""
    if result.grove.facts.threshold.per_beat is None:
        return []
    ratio, _ = cost_ratio(result)
    kept = _may_be_sprayed(result, False)
    if not ratio > 1 or not len(kept):
        return []
    xy, block, treated = _of_rows(result, kept)
    rows = result.joint.once(
        _key("rows", n, ratio, kept),
        lambda: result.model.next_trees(xy, block, n=n, cost_ratio=ratio, treated=treated),
    )
    return _lines(_named(result, kept[rows], ratio))


def _worth(result: Pressure, kept: IntArray, n: int, ratio: float) -> MoreTrees:
    """Ask the model what n more beats would bring."""
    xy, block, treated = _of_rows(result, kept)
    more: MoreTrees = result.joint.once(
        _key("worth", n, ratio, kept),
        lambda: worth_of_more(result.model, xy, block, n=n, cost_ratio=ratio, treated=treated),
    )
    return more


def _key(what: str, n: int, ratio: float, kept: IntArray) -> tuple[object, ...]:
    return (what, n, round(ratio, 9), kept.tobytes())


def _of_rows(result: Pressure, kept: IntArray) -> tuple[FloatArray, list[Hashable], list[str | None] | None]:
    """Return place, block and last treatment of some of the living trees."""
    trees = result.grove.trees
    treated = result.used.treated(trees["tree"])
    xy, block = coordinates(trees)[kept], list(trees["block"].to_numpy()[kept])
    return xy, block, None if treated is None else [treated[i] for i in kept]


def cost_ratio(result: Pressure) -> tuple[float, bool]:
    """Return loss over cost of a tree, and whether the grower's prices say so."""
    facts, grove = result.grove.facts, result.grove
    if missing_facts(_settings(facts)):
        return USUAL_RATIO, False
    costs = treatment.work_out_costs(
        grove.trees, grove.blocks, sprayer=facts.sprayer, label=facts.label, prices=facts.prices
    )
    return (1.0 / costs.cost_ratio if costs.cost_ratio > 0 else math.inf), True


def _settings(facts: Facts) -> Mapping[str, Mapping[str, Any]]:
    return {name: getattr(facts, name).to_dict() for name in ("threshold", "sprayer", "label", "prices")}


def _may_be_sprayed(result: Pressure, known_only: bool) -> IntArray:
    """Return the rows of the living trees that stand in no setback, or that no zone may hold."""
    grove = result.grove
    field = treatment.lay_field(grove.trees, grove.blocks, grove.keep_outs, walked=result.walked)
    barred = field.rows.trees.loc[field.barred if known_only else field.setback.mask, "tree"]
    return np.flatnonzero(~grove.trees["tree"].isin(barred).to_numpy())


def _named(result: Pressure, rows: IntArray, ratio: float) -> pd.DataFrame:
    """Return the chosen trees with their labels, and why each was chosen."""
    trees = pd.DataFrame(result.grove.trees.iloc[rows][["tree", "block", "row", "position"]]).reset_index(drop=True)
    lines = result.frame.set_index("tree").loc[trees["tree"]]
    trees["chance_over"] = lines["chance_over"].to_numpy()
    trees["knowledge"] = lines["knowledge"].to_numpy()
    trees["worth"] = worth_of_knowing(trees["chance_over"].to_numpy(), ratio) if len(trees) else np.zeros(0)
    # Where nobody walked the chance says only what the rest of the grove is like: it is not shown as a finding.
    unknown = trees["knowledge"] == "unknown"
    known = {"well_known": "well known, yet close", "doubtful": "doubtful"}
    trees["reason"] = [
        "nobody walked here" if word == "unknown"
        else f"{known[word]}: chance {100 * chance:.0f} % that it is over, spraying pays from {100 / ratio:.0f} %"
        for word, chance in zip(trees["knowledge"], trees["chance_over"], strict=True)
    ]
    trees["chance_over"] = trees["chance_over"].where(~unknown)
    return trees


def _words(more: MoreTrees, ratio: float, typed: bool, named: int) -> tuple[str, ...]:
    """Say whether to go on, and what it was reckoned with."""
    said = [more.words()]
    if not typed:
        said.append(
            f"Reckoned as if a tree over your threshold that is left lost {ratio:g} times what spraying one costs; "
            "type your prices to have your own."
        )
    if more.would_change:
        said.append(f"The {named} trees are named in order of worth; begin with the first.")
    return tuple(said)


def ask_look_next(path: Path, *, walk: str | None = None, counts: str | None = None, n: int = USUAL_NUMBER) -> Outcome:
    """Say where to look next, for the latest walk or the one that is named; nothing is stored."""
    result = work_out_pressure(load_grove(path, walk=walk), counts=counts)
    return describe_look_next(result, look_next(result, n=n))


def describe_look_next(result: Pressure, look: LookNext) -> Outcome:
    """Say which trees to beat next and why."""
    said = ([INVENTED] if result.grove.info.invented else []) + list(look.words)
    shown = pd.DataFrame(
        {
            "": np.arange(1, len(look.trees) + 1),
            "tree": [label(line) for line in look.trees.to_dict("records")],
            "why": look.trees["reason"],
        }
    )
    tables = {"Look next, most worth first": shown} if len(shown) else {}
    return Outcome(said=tuple(said), figures=look_figures(result, look), tables=tables)


def _lines(named: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the trees as records, each with its label."""
    return [{"label": label(line), **plain(line)} for line in named.to_dict("records")]


def label(line: Mapping[Any, Any]) -> str:
    """Name a tree as the grower reads it: block, row, position.

    Examples
    --------
    >>> label({"block": "Top", "row": 3, "position": 4})
    'Top/3/4'
    """
    return f"{line['block']}/{line['row']}/{line['position']}"


def look_figures(result: Pressure, look: LookNext) -> dict[str, Any]:
    """Return every figure of where to look next."""
    more = look.more
    return plain(
        {
            "walk": str(result.grove.walk["date"]),
            "trees": _lines(look.trees),
            "cost_ratio": look.cost_ratio,
            "cost_ratio_typed": look.typed,
            "decisions_changed": None if more is None else more.decisions_changed,
            "saving_in_trees_sprayed": None if more is None else more.saving,
            "would_change": more is not None and more.would_change,
            "sentence": look.words[0],
        }
    )
