"""Rows that are found in surveyed trees, and rows that follow a drawn line."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.ground import outlines_around, row_lines, tree_table
from api.steps.outcome import Outcome
from api.steps.places_ground import lay_on_ground, uphill_by_dem
from api.store import Grove, open_grove
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, InputRefused
from gridmap.exchange import read_trees
from gridmap.exchange.lines import read_line
from gridmap.ground import RowFit, fit_rows, generate_contour_rows, number_uphill

#: Under this chance a tree's row and place are named as not sure.
SURE: Final = 0.9


def find_rows(
    path: Path,
    file: Path,
    *,
    block: str | None = None,
    bearing_hint_deg: float | None = None,
    uphill_bearing_deg: float | None = None,
    layer: str | None = None,
    crs: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Read surveyed tree positions that know no rows, find the rows, and store every tree with its row and place.

    Parameters
    ----------
    path, file : Path
        Grove file; tree positions in any format that `gridmap.exchange.read_trees` reads.
    block : str, optional
        Block of the trees, where the file does not say it.
    bearing_hint_deg : float, optional
        Roughly which way the rows run; the block's own row bearing when left out.
    uphill_bearing_deg : float, optional
        Which way is uphill; the block's, the DEM's or the grove's own when left out.

    Raises
    ------
    InputRefused
        No rows to find; trees that are there already.
    InputMissing
        It is not said which block, or which way is uphill.
    """
    with open_grove(path) as grove:
        there = grove.blocks()
        read = read_trees(file, crs=crs, layer=layer, rows="later", block=block)
        trees, notes = to_grove(read, grove.grove.crs_code, near=np.asarray(there.total_bounds) if len(there) else None)
        notes = [*read.attrs.get("notes", []), *notes]
        new = [name for name in dict.fromkeys(trees["block"]) if name not in set(there["block"])]
        with grove.act(f"find rows in {file.name}", who=who):
            if new:
                grove.add_blocks(outlines_around(trees[trees["block"].isin(new)]))
                notes.append(f"Not drawn yet, so outlined around their trees: {', '.join(map(str, new))}.")
            placed, fits = [], {}
            for record in grove.blocks().to_dict("records"):
                own = trees[trees["block"] == record["block"]]
                if len(own):
                    found, fits[record["block"]] = _find(grove, own, record, bearing_hint_deg, uphill_bearing_deg)
                    placed.append(found)
            laid, words = lay_on_ground(grove, gpd.GeoDataFrame(pd.concat(placed), geometry="geometry", crs=grove.crs))
            grove.add_places_and_plants(laid)
            grove.add_rows(row_lines(laid))
    return _told(laid, fits, [*notes, *words])


def _find(
    grove: Grove, trees: gpd.GeoDataFrame, record: dict[str, Any], hint: float | None, uphill: float | None
) -> tuple[gpd.GeoDataFrame, RowFit]:
    """Find the rows of one block, number them up the hill, and keep what was found out with the block."""
    known = record["row_bearing_deg"]
    fit = fit_rows(trees, known if hint is None and known is not None and np.isfinite(known) else hint)
    up = _uphill(grove, record, uphill)
    numbered = number_uphill(fit.trees, fit.bearing_deg, up)
    found = {
        "row_bearing_deg": fit.bearing_deg,
        "row_spacing_m": fit.row_spacing_m,
        "tree_spacing_m": fit.tree_spacing_m,
    }
    untold: dict[str, Any] = {
        name: round(value, 2)
        for name, value in {**found, "uphill_bearing_deg": up}.items()
        if np.isfinite(value) and not np.isfinite(record[name] if record[name] is not None else np.nan)
    }
    if untold:
        grove.set_block(record["uuid"], **untold)
    return trees.assign(row=numbered["row"], position=numbered["position"], sure=fit.trees["sure"]), fit


def _uphill(grove: Grove, record: dict[str, Any], told: float | None) -> float:
    """Return which way is uphill: what is said now, the block's arrow, the DEM, the grove's arrow [degrees]."""
    for bearing in (
        told,
        record["uphill_bearing_deg"],
        uphill_by_dem(grove, record["geometry"]),
        grove.grove.uphill_bearing_deg,
    ):
        if bearing is not None and np.isfinite(bearing):
            return float(bearing) % 360
    raise InputMissing(
        f"it is not said which way is uphill in {record['block']}",
        "row 1 is the lowest row",
        "say --uphill, or read a DEM with gridmap import-dem",
        missing=["which way is uphill"],
    )


