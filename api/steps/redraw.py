"""Blocks drawn anew and renumbered: no tree loses its identity or its counts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.outcome import Outcome
from api.steps.places import block_named, inside, label, redraw_rows, today
from api.steps.places_ground import lay_again, lay_on_ground
from api.store import Grove, open_grove
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, InputRefused
from gridmap.exchange import read_outlines
from gridmap.ground import check_blocks, extend_rows, map_areas_ha, renumber_rows


def redraw(
    path: Path,
    block: str,
    file: Path,
    *,
    layer: str | None = None,
    crs: str | None = None,
    new_places: bool = True,
    who: str = "grower",
) -> Outcome:
    """Give a block a new outline: trees inside stay who they are, trees outside are retired, new ground gets trees."""
    with open_grove(path) as grove:
        places, lines = grove.places(), grove.rows()
        known = block_named(grove.blocks(), block)
        drawn, notes = outlines_of(grove, file, layer, crs, without=[known["block"]])
        outline = the_outline(drawn, known["block"], file.name)
        notes += check_drawn(grove, [known["block"]], gpd.GeoDataFrame({"block": [known["block"]]}, geometry=[outline]))
        own = places[places["block"] == known["block"]]
        within, counted = inside(outline, own), known["block"] in grove.counted_blocks()
        leaving = own[~within & own["tree"].notna()]
        with grove.act(f"redraw block {known['block']}", who=who):
            grove.set_outline(known["uuid"], outline)
            grove.retire(leaving["tree"], today(grove), check_counts=False)
            back = _bring_back(grove, own[within & ~inside(known["geometry"], own) & own["tree"].isna()])
            new = _extend(grove, known, own, outline, counted=counted) if new_places and len(own) else own.head(0)
            redraw_rows(grove, places, lines, [known["block"]])
            now = grove.places()
    area = float(map_areas_ha(gpd.GeoSeries([outline])).iloc[0])
    changed = changed_labels(own, now)
    said = [
        f"{known['block']}: {known['area_ha']:.2f} ha before, {area:.2f} ha now. {int(within.sum())} places stay, "
        f"{len(leaving)} trees left and are retired, {len(back)} came back, {len(new)} are new.",
        _numbers_said(counted, len(changed)),
        *notes,
    ]
    figures = {
        "block": known["block"],
        "area_ha_before": known["area_ha"],
        "area_ha": area,
        "counted": counted,
        "retired": [label(place) for place in leaving.to_dict("records")],
        "brought_back": back,
        "new": [label(place) for place in new.to_dict("records")],
        "relabelled": changed.to_dict("records"),
    }
    return Outcome(said=tuple(said), tables=_label_table(changed), figures=figures)


def renumber(path: Path, block: str, *, uphill_bearing_deg: float | None = None, who: str = "grower") -> Outcome:
    """Give the rows of a block new numbers from the lowest, and positions from the left; free until the first count."""
    with open_grove(path) as grove:
        places, lines = grove.places(), grove.rows()
        known = block_named(grove.blocks(), block)
        if known["block"] in grove.counted_blocks():
            raise InputRefused(
                f"block {known['block']} has counts",
                "its numbers are free until the first count, and stay for life from then on",
                "take the numbers as they are",
            )
        uphill = uphill_bearing_deg if uphill_bearing_deg is not None else known["uphill_bearing_deg"]
        uphill = grove.grove.uphill_bearing_deg if uphill != uphill else uphill
        if uphill is None:
            raise InputMissing("which way is uphill is not said", "row 1 is the lowest", "say --uphill",
                               missing=["the uphill bearing"])  # fmt: skip
        own = places[places["block"] == known["block"]]
        xy = np.column_stack([own.geometry.x, own.geometry.y])
        numbers = renumber_rows(
            xy, own["row"], own["position"], uphill_bearing_deg=uphill, row_bearing_deg=known["row_bearing_deg"]
        )
        labels = own.assign(row=numbers["row"].to_numpy(), position=numbers["position"].to_numpy())
        with grove.act(f"renumber block {known['block']}", who=who):
            if uphill_bearing_deg is not None:
                grove.set_block(known["uuid"], uphill_bearing_deg=uphill_bearing_deg)
                lay_again(grove)
            grove.relabel(pd.DataFrame(labels[["place", "block", "row", "position"]]))
            redraw_rows(grove, places, lines, [known["block"]])
            now = grove.places()
    changed = changed_labels(own, now)
    return Outcome(
        said=(
            f"{known['block']}: row 1 is the lowest and position 1 the left end looking uphill ({uphill:.0f} degrees). "
            f"{len(changed)} of {len(own)} places have another number.",
        ),
        tables=_label_table(changed),
        figures={"block": known["block"], "uphill_bearing_deg": uphill, "relabelled": changed.to_dict("records")},
    )


def outlines_of(
    grove: Grove, file: Path, layer: str | None, crs: str | None, *, without: list[str]
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read outlines into the grove's CRS."""
    blocks = grove.blocks()
    drawn, notes = to_grove(
        read_outlines(file, layer=layer, crs=crs), grove.grove.crs_code, near=np.asarray(blocks.total_bounds)
    )
    names = drawn["block"].astype(str).str.strip()
    others = set(blocks[~blocks["block"].isin(without)]["block"].str.casefold())
    taken = [name for name in names if name.casefold() in others]
    if taken and len(drawn) > 1:
        raise InputRefused(f"block {taken[0]!r} is in the grove already", "a name is of one block", "rename the part")
    return drawn.assign(block=names), notes


