"""The ground: outlines and keep-outs in, straight rows and trees laid, tree positions in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.grove import position
from api.steps.mended import check_target, with_offer
from api.steps.outcome import Outcome
from api.steps.places_ground import lay_on_ground, uphill_by_dem
from api.store import open_grove
from gridmap import checks
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, InputRefused, OutlineRefused
from gridmap.exchange import CLOSING_GAP_M, read_keep_outs, read_outlines, read_trees
from gridmap.ground import check_blocks, check_outline, generate_rows, map_areas_ha, number_places

#: Ground around the trunks that a block made of tree positions gets, where no spacing is known [m].
BESIDE_TREES_M: Final = 4.0


def import_outlines(
    path: Path,
    file: Path,
    *,
    layer: str | None = None,
    crs: str | None = None,
    closing_gap_m: float | None = None,
    write_mended: Path | None = None,
    who: str = "grower",
) -> Outcome:
    """Read block outlines into the grove; nothing is stored unless every one of them can be.

    Where one crosses itself, ``write_mended`` names the file that gets all of them with a mended shape to look at.
    """
    check_target(write_mended, (path, file))
    with open_grove(path) as grove:
        there = grove.blocks()
        read = read_outlines(file, layer=layer, crs=crs, closing_gap_m=_gap_m(closing_gap_m))
        new, notes = to_grove(read, grove.grove.crs_code, near=_bounds(there))
        notes = [*read.attrs["notes"], *notes]
        _refuse_known(there["block"], new["block"])
        together = pd.concat([there[["block", "geometry"]], new[["block", "geometry"]]], ignore_index=True)
        try:
            checked, remarks = check_blocks(gpd.GeoDataFrame(together, geometry="geometry", crs=grove.crs))
        except OutlineRefused as refused:
            raise with_offer(refused, new, write_mended, name="block") from None
        new = new.assign(block=checked["block"].to_numpy()[len(there) :]).set_geometry(
            checked.geometry.iloc[len(there) :].set_axis(new.index)
        )
        grove.add_blocks(new, who=who, what=f"import outlines from {file.name}")
    areas = map_areas_ha(new.geometry)
    table = pd.DataFrame({"block": new["block"], "hectares": areas.round(2)})
    said = (
        f"{len(new)} blocks from {file.name}, {areas.sum():.2f} ha of map area.",
        *notes,
        *remarks,
        f"Next: gridmap make-rows {path.name}, or gridmap import-trees {path.name} FILE",
    )
    return Outcome(
        said=said,
        tables={"Blocks": table},
        figures={
            "blocks": table.rename(columns={"hectares": "area_ha"}).to_dict("records"),
            "notes": [*notes, *remarks],
        },
    )


def import_keep_outs(
    path: Path,
    file: Path,
    *,
    layer: str | None = None,
    crs: str | None = None,
    kind: str | None = None,
    setback_m: float | None = None,
    closing_gap_m: float | None = None,
    write_mended: Path | None = None,
    who: str = "grower",
) -> Outcome:
    """Read what must never be sprayed, with its setback; no distance is ever assumed."""
    check_target(write_mended, (path, file))
    with open_grove(path) as grove:
        read = read_keep_outs(
            file, layer=layer, crs=crs, kind=kind, setback_m=setback_m, closing_gap_m=_gap_m(closing_gap_m)
        )
        new, notes = to_grove(read, grove.grove.crs_code, near=_bounds(grove.blocks()))
        notes = [*read.attrs["notes"], *notes]
        named = zip(new.geometry, new["name"], strict=True)
        try:
            shapes = [check_outline(shape, name=f"keep-out {name}") for shape, name in named]
        except OutlineRefused as refused:
            raise with_offer(refused, new, write_mended, name="name") from None
        new = new.set_geometry(gpd.GeoSeries(shapes, index=new.index, crs=new.crs))
        grove.add_keep_outs(new, who=who, what=f"import keep-outs from {file.name}")
    table = pd.DataFrame(new[["name", "kind", "setback_m"]])
    return Outcome(
        said=(
            f"{len(new)} keep-outs from {file.name}.",
            *notes,
            "Where the label's own setback is wider, the label counts.",
        ),
        tables={"Keep-outs": table.rename(columns={"setback_m": "setback m"})},
        figures={"keep_outs": table.to_dict("records"), "notes": notes},
    )


def make_rows(
    path: Path,
    *,
    block: str | None = None,
    row_bearing_deg: float | None = None,
    row_spacing_m: float | None = None,
    tree_spacing_m: float | None = None,
    headland_m: float | None = None,
    uphill_bearing_deg: float | None = None,
    who: str = "grower",
) -> Outcome:
    """Lay straight rows and trees into one block, or into every block that has no trees yet."""
    typed = {
        "row_bearing_deg": row_bearing_deg,
        "row_spacing_m": row_spacing_m,
        "tree_spacing_m": tree_spacing_m,
        "headland_m": headland_m,
        "uphill_bearing_deg": uphill_bearing_deg,
    }
    with open_grove(path) as grove:
        blocks, planted = grove.blocks(), set(grove.places()["block"])
        chosen = _chosen_blocks(blocks, planted, block)
        laid, changed = [], []
        for record in chosen.to_dict("records"):
            facts: dict[str, Any] = {
                name: record.get(name) if value is None else value for name, value in typed.items()
            }
            if facts["uphill_bearing_deg"] is None or np.isnan(facts["uphill_bearing_deg"]):
                facts["uphill_bearing_deg"] = uphill_by_dem(grove, record["geometry"])
            _require_facts(record["block"], facts)
            rows = generate_rows(record["geometry"], crs=grove.crs, **facts)
            laid.append(rows.assign(block=record["block"]))
            changed.append((record["uuid"], facts))
        trees = gpd.GeoDataFrame(pd.concat(laid, ignore_index=True), geometry="geometry", crs=grove.crs)
        with grove.act(f"make rows in {', '.join(chosen['block'])}", who=who):
            for uuid, facts in changed:
                grove.set_block(uuid, **facts)
            laid_out, words = lay_on_ground(grove, trees)
            grove.add_places_and_plants(laid_out)
            grove.add_rows(row_lines(trees))
    return Outcome(
        said=(
            f"{len(trees):,} trees in {len(trees.groupby(['block', 'row'])):,} rows.",
            "Row 1 is the lowest row of its block, tree 1 its left end looking uphill.",
            *words,
        ),
        tables={"Rows and trees": tree_table(trees)},
        figures={"trees": len(trees), "blocks": tree_table(trees).to_dict("records")},
    )


def import_trees(
    path: Path,
    file: Path,
    *,
    layer: str | None = None,
    crs: str | None = None,
    place_at: str | None = None,
    block: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Read tree positions that carry block and row; a block that is not drawn yet gets an outline around its trees."""
    origin = position(place_at) if place_at is not None else None
    with open_grove(path) as grove:
        blocks = grove.blocks()
        read = read_trees(file, crs=crs, layer=layer, place_at=origin, block=block)
        trees, notes = to_grove(read, grove.grove.crs_code, near=_bounds(blocks))
        notes = [*read.attrs.get("notes", []), *notes]
        new_names = [name for name in dict.fromkeys(trees["block"]) if name not in set(blocks["block"])]
        with grove.act(f"import trees from {file.name}", who=who):
            if new_names:
                grove.add_blocks(outlines_around(trees[trees["block"].isin(new_names)]))
                notes.append(f"Not drawn yet, so outlined around their trees: {', '.join(map(str, new_names))}.")
            if trees["position"].isna().any():
                trees = number_places(trees, grove.blocks())
            trees, words = lay_on_ground(grove, trees)
            notes += words
            grove.add_places_and_plants(trees)
            grove.add_rows(row_lines(trees))
        outside = _outside(trees, grove.blocks())
    if outside:
        notes.append(
            f"{outside} trees stand outside the outline of their block; look at the outline or their positions."
        )
    return Outcome(
        said=(f"{len(trees):,} trees from {file.name}.", *notes),
        tables={"Rows and trees": tree_table(trees)},
        figures={"trees": len(trees), "blocks": tree_table(trees).to_dict("records"), "notes": notes},
    )


