"""Terrain: heights from a DEM, the uphill arrow, gates and refill points; rows keep their numbers."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.outcome import Outcome
from api.steps.places_ground import coordinates, kept_dem, lay_again, rises
from api.store import open_grove
from gridmap import checks
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, InputRefused
from gridmap.exchange import read_points
from gridmap.ground import Dem, Upslope, dem_reference, ground_area, pack_dem, read_dem, thinned

#: An arrow that differs by more from what the heights tell is told [degrees]. Own limit, no source.
DIFFERENCE_TOLD_DEG: Final = 30.0
# Ground around the blocks that a map may show, as a share of the grove's longer side; at least 100 m.
_AROUND: Final = 0.4


def import_dem(path: Path, file: Path, *, vertical_unit: str | None = None, who: str = "grower") -> Outcome:
    """Read heights from a GeoTIFF: a small copy stays in the grove file, every place gets height and metres upslope.

    Rows, positions and the grower's arrows stay as they are; where the heights say otherwise, it is told.
    """
    with open_grove(path) as grove:
        blocks, places = grove.blocks(), grove.places()
        if not len(blocks):
            raise InputMissing(
                "the grove has no block yet", "a DEM is read around the blocks", "run gridmap import-outlines first",
                missing=["outlines of blocks"],
            )  # fmt: skip
        bounds = shapely.total_bounds([*blocks.geometry, *places.geometry])
        around = max(100.0, _AROUND * float(max(bounds[2] - bounds[0], bounds[3] - bounds[1])))
        dem = read_dem(file, grove.grove.crs_code, bounds, vertical_unit=vertical_unit, margin_m=around)
        small = thinned(dem)
        table, remarks, arrows = compare(blocks, {b: rises(o, dem) for b, o in outlines(blocks)})
        with grove.act(f"import heights from {file.name}", who=who):
            grove.set_terrain("dem", _reference(file, dem, small, vertical_unit))
            for uuid, bearing in arrows.items():
                grove.set_block(uuid, uphill_bearing_deg=bearing)
            heights = pd.Series(dem.at(coordinates(places)), index=places["place"])
            words = lay_again(grove, heights=heights)
        areas = ground_areas(blocks, small)
    known = heights[np.isfinite(heights)]
    said = [
        f"Heights from {file.name}, cells of {_cell_words(dem)}: {len(known):,} of {len(places):,} places"
        + (f", {known.min():.1f} to {known.max():.1f} m." if len(known) else "."),
        *words,
        *(f"{note[0].upper()}{note[1:]}." for note in dem.notes),
        *([f"Kept in the grove file with cells of {_cell_words(small)}."] if small is not dem else []),
        *remarks,
    ]
    return Outcome(
        said=tuple(said),
        tables={"Fall of the blocks": table, "Areas": areas},
        figures={
            "dem": file.name,
            "cell_m": list(dem.cell_m),
            "places": len(places),
            "places_with_height": len(known),
            "blocks": figures(table, areas),
            "notes": [*dem.notes, *remarks],
        },
    )


def set_uphill(path: Path, bearing_deg: float, *, block: str | None = None, who: str = "grower") -> Outcome:
    """Keep the grower's uphill arrow of the grove, or of one block; numbers stay as they are."""
    bearing = checks.bearing_deg(bearing_deg, "uphill bearing")
    with open_grove(path) as grove:
        blocks = grove.blocks()
        chosen = blocks if block is None else blocks[blocks["block"] == block]
        if block is not None and chosen.empty:
            known = ", ".join(blocks["block"]) or "none yet"
            raise InputRefused(f"there is no block {block!r}", f"the grove has {known}")
        with grove.act(f"uphill of {block or 'the grove'}", who=who):
            if block is None:
                grove.set_grove(uphill_bearing_deg=bearing)
            else:
                grove.set_block(chosen["uuid"].iloc[0], uphill_bearing_deg=bearing)
            words = lay_again(grove)
        dem = kept_dem(grove)
    told = []
    for name, outline in outlines(chosen):
        found = None if dem is None else rises(outline, dem)[0]
        if found is not None and found.sure and _turn(found.bearing_deg, bearing) > DIFFERENCE_TOLD_DEG:
            told.append(f"{name}: the DEM rises toward {found.bearing_deg:.0f} degrees. Your arrow is kept.")
    said = (f"Uphill of {block or 'the grove'} is toward {bearing:g} degrees. Rows keep their numbers.", *words, *told)
    return Outcome(said=said, figures={"uphill_bearing_deg": bearing, "block": block, "notes": [*words, *told]})


