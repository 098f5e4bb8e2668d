"""The pressure map as a page draws it: every tree's figures by columns, and what stands beside the map."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from api.steps.geojson import columns, feature_collection
from api.steps.layers import ordered_trees
from api.steps.opening import open_grove
from api.steps.outcome import plain
from api.steps.pressure import Grove, Pressure, load_grove, work_out_pressure
from api.steps.pressure_report import describe_pressure
from api.steps.where_next import next_lines
from api.store.refusals import NotThere
from maps.style import PRESSURE_STOPS, ramp_top

FIGURES: Final = (
    "mean_per_beat",
    "median_per_beat",
    "low_50",
    "high_50",
    "low_80",
    "high_80",
    "low_90",
    "high_90",
    "chance_over",
    "informed",
)


def ask_pressure(where: Path, *, walk: str | None = None, counts: str | None = None) -> Pressure:
    """Work out the map of a walk, by its uuid, date or name; the latest where none is named."""
    if walk is not None:
        with open_grove(where, read_only=True) as grove:
            walks = grove.walks()
        named = (walks["date"].astype(str) == walk) | (walks["name"] == walk) | (walks["walk"] == walk)
        if not named.any():
            raise NotThere(f"there is no walk {walk!r}", None, "name one by its date or name")
    return work_out_pressure(load_grove(where, walk=walk), counts=counts)


def pressure_layer(where: Path, *, walk: str | None = None, counts: str | None = None) -> dict[str, Any]:
    """Return every living tree's figures by columns, in the order of `trees_layer`."""
    result = ask_pressure(where, walk=walk, counts=counts)
    frame = tree_frame(result)
    grove = result.grove
    return {
        "walk": grove.walk["walk"],
        "date": str(grove.walk["date"]),
        "counted": result.counted,
        "standard_taps": float(result.model.standard_taps),
        "threshold_per_beat": grove.facts.threshold.per_beat,
        "trees": len(frame),
        "columns": columns(frame, ["tree", *FIGURES, "knowledge", "beaten"]),
    }


def tree_frame(result: Pressure) -> pd.DataFrame:
    """Return the figures of every living tree with its block, row and position; no figure where nothing is known."""
    trees = ordered_trees(result.grove.trees)
    frame = trees[["tree", "block", "row", "position", "upslope_m"]].merge(
        result.frame, on="tree", how="left", validate="one_to_one"
    )
    # Where nobody walked, the number says only what the rest of the grove is like: none is given
    shown = [name for name in FIGURES if name != "informed" and name in frame]
    frame[shown] = frame[shown].where(frame["knowledge"] != "unknown")
    beats = result.grove.counts.groupby("tree").size()
    frame["beaten"] = frame["tree"].map(beats).fillna(0).astype(int)
    return pd.DataFrame(frame)


def pressure_summary(where: Path, *, walk: str | None = None, counts: str | None = None) -> dict[str, Any]:
    """Return what stands beside the map: the finding, blocks, rows, hot spots, how many trees are well known."""
    result = ask_pressure(where, walk=walk, counts=counts)
    outcome = describe_pressure(result)
    told = plain({name: value for name, value in outcome.figures.items() if name != "hot_spots"})
    spots = result.spots
    there = feature_collection(spots) if len(spots) else {"type": "FeatureCollection", "features": []}
    top = ramp_top(result.grove.facts.threshold.per_beat, result.frame["mean_per_beat"].dropna().tolist())
    return {
        **told,
        "said": list(outcome.said),
        "rows": row_table(result),
        "hot_spots": there,
        "look_next": next_lines(result),
        "ramp": {"top_per_beat": float(top), "colours": list(PRESSURE_STOPS)},
    }


def row_table(result: Pressure) -> list[dict[str, Any]]:
    """Return the pressure by row with 80 % limits of the row's mean, and how far up the slope the row lies."""
    frame = tree_frame(result)
    column = {tree: index for index, tree in enumerate(result.frame["tree"])}
    told = []
    for (block, row), part in frame.groupby(["block", "row"], sort=True):
        draws = result.draws[:, [column[tree] for tree in part["tree"]]].mean(axis=1)
        known = bool((part["knowledge"] != "unknown").any())
        low, high = np.quantile(draws, [0.1, 0.9]) if known else (np.nan, np.nan)
        told.append(
            {
                "block": block,
                "row": row,
                "upslope_m": float(part["upslope_m"].mean()),
                "trees": len(part),
                "beaten": int((part["beaten"] > 0).sum()),
                "mean_per_beat": float(draws.mean()) if known else None,
                "low_80": float(low),
                "high_80": float(high),
                "known": known,
            }
        )
    return plain(told)


def counted_by_beat(grove: Grove, counted: str) -> pd.DataFrame:
    """Return every beat of the walk with its tree's place and what was counted on it."""
    beats = grove.counts.merge(grove.plants[["tree", "block", "row", "position", "geometry"]], on="tree", how="inner")
    names = ["nymphs"] if counted == "nymphs" else ["nymphs", "adults"]
    return pd.DataFrame(beats.assign(counted=beats[names].sum(axis=1)))
