"""Heights that were measured at trees: a smooth ground through them, and every place's height off it."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.outcome import Outcome
from api.steps.places_ground import coordinates, lay_again, upslope_of
from api.steps.terrain import compare, figures, outlines, sha256
from api.store import Grove, open_grove
from gridmap.checks import FloatArray
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, RowsRefused
from gridmap.exchange import read_heights
from gridmap.ground import NEAR_A_HEIGHT_M, HeightSurface

_NAMED: Final = 5


def import_heights(
    path: Path, file: Path | None = None, *, layer: str | None = None, crs: str | None = None, who: str = "grower"
) -> Outcome:
    """Lay a smooth ground through heights measured at trees, wrong ones left out, and read every place's height off it.

    Without a file the heights that imported trees carry are taken.
    """
    with open_grove(path) as grove:
        blocks, places = grove.blocks(), grove.places()
        xy, heights, block, names, notes = _measured(grove, places, file, layer, crs)
        surface = HeightSurface().fit(xy, heights)
        right = xy[~surface.wrong_]
        ground = _near(coordinates(places), right, surface)
        of_block = {b: (upslope_of(xy[block == b], heights[block == b]), np.nan) for b, _ in outlines(blocks)}
        table, remarks, arrows = compare(blocks, of_block)
        source = "the trees" if file is None else file.name
        with grove.act(f"import heights from {source}", who=who):
            content: dict[str, Any] = {"vertical_unit": "metre", "heights": len(heights)}
            if file is not None:
                content |= {"file_name": file.name, "file_sha256": sha256(file)}
            grove.set_terrain("heights", content)
            for uuid, bearing in arrows.items():
                grove.set_block(uuid, uphill_bearing_deg=bearing)
            words = lay_again(grove, heights=pd.Series(ground, index=places["place"]))
    wrong = [name for name, out in zip(names, surface.wrong_, strict=True) if out]
    left_out = (
        [f"{len(wrong)} of them are plainly wrong and left out: {', '.join(wrong[:_NAMED])}"
         + (" and others." if len(wrong) > _NAMED else ".")]
        if wrong else []
    )  # fmt: skip
    said = [
        f"{len(heights):,} heights from {source}; they scatter by {surface.noise_m_:.1f} m about a smooth ground.",
        *left_out,
        f"{int(np.isfinite(ground).sum()):,} of {len(places):,} places have a height now: those within "
        f"{NEAR_A_HEIGHT_M:g} m of one that was measured.",
        *words, *notes, *remarks,
    ]  # fmt: skip
    return Outcome(
        said=tuple(said),
        tables={"Fall of the blocks": table.drop(columns="heights for %")},
        figures={
            "heights": len(heights), "wrong": wrong, "scatter_m": surface.noise_m_,
            "places": len(places), "places_with_height": int(np.isfinite(ground).sum()),
            "blocks": figures(table, None), "notes": [*notes, *remarks],
        },
    )  # fmt: skip


def _measured(
    grove: Grove, places: gpd.GeoDataFrame, file: Path | None, layer: str | None, crs: str | None
) -> tuple[FloatArray, FloatArray, Any, list[str], list[str]]:
    """Return position, height, block and name of every measured height, and notes."""
    labels = places["block"] + "/" + places["row"].astype(str) + "/" + places["position"].astype(str)
    if file is None:
        known = places["elevation_m"].notna().to_numpy()
        if "dem" in grove.terrain() or not known.any():
            raise InputMissing(
                "no file with heights is named", "the trees carry none of their own", "name a file", missing=["heights"]
            )
        return (coordinates(places)[known], places["elevation_m"].to_numpy(dtype=float)[known],
                places["block"].to_numpy(dtype=object)[known], labels[known].tolist(), [])  # fmt: skip
    read = read_heights(file, layer=layer, crs=crs)
    named = read.geometry.isna().to_numpy()
    at = dict(zip(labels.str.casefold(), places.index, strict=True))
    wanted = read["block"].astype(str) + "/" + read["row"].astype(str) + "/" + read["position"].astype(str)
    wanted = wanted.str.replace(r"\.0(?=/|$)", "", regex=True)
    bad = [(int(i) + 1, f"there is no place {name}")
           for i, name in wanted[named].items() if name.casefold() not in at]  # fmt: skip
    if bad:
        raise RowsRefused(
            f"{len(bad)} heights of {file.name} are of no place in the grove", bad[0][1], "mend them", problems=bad
        )
    notes: list[str] = []
    xy, block = np.full((len(read), 2), np.nan), np.full(len(read), "", dtype=object)
    if named.any():
        index = [at[name.casefold()] for name in wanted[named]]
        xy[named], block[named] = coordinates(places.loc[index]), places.loc[index, "block"]
    if not named.all():
        blocks = grove.blocks()
        near = np.asarray(blocks.total_bounds) if len(blocks) else None
        moved, notes = to_grove(read[~named], grove.grove.crs_code, near=near)
        xy[~named] = coordinates(moved)
        for name, outline in outlines(blocks):
            block[shapely.contains_xy(outline, *xy.T)] = name
    names = [name if own else f"the one at {x:.0f}, {y:.0f}"
             for name, own, (x, y) in zip(wanted, named, xy, strict=True)]  # fmt: skip
    return xy, read["elevation_m"].to_numpy(dtype=float), block, names, notes


def _near(places: FloatArray, known: FloatArray, surface: HeightSurface) -> FloatArray:
    """Read heights off the ground, for places near a height that was not left out."""
    if not len(places):
        return np.empty(0)
    tree = shapely.STRtree(shapely.points(known))
    found, _ = tree.query_nearest(shapely.points(places), max_distance=NEAR_A_HEIGHT_M, all_matches=False)
    heights = np.full(len(places), np.nan)
    heights[found] = surface.predict(places[found])
    return heights