def _told(trees: gpd.GeoDataFrame, fits: dict[str, RowFit], notes: list[str]) -> Outcome:
    """Say what rows were found, and how sure that is."""
    doubtful = int((trees["sure"] < SURE).sum())
    table = tree_table(trees)
    for name in ("bearing_deg", "row_spacing_m", "tree_spacing_m"):
        table[name] = [round(getattr(fits[block], name), 2) for block in table["block"]]
    table["sure"] = [round(float(trees.loc[trees["block"] == block, "sure"].mean()), 3) for block in table["block"]]
    said = [
        f"{len(trees):,} trees in {int(table['rows'].sum()):,} rows; row 1 is the lowest, tree 1 the left end uphill."
    ]
    if doubtful:
        said.append(
            f"{doubtful} trees are less than {SURE * 100:.0f} % sure of their row and place; walk those rows once."
        )
    for block, fit in fits.items():
        if fit.also_bearing_deg:
            other = ", ".join(f"{bearing:.0f}" for bearing in fit.also_bearing_deg)
            said.append(f"{block} could have rows at {other} degrees as well; if so, undo and say --bearing-hint.")
    shown = table.rename(columns={"bearing_deg": "bearing", "row_spacing_m": "row m", "tree_spacing_m": "tree m"})
    return Outcome(
        said=(*said, *notes),
        tables={"Rows found": shown},
        figures={"trees": len(trees), "trees_not_sure": doubtful, "blocks": table.to_dict("records"), "notes": notes},
    )


def lay_contour_rows(
    path: Path,
    file: Path,
    *,
    block: str,
    row_spacing_m: float | None = None,
    tree_spacing_m: float | None = None,
    headland_m: float | None = None,
    uphill_bearing_deg: float | None = None,
    layer: str | None = None,
    crs: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Lay rows parallel to a drawn line into one block that has no trees yet."""
    with open_grove(path) as grove:
        found = grove.blocks().query("block == @block")
        if not len(found):
            raise InputRefused(
                f"there is no block {block!r}", f"the grove has {', '.join(grove.blocks()['block']) or 'none yet'}"
            )
        if block in set(grove.places()["block"]):
            raise InputRefused(f"block {block} has trees already", "a tree keeps its place and number for life")
        record = found.iloc[0].to_dict()
        facts: dict[str, Any] = {
            "row_spacing_m": row_spacing_m,
            "tree_spacing_m": tree_spacing_m,
            "headland_m": headland_m,
        }
        facts = {name: record[name] if value is None else value for name, value in facts.items()}
        missing = [name for name, value in facts.items() if value is None or not np.isfinite(value)]
        if missing:
            raise InputMissing(
                f"for the rows of {block} something is not said",
                ", ".join(missing),
                "see gridmap follow-line --help",
                missing=missing,
            )
        facts["uphill_bearing_deg"] = _uphill(grove, record, uphill_bearing_deg)
        line, notes = to_grove(read_line(file, layer=layer, crs=crs), grove.grove.crs_code, near=found.total_bounds)
        rows = generate_contour_rows(record["geometry"], line.geometry.iloc[0], crs=grove.crs, **facts)
        with grove.act(f"make rows in {block} along {file.name}", who=who):
            grove.set_block(record["uuid"], row_bearing_deg=_bearing_deg(line.geometry.iloc[0]), **facts)
            trees, words = lay_on_ground(grove, rows.assign(block=block))
            grove.add_places_and_plants(trees)
            grove.add_rows(row_lines(trees))
    table = tree_table(trees)
    return Outcome(
        said=(
            f"{len(trees):,} trees in {int(table['rows'].iloc[0])} rows along the line of {file.name}.",
            *notes,
            *words,
        ),
        tables={"Rows and trees": table},
        figures={"trees": len(trees), "blocks": table.to_dict("records"), "notes": notes},
    )


def _bearing_deg(line: shapely.LineString) -> float:
    """Return the bearing from the line's first point to its last [degrees, 0 to 180]."""
    (west, south), (east, north) = line.coords[0][:2], line.coords[-1][:2]
    return round(float(np.degrees(np.arctan2(east - west, north - south))) % 180, 1)