def row_lines(trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Join the trees of each row by a line from its first place to its last; a row of one tree has none."""
    ordered = trees.sort_values(["block", "row", "position"])
    lines = [
        (block, row, shapely.LineString(list(part.geometry.to_numpy())))
        for (block, row), part in ordered.groupby(["block", "row"], sort=False)
        if len(part) > 1
    ]
    frame = pd.DataFrame(lines, columns=["block", "row", "geometry"])
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=trees.crs)


def outlines_around(trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Draw an outline around the trees of each block, half the usual distance between neighbours beyond the trunks."""
    shapes, names, spacings = [], [], []
    for name, part in trees.groupby("block", sort=False):
        xy = shapely.get_coordinates(part.geometry.to_numpy())
        near = neighbour_distance_m(xy)
        shapes.append(
            shapely.MultiPoint(xy).convex_hull.buffer(
                near / 2 if np.isfinite(near) else BESIDE_TREES_M, join_style="mitre"
            )
        )
        names.append(name)
        spacings.append(near)
    return gpd.GeoDataFrame({"block": names}, geometry=shapes, crs=trees.crs)


def neighbour_distance_m(xy: checks.FloatArray) -> float:
    """Return the median distance of a tree to its nearest neighbour [m]; NaN where there is only one."""
    from scipy.spatial import cKDTree

    if len(xy) < 2:
        return float("nan")
    distance_m, _ = cKDTree(xy).query(xy, k=[2])
    return float(np.median(np.asarray(distance_m)))


def tree_table(trees: pd.DataFrame) -> pd.DataFrame:
    """Count rows and trees of each block."""
    return trees.groupby("block", sort=False).agg(rows=("row", "nunique"), trees=("row", "size")).reset_index()


def _gap_m(given: float | None) -> float:
    """Return how far apart the ends of a walk around a block may be [m]."""
    return CLOSING_GAP_M if given is None else checks.number(given, "closing gap", "m", least=0, most=200)


def _bounds(blocks: gpd.GeoDataFrame) -> checks.FloatArray | None:
    """Return west, south, east, north of what is there [m], None where nothing is."""
    return np.asarray(blocks.total_bounds) if len(blocks) else None


def _refuse_known(there: pd.Series[str], new: pd.Series[str]) -> None:
    """Refuse a block whose name the grove has already."""
    known = sorted(set(there.str.casefold()) & set(new.astype(str).str.strip().str.casefold()))
    if known:
        raise InputRefused(
            f"block {', '.join(known)} is in the grove already",
            "every block has a name of its own",
            "rename it in the file, or leave it out",
        )


def _chosen_blocks(blocks: gpd.GeoDataFrame, planted: set[str], named: str | None) -> gpd.GeoDataFrame:
    """Return the block that was named, or all that have no trees yet."""
    if named is None:
        free = blocks[~blocks["block"].isin(planted)]
        if not len(free):
            raise InputRefused(
                "every block has its trees" if len(blocks) else "the grove has no block yet",
                "rows are laid into blocks without trees",
                None if len(blocks) else "import outlines first",
            )
        return free
    found = blocks[blocks["block"] == named]
    if not len(found):
        raise InputRefused(f"there is no block {named!r}", f"the grove has {', '.join(blocks['block']) or 'none yet'}")
    if named in planted:
        raise InputRefused(
            f"block {named} has trees already",
            "a tree keeps its place and number for life",
            "take the last act back with gridmap undo if it was a mistake",
        )
    return found


def _require_facts(block: str, facts: Mapping[str, Any]) -> None:
    """Name what is missing to lay rows."""
    words = {
        "row_bearing_deg": "row bearing",
        "row_spacing_m": "row spacing",
        "tree_spacing_m": "tree spacing",
        "headland_m": "headland",
        "uphill_bearing_deg": "which way is uphill",
    }
    missing = [word for name, word in words.items() if facts[name] is None or facts[name] != facts[name]]
    if missing:
        raise InputMissing(
            f"for the rows of {block} something is not said",
            ", ".join(missing),
            "see gridmap make-rows --help",
            missing=missing,
        )


def _outside(trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> int:
    """Count the trees outside the outline of their own block."""
    outlines = blocks.set_index("block").geometry
    return int(sum((~part.within(outlines[name])).sum() for name, part in trees.groupby("block")))
