"""Rows over a drawn outline: shown before they are laid, straight or along a line, and laid along a line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from api.steps.drawing import as_file, bounds, offering, the_one
from api.steps.geojson import columns, drawn, feature_collection
from api.steps.ground import row_lines
from api.steps.opening import open_grove
from api.steps.outcome import Outcome
from api.steps.rows import lay_contour_rows
from api.store import Grove
from gridmap.crs import to_grove, to_lonlat
from gridmap.errors import InputRefused
from gridmap.ground import check_outline, generate_contour_rows, generate_rows, map_areas_ha


def preview_rows(
    where: Path,
    geometry: Mapping[str, Any],
    facts: Mapping[str, float | None],
    line: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Lay rows and trees into a drawn outline, straight or along a line, and store nothing.

    Parameters
    ----------
    where : Path
        Grove, for its CRS.
    geometry : mapping
        Polygon (GeoJSON).
    facts : mapping
        row_bearing_deg [degrees] for straight rows, row_spacing_m, tree_spacing_m, headland_m [m], uphill_bearing_deg.
    line : mapping, optional
        LineString (GeoJSON) that the rows follow in place of a bearing.
    """
    known = {name: value for name, value in facts.items() if value is not None}
    if ("row_bearing_deg" in known) == (line is not None):
        raise InputRefused(
            "both a bearing and a line are given" if line is not None else "neither a bearing nor a line is given",
            "rows run by one of the two",
            "send row_bearing_deg, or line",
        )
    with open_grove(where, read_only=True) as grove, offering(grove.crs):
        outline = check_outline(_shape(grove, geometry, "Polygon"))
        if line is None:
            trees = generate_rows(outline, crs=grove.crs, **known)
        else:
            trees = generate_contour_rows(outline, _shape(grove, line, "LineString"), crs=grove.crs, **known)
    trees = trees.assign(block="block")
    there = to_lonlat(trees).geometry
    table = pd.DataFrame(trees[["row", "position"]]).assign(
        longitude=[round(point.x, 7) for point in there], latitude=[round(point.y, 7) for point in there]
    )
    return {
        "area_ha": float(map_areas_ha(gpd.GeoSeries([outline], crs=trees.crs)).iloc[0]),
        "trees": len(trees),
        "columns": columns(table.astype({"longitude": object, "latitude": object}), list(table.columns)),
        "rows": feature_collection(row_lines(trees)[["row", "geometry"]]),
    }


def _shape(grove: Grove, geometry: Mapping[str, Any], kind: str) -> Any:
    """Return a drawn shape in the grove's CRS."""
    shape, _ = to_grove(drawn([{"geometry": geometry}], kind), grove.grove.crs_code, near=bounds(grove.blocks()))
    return shape.geometry.iloc[0]


def follow_line(
    where: Path, block: str, line: Mapping[str, Any], facts: Mapping[str, Any], *, who: str = "grower"
) -> Outcome:
    """Lay rows along a drawn line into a block (UUID) that has no trees yet."""
    with open_grove(where, read_only=True) as grove:
        held = the_one(grove.blocks(), "uuid", block, "block")
    if not shapely.geometry.shape(line).length > 0:
        raise InputRefused("the line has no length", "rows follow it", "draw it again")
    with as_file([(held["block"], line)]) as file:
        return lay_contour_rows(where, file, block=held["block"], **facts, who=who)
