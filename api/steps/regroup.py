"""Blocks split and merged: every tree keeps its identity and its counts, and is found by its old label still."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.outcome import Outcome
from api.steps.places import block_named, inside, label, redraw_rows
from api.steps.places_ground import lay_again
from api.steps.redraw import changed_labels, check_drawn, outlines_of, the_outline
from api.store import open_grove
from gridmap.errors import InputRefused
from gridmap.ground import SLIVER_WIDTH_M

FACTS: Final = ("row_bearing_deg", "uphill_bearing_deg", "row_spacing_m", "tree_spacing_m", "headland_m")
CANOPY: Final = ("canopy_height_m", "canopy_width_m")


def split(
    path: Path, block: str, file: Path, *, layer: str | None = None, crs: str | None = None, who: str = "grower"
) -> Outcome:
    """Make two or more blocks of one: every tree keeps its row and position, under the name of its new block."""
    with open_grove(path) as grove:
        places, lines = grove.places(), grove.rows()
        known = block_named(grove.blocks(), block)
        drawn, notes = outlines_of(grove, file, layer, crs, without=[known["block"]])
        if len(drawn) < 2:
            raise InputRefused(f"{file.name} holds one outline", "a block is split into two or more", "draw each part")
        notes += check_drawn(grove, [known["block"]], drawn)
        own = places[places["block"] == known["block"]]
        part = _parts(own, drawn, known["geometry"])
        keeper = next((name for name in drawn["block"] if name.casefold() == known["block"].casefold()), None)
        keeper = keeper or drawn["block"].iloc[0]
        with grove.act(f"split block {known['block']}", who=who):
            for name, outline in zip(drawn["block"], drawn.geometry, strict=True):
                if name == keeper:
                    grove.set_outline(known["uuid"], outline, name=name)
            for name, outline in zip(drawn["block"], drawn.geometry, strict=True):
                if name != keeper:
                    grove.copy_block(known["uuid"], outline, name=name)
            grove.relabel(pd.DataFrame(own.assign(block=part)[["place", "block", "row", "position"]]))
            lay_again(grove)
            redraw_rows(grove, places, lines, drawn["block"])
            now = grove.places()
    changed = changed_labels(own, now)
    table = (
        now[now["block"].isin(drawn["block"])].groupby("block").agg(rows=("row", "nunique"), trees=("tree", "count"))
    )
    table = table.reset_index()
    said = [
        f"{known['block']} is split into {', '.join(drawn['block'])}. Rows and positions keep their numbers; "
        f"{len(changed)} places have a new block in their label.",
        "An old label is still found: gridmap label.",
        *notes,
    ]
    figures = {"block": known["block"], "blocks": table.to_dict("records"), "relabelled": changed.to_dict("records")}
    return Outcome(said=tuple(said), tables={"Blocks": table}, figures=figures)


def merge(
    path: Path,
    first: str,
    second: str,
    *,
    name: str,
    outline_file: Path | None = None,
    layer: str | None = None,
    crs: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Make one block of two: the rows of the second get the numbers after the last row of the first."""
    with open_grove(path) as grove:
        places, lines, blocks = grove.places(), grove.rows(), grove.blocks()
        a, b = block_named(blocks, first), block_named(blocks, second)
        if a["uuid"] == b["uuid"]:
            raise InputRefused(f"block {a['block']} is named twice", "two blocks are merged")
        notes: list[str] = []
        if outline_file is not None:
            drawn, notes = outlines_of(grove, outline_file, layer, crs, without=[a["block"], b["block"]])
            outline = the_outline(drawn, name, outline_file.name)
        else:
            outline = _joined(a, b)
        notes += check_drawn(grove, [a["block"], b["block"]], gpd.GeoDataFrame({"block": [name]}, geometry=[outline]))
        own = places[places["block"].isin([a["block"], b["block"]])]
        refuse_left_out(own, outline, [a["geometry"], b["geometry"]])
        facts, differing = _common_facts(a, b)
        labels = own.assign(row=own["row"] + np.where(own["block"] == b["block"], _last_row(own, a["block"]), 0))
        with grove.act(f"merge blocks {a['block']} and {b['block']}", who=who):
            if any(fact in differing for fact in CANOPY):
                grove.keep_canopies(a["uuid"])
                grove.keep_canopies(b["uuid"])
            grove.set_rows([b["uuid"]], lines.head(0)[["block", "row", "geometry"]])
            grove.relabel(pd.DataFrame(labels.assign(block=a["block"])[["place", "block", "row", "position"]]))
            grove.remove_block(b["uuid"])
            grove.set_outline(a["uuid"], outline, name=name)
            grove.set_block(a["uuid"], **facts)
            name = str(grove.blocks().set_index("uuid")["block"][a["uuid"]])
            lay_again(grove)
            redraw_rows(grove, places, lines, [name])
            now = grove.places()
    changed = changed_labels(own, now)
    moved = own[own["block"] == b["block"]]["row"]
    said = [f"{a['block']} and {b['block']} are one block now, {name}, with {int(own['tree'].notna().sum())} trees."]
    if len(moved):
        last = _last_row(own, a["block"])
        said.append(
            f"Row {moved.min()} of {b['block']} is row {moved.min() + last} now, up to row {moved.max() + last}; "
            "an old label is still found: gridmap label."
        )
    if differing:
        words = ", ".join(fact.rpartition("_")[0].replace("_", " ") for fact in differing)
        said.append(f"The two did not agree on {words}: that is not said of {name}.")
    return Outcome(
        said=(*said, *notes),
        figures={
            "block": name,
            "merged": [a["block"], b["block"]],
            "not_said_any_more": differing,
            "relabelled": changed.to_dict("records"),
        },
    )