def the_outline(drawn: gpd.GeoDataFrame, name: str, file: str) -> shapely.Polygon:
    """Return the only outline of a file, or the one with the block's name."""
    found = drawn if len(drawn) == 1 else drawn[drawn["block"].str.casefold() == name.strip().casefold()]
    if len(found) != 1:
        raise InputRefused(
            f"{file} holds {len(drawn)} outlines, {len(found)} of them named {name!r}",
            "one outline is asked for",
            "name it in the file, or leave the others out",
        )
    return found.geometry.iloc[0]


def check_drawn(grove: Grove, without: list[str], drawn: gpd.GeoDataFrame) -> list[str]:
    """Refuse outlines that can't be, or that lie over other blocks; set them as they are stored."""
    blocks = grove.blocks()
    others = blocks[~blocks["block"].isin(without)][["block", "geometry"]]
    together = pd.concat([others, drawn[["block", "geometry"]].set_geometry("geometry").set_crs(grove.crs)])
    _, notes = check_blocks(gpd.GeoDataFrame(together, geometry="geometry", crs=grove.crs).reset_index(drop=True))
    return [note for note in notes if any(str(name) in note for name in drawn["block"])]


def _bring_back(grove: Grove, gaps: gpd.GeoDataFrame) -> list[str]:
    """Let trees that an earlier outline left out live again where the new one takes their place in."""
    plants = grove.trees(include_gone=True)
    last = plants[plants["place"].isin(gaps["place"])].groupby("place").tail(1)
    back = grove.retired_by_redrawing(last["tree"])
    grove.revive(back)
    return [label(place) for place in last[last["tree"].isin(back)].to_dict("records")]


def _extend(
    grove: Grove, block: dict[str, Any], own: gpd.GeoDataFrame, outline: shapely.Polygon, *, counted: bool
) -> gpd.GeoDataFrame:
    """Carry the rows on into new ground; return the places that are new."""
    facts = {name: block[name] for name in ("headland_m", "row_bearing_deg", "row_spacing_m", "tree_spacing_m")}
    found = extend_rows(own, old=block["geometry"], new=outline, counted=counted, **facts)
    labels = own.assign(row=found.row, position=found.position)
    grove.relabel(pd.DataFrame(labels[["place", "block", "row", "position"]]))
    new = found.new.assign(block=block["block"])
    if len(new):
        new, _ = lay_on_ground(grove, new)
        grove.add_places_and_plants(new)
    return new


def changed_labels(before: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """Return was, now of every place that is called otherwise than before."""
    both = before.merge(now, on="place", suffixes=("", "_now"))
    was = [label(place) for place in both.to_dict("records")]
    is_now = [f"{line.block_now}/{line.row_now}/{line.position_now}" for line in both.itertuples()]
    table = pd.DataFrame({"was": was, "now": is_now})
    return table[table["was"] != table["now"]].reset_index(drop=True)


def _label_table(changed: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {"Labels, the first ten": changed.head(10)} if len(changed) else {}


def _numbers_said(counted: bool, changed: int) -> str:
    """Say what became of the numbers."""
    if counted:
        return "The block was counted: every number stays; new rows have the next free numbers."
    if changed:
        return f"The block was not counted yet: it is numbered through, and {changed} places have another number."
    return "No number changed."