def import_points(
    path: Path,
    file: Path,
    *,
    layer: str | None = None,
    crs: str | None = None,
    kind: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Read gates, refill points and other points into the grove."""
    with open_grove(path) as grove:
        blocks = grove.blocks()
        near = np.asarray(blocks.total_bounds) if len(blocks) else None
        read = read_points(file, layer=layer, crs=crs, kind=kind)
        new, notes = to_grove(read, grove.grove.crs_code, near=near)
        grove.add_points(new, who=who, what=f"import points from {file.name}")
    table = pd.DataFrame(new[["name", "kind"]])
    said = [f"{len(new)} points from {file.name}.", *notes]
    if (new["kind"] == "gate").any():
        said.append("The walking order of a zone starts at the gate.")
    if (new["kind"] == "refill").any():
        said.append("The run sheet names the refill point nearest to where each load runs dry.")
    return Outcome(
        said=tuple(said), tables={"Points": table}, figures={"points": table.to_dict("records"), "notes": notes}
    )


def ground_areas(blocks: gpd.GeoDataFrame, dem: Dem) -> pd.DataFrame:
    """Put the area along the ground beside the map area of each block; empty where the DEM tells no slope."""
    lines = []
    for name, outline in outlines(blocks):
        try:
            found = ground_area(outline, dem)
        except InputRefused:
            lines.append((name, outline.area / 10_000, np.nan, 0.0))
            continue
        lines.append((name, found.map_ha, found.ground_ha, found.covered))
    frame = pd.DataFrame(lines, columns=["block", "map ha", "ground ha", "DEM covers %"])
    return frame.assign(**{name: frame[name].round(3) for name in ("map ha", "ground ha")},
                        **{"DEM covers %": (100 * frame["DEM covers %"]).round(0)})  # fmt: skip


def outlines(blocks: gpd.GeoDataFrame) -> list[tuple[str, Any]]:
    """Return name and outline of every block."""
    return list(zip(blocks["block"], blocks.geometry, strict=True))


def compare(
    blocks: gpd.GeoDataFrame, found: dict[str, tuple[Upslope | None, float]]
) -> tuple[pd.DataFrame, list[str], dict[str, float]]:
    """Put what the heights tell beside the grower's arrows: table, what to tell, arrows for blocks without one."""
    lines, remarks, arrows = [], [], {}
    bare, partly = [], []
    for name, uuid, typed in zip(blocks["block"], blocks["uuid"], blocks["uphill_bearing_deg"], strict=True):
        told, share = found[name]
        if share == 0:
            bare.append(name)
        elif share < 1:
            partly.append(f"{name} ({share:.0%})")
        bearing = np.nan if told is None else told.bearing_deg
        why = "too few heights to tell" if told is None else told.why
        lines.append((name, bearing, np.nan if told is None else told.bearing_error_deg,
                      np.nan if told is None else told.slope_deg, typed, 100 * share, why))  # fmt: skip
        if told is None or not told.sure:
            continue
        if typed != typed:
            arrows[uuid] = float(round(bearing)) % 360
            remarks.append(f"{name} had no uphill arrow; it is {arrows[uuid]:.0f} degrees now, by the heights.")
        elif _turn(bearing, typed) > DIFFERENCE_TOLD_DEG:
            remarks.append(
                f"{name}: your arrow says {typed:.0f} degrees, the heights {bearing:.0f}. Yours is kept; "
                "gridmap uphill changes it, and rows keep their numbers either way."
            )
    if bare:
        remarks.insert(0, f"No heights at all in: {', '.join(bare)}.")
    if partly:
        remarks.insert(0, f"Heights for a part only of: {', '.join(partly)}.")
    names = ["block", "uphill deg", "give or take", "slope deg", "your arrow", "heights for %", "how sure"]
    table = pd.DataFrame(lines, columns=names)
    return table.round({"uphill deg": 0, "give or take": 1, "slope deg": 1, "heights for %": 0}), remarks, arrows


def figures(table: pd.DataFrame, areas: pd.DataFrame | None) -> list[dict[str, Any]]:
    """Return the tables as figures, names ending in their unit."""
    names = {"uphill deg": "uphill_bearing_deg", "give or take": "bearing_error_deg", "slope deg": "slope_deg",
             "your arrow": "typed_bearing_deg", "heights for %": "heights_percent", "how sure": "how_sure",
             "map ha": "map_area_ha", "ground ha": "ground_area_ha", "DEM covers %": "covered_percent"}  # fmt: skip
    joined = table if areas is None else table.merge(areas, on="block")
    records: list[dict[str, Any]] = joined.rename(columns=names).to_dict("records")  # type: ignore[assignment]
    return records


def _turn(one_deg: float, other_deg: float) -> float:
    """Return the angle between two bearings, 0 to 180 degrees."""
    return abs((one_deg - other_deg + 180) % 360 - 180)


def _reference(file: Path, dem: Dem, small: Dem, told_unit: str | None) -> dict[str, Any]:
    """Say where the heights come from, and pack the copy that stays."""
    said = dem_reference(file)
    return {
        "file_name": file.name,
        "file_sha256": sha256(file),
        "crs": said["crs"],
        "vertical_unit": told_unit or said["vertical_unit"],
        "cell_width_m": dem.cell_m[0],
        "cell_height_m": dem.cell_m[1],
        "heights": int(np.isfinite(dem.elevation_m).sum()),
        "geotiff": pack_dem(small),
    }


def sha256(file: Path) -> str:
    """Return the digest that a file's content is known by, hexadecimal."""
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def _cell_words(dem: Dem) -> str:
    width, height = (f"{side:.3g}" for side in dem.cell_m)
    return f"{width} m" if width == height else f"{width} by {height} m"