def _parts(own: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, before: shapely.Polygon) -> pd.Series[str]:
    """Return the new block of every place: the one it lies in, else the nearest."""
    refuse_left_out(own, shapely.union_all(drawn.geometry.to_numpy()), [before])
    distance = np.column_stack([shapely.distance(shape, own.geometry.to_numpy()) for shape in drawn.geometry])
    return pd.Series(drawn["block"].to_numpy()[distance.argmin(axis=1)], index=own.index)


def refuse_left_out(own: gpd.GeoDataFrame, outline: shapely.Geometry, before: list[shapely.Polygon]) -> None:
    """Refuse new outlines that leave a tree out which the old ones held."""
    held = np.logical_or.reduce([inside(shape, own) for shape in before])
    left = own[held & ~inside(outline, own) & own["tree"].notna()]
    if len(left):
        shown = ", ".join(label(place) for place in left.head(3).to_dict("records"))
        raise InputRefused(
            f"{len(left)} trees lie in no part: {shown}{' and others' if len(left) > 3 else ''}",
            "every tree goes with its ground",
            "draw the parts so that they hold all trees, or redraw the block first",
        )


def _joined(a: dict[str, Any], b: dict[str, Any]) -> shapely.Polygon:
    """Return the outline of two neighbours together; a strip as thin as hand drawing leaves is closed."""
    together = shapely.union(a["geometry"], b["geometry"])
    if together.geom_type != "Polygon":
        grown = shapely.buffer(together, SLIVER_WIDTH_M, join_style="mitre")
        together = shapely.union(together, shapely.buffer(grown, -SLIVER_WIDTH_M, join_style="mitre"))
    if together.geom_type != "Polygon":
        apart = shapely.distance(a["geometry"], b["geometry"])
        raise InputRefused(
            f"{a['block']} and {b['block']} are {apart:.1f} m apart",
            "a block has one outline",
            "draw the outline of both together and give it with --outline",
        )
    return together


def _common_facts(a: dict[str, Any], b: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Return what holds for both blocks; a fact on which they differ is not said any more."""
    facts: dict[str, Any] = {}
    differing = []
    for fact in (*FACTS, *CANOPY):
        one, other = a[fact], b[fact]
        known = [value for value in (one, other) if value == value]
        apart = abs(one - other) if len(known) == 2 else 0.0
        turn = 180 if fact == "row_bearing_deg" else 360
        if fact.endswith("bearing_deg"):
            apart = abs((apart + turn / 2) % turn - turn / 2)
        if len(known) == 2 and apart < 1e-6:
            facts[fact] = one
        elif known:
            facts[fact] = None
            differing.append(fact)
    return facts, differing


def _last_row(own: pd.DataFrame, block: str) -> int:
    rows = own[own["block"] == block]["row"]
    return int(rows.max()) if len(rows) else 0
