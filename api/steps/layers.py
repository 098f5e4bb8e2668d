"""The layers of the map: blocks, keep-outs, rows and trees, as a page or a GIS asks for them."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.geojson import columns, feature_collection, geometry_json
from api.steps.opening import open_grove
from api.steps.places_ground import kept_dem
from api.steps.terrain import ground_areas
from api.store import Grove
from api.store.refusals import NotThere
from gridmap.checks import FloatArray
from gridmap.crs import to_lonlat
from gridmap.errors import InputMissing
from gridmap.ground import cells

BLOCK_FACTS: Final = (
    "row_bearing_deg",
    "row_spacing_m",
    "tree_spacing_m",
    "headland_m",
    "uphill_bearing_deg",
    "canopy_height_m",
    "canopy_width_m",
)
#: A ten-millionth of a degree of latitude is 1.1 cm.
STEP_DEG: Final = 1e-7
_TREE_DECIMALS: Final = 7
_TREE_FIGURES: Final = ("elevation_m", "upslope_m", "canopy_height_m", "canopy_width_m")


def blocks_layer(where: Path, *, only: list[str] | None = None, **more: Any) -> dict[str, Any]:
    """Return the blocks as a FeatureCollection, each with its facts, area, numbers of rows and trees, and version."""
    with open_grove(where, read_only=True) as grove:
        return feature_collection(block_frame(grove, only), id_column="uuid", **more)


def block_frame(grove: Grove, only: list[str] | None = None) -> gpd.GeoDataFrame:
    """Return the blocks (or those with these UUIDs) with numbers of rows and trees, areas, and versions."""
    blocks, trees, versions = grove.blocks(), grove.trees(), grove.versions("block")
    dem = kept_dem(grove)
    if only is not None:
        blocks = blocks[blocks["uuid"].isin(only)]
        refuse_unknown(only, blocks["uuid"], "block")
    grouped = trees.groupby("block")
    rows, number = grouped["row"].nunique(), grouped.size()
    return blocks[["uuid", "block", *BLOCK_FACTS, "area_ha", "geometry"]].assign(
        rows=blocks["block"].map(rows).fillna(0).astype(int),
        trees=blocks["block"].map(number).fillna(0).astype(int),
        ground_area_ha=np.nan if dem is None else ground_areas(blocks, dem)["ground ha"].to_numpy(),
        version=[str(versions.get(uuid, 0)) for uuid in blocks["uuid"]],
    )


def keep_outs_layer(
    where: Path, *, only: list[str] | None = None, setbacks: bool = False, **more: Any
) -> dict[str, Any]:
    """Return the keep-outs as a FeatureCollection; with ``setbacks``, the ground that may not be sprayed too."""
    with open_grove(where, read_only=True) as grove:
        found, versions = grove.keep_outs(), grove.versions("keep_out")
    if only is not None:
        found = found[found["keep_out"].isin(only)]
        refuse_unknown(only, found["keep_out"], "keep-out")
    found = found[["keep_out", "name", "kind", "setback_m", "geometry"]].assign(
        version=[str(versions.get(uuid, 0)) for uuid in found["keep_out"]]
    )
    layer = feature_collection(found, id_column="keep_out", **more)
    if setbacks and len(found):
        reach = found.set_geometry(shapely.buffer(found.geometry.to_numpy(), found["setback_m"].to_numpy()))
        for feature, shape in zip(layer["features"], to_lonlat(reach).geometry, strict=True):
            feature["properties"]["setback"] = geometry_json(shape)
    return layer


def refuse_unknown(asked: list[str], there: pd.Series[str], what: str) -> None:
    """Refuse to tell of what is not there."""
    missing = [uuid for uuid in asked if uuid not in set(there)]
    if missing:
        raise NotThere(f"there is no {what} {missing[0]}")


def rows_layer(where: Path) -> dict[str, Any]:
    """Return the rows as a FeatureCollection of lines: block, row."""
    with open_grove(where, read_only=True) as grove:
        rows = grove.rows()
    return feature_collection(rows[["uuid", "block", "row", "geometry"]], id_column="uuid")


def ordered_trees(trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the living trees in the order that every answer by columns has: block, row, position."""
    return trees.sort_values(["block", "row", "position"], kind="stable", ignore_index=True)


def trees_layer(where: Path) -> dict[str, Any]:
    """Return every living tree by columns: who it is, where it stands, its heights, and the ground that is its own."""
    with open_grove(where, read_only=True) as grove:
        trees, blocks = ordered_trees(grove.trees()), grove.blocks()
    names = sorted(trees["block"].unique())
    number = {name: index for index, name in enumerate(names)}
    there = to_lonlat(trees).geometry
    table = columns(trees, ["tree", "row", "position", *_TREE_FIGURES])
    lonlat = {
        "longitude": there.x.to_numpy().round(_TREE_DECIMALS).tolist() if len(trees) else [],
        "latitude": there.y.to_numpy().round(_TREE_DECIMALS).tolist() if len(trees) else [],
    }
    index = [number[name] for name in trees["block"]]
    ordered = {"tree": table["tree"], "block": index, "row": table["row"], "position": table["position"], **lonlat}
    return {
        "trees": len(trees),
        "blocks": names,
        "columns": {**ordered, **{name: table[name] for name in _TREE_FIGURES}},
        "cells": _cells(trees, blocks),
    }


def _cells(trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> dict[str, Any] | None:
    """Return the four corners of each tree's ground, in steps from an origin; None where no spacing is known."""
    if trees.empty:
        return {"origin": [0.0, 0.0], "step_deg": STEP_DEG, "corners": []}
    try:
        ground = cells(trees, blocks)
    except InputMissing:
        return None
    xy: FloatArray = shapely.get_coordinates(to_lonlat(ground).geometry.to_numpy()).reshape(len(trees), 5, 2)[:, :4]
    origin = xy.reshape(-1, 2).min(axis=0).round(_TREE_DECIMALS)
    corners = np.round((xy - origin) / STEP_DEG).astype(int).reshape(len(trees), 8)
    return {"origin": origin.tolist(), "step_deg": STEP_DEG, "corners": corners.tolist()}
