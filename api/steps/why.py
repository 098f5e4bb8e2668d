"""Why a tree's number is what it is: the beats around it, the formula in words, and where it is explained."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from api.steps.geojson import columns
from api.steps.outcome import plain
from api.steps.pressure_layer import FIGURES, ask_pressure, counted_by_beat, tree_frame
from api.store.refusals import NotThere

NEAREST: Final = 5
FORMULA: Final = (
    "Counts of beats are taken as negative binomial around a mean that varies smoothly from tree to tree within a "
    "block and from one walk to the next, with a level for each block; range, spread and size are averaged over what "
    "the walks leave likely. The number is the count that one standard beat of this tree would be expected to drop; "
    "its limits hold what such a mean may still be."
)
SOURCE: Final = "docs/pressure-model.md, with its references"
KNOWLEDGE_WORDS: Final = {
    "well_known": "well known",
    "doubtful": "doubtful: the walk says little here",
    "unknown": "unknown: nobody walked here",
}


def why_tree(where: Path, tree: str, *, walk: str | None = None, counts: str | None = None) -> dict[str, Any]:
    """Tell what one tree's number rests on.

    Parameters
    ----------
    where : Path
        Grove file.
    tree : str
        UUID of a living tree.
    walk, counts : str, optional
        As in `pressure_layer`.

    Returns
    -------
    dict
        The tree, its figures, the five nearest beats with distance [m] and count, formula and source, and the same
        in sentences.

    Raises
    ------
    NotThere
        No living tree has this UUID.
    """
    result = ask_pressure(where, walk=walk, counts=counts)
    frame = tree_frame(result)
    found = frame[frame["tree"] == tree]
    if not len(found):
        raise NotThere(f"there is no living tree {tree}")
    line = dict(found.iloc[0])
    place = result.grove.trees.set_index("tree").geometry[tree]
    beats = counted_by_beat(result.grove, result.counted)
    distance = np.hypot(
        np.array([point.x for point in beats["geometry"]]) - place.x,
        np.array([point.y for point in beats["geometry"]]) - place.y,
    )
    beats = beats.assign(distance_m=distance.round(1), same_tree=beats["tree"] == tree)
    near = beats.sort_values(["distance_m", "time"], kind="stable").head(NEAREST)
    shown = near[["tree", "distance_m", "block", "row", "position", "taps", "counted", "reason", "same_tree"]]
    value = {name: cells[0] for name, cells in columns(found, [*FIGURES, "knowledge", "beaten"]).items()}
    return plain(
        {
            "tree": tree,
            **{name: line[name] for name in ("block", "row", "position")},
            "value": value,
            "counted": result.counted,
            "standard_taps": float(result.model.standard_taps),
            "threshold_per_beat": result.grove.facts.threshold.per_beat,
            "nearest": shown.to_dict("records"),
            "beats_used": len(result.used.beats),
            "formula": FORMULA,
            "source": SOURCE,
            "said": _said(line, near, result.counted) + result.used.words(),
        }
    )


def _said(line: dict[str, Any], near: pd.DataFrame, counted: str) -> list[str]:
    """Say the same in sentences."""
    head = f"{line['block']}, row {line['row']}, tree {line['position']}"
    if line["knowledge"] == "unknown":
        said = [f"{head}: {KNOWLEDGE_WORDS['unknown']}. Look there."]
    else:
        said = [
            f"{head}: {line['mean_per_beat']:.1f} {counted.replace('_', ' ')} a beat, {line['low_80']:.1f} to "
            f"{line['high_80']:.1f} (80 % limits), {KNOWLEDGE_WORDS[str(line['knowledge'])]}."
        ]
    own = int(near["same_tree"].sum())
    said.append(f"This tree was beaten {own} times on this walk." if own else "This tree was not beaten on this walk.")
    for beat in near[~near["same_tree"]].itertuples():
        where = f"{beat.block} row {beat.row} tree {beat.position}"
        said.append(f"{beat.distance_m:.0f} m away, {where}: {beat.counted:.0f} from {beat.taps:.0f} taps.")
    return said
