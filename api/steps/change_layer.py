"""Change since the walk before as a page draws it: every tree by columns, and what stands beside the map."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from api.steps.change import FIGURES, change_figures, change_frame, change_words
from api.steps.geojson import columns
from api.steps.layers import ordered_trees
from api.steps.pressure_layer import ask_pressure


def change_layer(where: Path, *, walk: str | None = None, counts: str | None = None) -> dict[str, Any]:
    """Return every living tree's change by columns, in the order of `trees_layer`, and what stands beside it."""
    result = ask_pressure(where, walk=walk, counts=counts)
    trees = ordered_trees(result.grove.trees)[["tree"]]
    frame = trees.merge(change_frame(result), on="tree", how="left", validate="one_to_one")
    return {
        **change_figures(result),
        "columns": columns(frame, ["tree", *FIGURES, "clear", "treated"]),
        "said": change_words(result),
    }
