"""Block outlines: whether they can be used, and a mended shape where they can't."""

from __future__ import annotations

import re
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from gridmap import checks
from gridmap.errors import CRSRefused, OutlineRefused
from gridmap.units import ha

MOST_VERTICES: Final = 100_000
SMALLEST_M2: Final = 1.0
LARGEST_HA: Final = 10_000.0
# Told, not refused: less than about four trees at 5 m; more than a block is (common practice, no source).
SMALL_HA: Final = 0.01
LARGE_HA: Final = 500.0
# Neighbours drawn by hand overlap in a strip along their shared edge; a mean width under this is no mistake.
SLIVER_WIDTH_M: Final = 0.5


def check_outline(geometry: BaseGeometry | None, *, name: str = "the block") -> shapely.Polygon:
    """Say whether an outline can be used, and what is wrong with it where it can't.

    Parameters
    ----------
    geometry : Polygon, or MultiPolygon of one part
        In the grove's projected CRS [m]. Holes are allowed.
    name : str
        How the message names it.

    Returns
    -------
    Polygon
        The same outline without heights, outer ring counter-clockwise.

    Raises
    ------
    OutlineRefused
        Empty, no polygon, several parts, over 100,000 corners, crossing itself, under 1 m2 or over 10,000 ha.
        ``mended`` holds a shape that could be used where there is one.

    Examples
    --------
    >>> check_outline(shapely.box(0, 0, 60, 40), name="block Creek").area
    2400.0
    >>> check_outline(None, name="block Creek")
    Traceback (most recent call last):
    gridmap.errors.OutlineRefused: Block Creek is empty: an outline needs at least three corners.
    """
    if geometry is None or geometry.is_empty:
        raise OutlineRefused(f"{name} is empty", "an outline needs at least three corners")
    corners = int(shapely.get_num_coordinates(geometry))
    if corners > MOST_VERTICES:
        rule = f"at most {MOST_VERTICES:,} are taken"
        raise OutlineRefused(
            f"{name} has {corners:,} corners", rule, "simplify the outline to a corner every metre or so"
        )
    if not np.isfinite(shapely.get_coordinates(geometry)).all():
        raise OutlineRefused(f"{name} has a corner without a position", "every coordinate must be finite")
    polygon = _one_polygon(shapely.force_2d(geometry), name)
    _check_valid(polygon, name)
    if polygon.area < SMALLEST_M2:
        remedy = "check the CRS: these may be degrees"
        raise OutlineRefused(
            f"{name} has an area of {polygon.area:.3g} m2", f"it must be over {SMALLEST_M2:g} m2", remedy
        )
    if ha(polygon.area) > LARGEST_HA:
        rule = f"over {LARGEST_HA:,.0f} ha is no block of a grove"
        raise OutlineRefused(f"{name} has an area of {ha(polygon.area):,.0f} ha", rule, "check the CRS of the file")
    return shapely.orient_polygons(polygon)


def check_blocks(blocks: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Check the outlines and the names of all blocks of a grove against each other.

    Parameters
    ----------
    blocks : GeoDataFrame
        Columns block, geometry; the grove's projected CRS [m]. Others stay as they are.

    Returns
    -------
    blocks : GeoDataFrame
        The same with clean outlines and trimmed names.
    notes : list of str
        Very small or large blocks, and strips where neighbours overlap a little.

    Raises
    ------
    OutlineRefused
        From `check_outline`; a name missing or given twice; two blocks that overlap in more than a strip of 0.5 m
        mean width.
    CRSRefused
        When the frame is in degrees.

    Examples
    --------
    >>> frame = gpd.GeoDataFrame({"block": ["Creek ", "Top"]},
    ...     geometry=[shapely.box(0, 0, 60, 40), shapely.box(60, 0, 99, 40)], crs=7855)
    >>> checked, notes = check_blocks(frame)
    >>> checked["block"].tolist(), notes
    (['Creek', 'Top'], [])
    """
    checks.columns(blocks, ["block", "geometry"], "blocks")
    if blocks.crs is not None and not blocks.crs.is_projected:
        raise CRSRefused(
            "the outlines are in degrees", "areas need the grove's projected CRS", "bring them in by to_grove"
        )
    names = _check_names(blocks["block"])
    polygons = [check_outline(shape, name=f"block {name}") for shape, name in zip(blocks.geometry, names, strict=True)]
    notes = [note for polygon, name in zip(polygons, names, strict=True) for note in _size_notes(polygon, name)]
    notes += _check_overlaps(polygons, names)
    shapes = gpd.GeoSeries(polygons, index=blocks.index, crs=blocks.crs)
    return blocks.assign(block=pd.Series(names, index=blocks.index, dtype=object)).set_geometry(shapes), notes


def overlaps(blocks: gpd.GeoDataFrame) -> pd.DataFrame:
    """List the pairs of blocks that cover the same ground.

    Parameters
    ----------
    blocks : GeoDataFrame
        Columns block, geometry (valid polygons); any projected CRS [m].

    Returns
    -------
    DataFrame
        first, second, overlap_m2, width_m (mean width of the overlap: twice its area over its perimeter); empty
        without any.

    Examples
    --------
    >>> shapes = [shapely.box(0, 0, 60, 40), shapely.box(50, 0, 99, 40)]
    >>> overlaps(gpd.GeoDataFrame({"block": ["A", "B"]}, geometry=shapes)).to_dict("records")
    [{'first': 'A', 'second': 'B', 'overlap_m2': 400.0, 'width_m': 8.0}]
    """
    shapes = blocks.geometry.to_numpy()
    left, right = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    left, right = left[left < right], right[left < right]
    common = shapely.intersection(shapes[left], shapes[right])
    area_m2 = shapely.area(common)
    # A long thin strip of width w and length l has area w l and perimeter about 2 l.
    width_m = 2 * area_m2 / np.maximum(shapely.length(common), 1e-12)
    names = blocks["block"].to_numpy()
    table = pd.DataFrame({"first": names[left], "second": names[right], "overlap_m2": area_m2, "width_m": width_m})
    return table[table["overlap_m2"] > 0].sort_values("overlap_m2", ascending=False, ignore_index=True)


def _one_polygon(geometry: BaseGeometry, name: str) -> shapely.Polygon:
    """Take the polygon out of a MultiPolygon of one part; offer the polygon that a closed line encloses."""
    if isinstance(geometry, shapely.Polygon):
        return geometry
    if isinstance(geometry, shapely.MultiPolygon):
        parts = list(geometry.geoms)
        if len(parts) == 1:
            return parts[0]
        raise OutlineRefused(
            f"{name} has {len(parts)} parts", "a block is one piece of ground", "give each part a name of its own"
        )
    mended = None
    if isinstance(geometry, shapely.LineString) and len(geometry.coords) > 2:
        ring = shapely.Polygon(geometry.coords)
        mended = ring if ring.is_valid else None
    remedy = "close the line to an outline" if mended is not None else "draw its outline"
    raise OutlineRefused(f"{name} is a {geometry.geom_type}", "a block is a Polygon", remedy, mended=mended)


def _check_valid(polygon: shapely.Polygon, name: str) -> None:
    """Refuse an outline that crosses itself, tell where, and offer what it could be."""
    if polygon.is_valid:
        return
    reason = str(shapely.is_valid_reason(polygon))
    place = re.search(r"\[(\S+) (\S+)\]", reason)
    words = re.sub(r"\[.*", "", reason).strip().lower().replace("self-intersection", "it crosses itself")
    where = f" near easting {float(place[1]):.1f} m, northing {float(place[2]):.1f} m" if place else ""
    mended = _mended(polygon)
    remedy = "draw it again"
    if isinstance(mended, shapely.Polygon):
        remedy = f"a mended shape of {ha(mended.area):.2f} ha is offered"
    elif mended is not None:
        sizes = " and ".join(f"{ha(part.area):.2f} ha" for part in mended.geoms)
        remedy = f"it could be mended to {len(mended.geoms)} outlines of {sizes}, each with a name of its own"
    raise OutlineRefused(f"{name} can't be used{where}", words, remedy, mended=mended)


def _mended(polygon: shapely.Polygon) -> shapely.Polygon | shapely.MultiPolygon | None:
    """Return the nearest valid shape; parts under a hundredth of the whole are slips of the hand and left out."""
    valid = shapely.make_valid(polygon, method="structure", keep_collapsed=False)
    parts = [part for part in shapely.get_parts(valid) if isinstance(part, shapely.Polygon)]
    total = sum(part.area for part in parts)
    kept = [part for part in parts if part.area >= max(SMALLEST_M2, 0.01 * total)]
    if not kept:
        return None
    return kept[0] if len(kept) == 1 else shapely.MultiPolygon(kept)


def _check_names(column: pd.Series[str]) -> list[str]:
    """Return trimmed names, unique whatever their case."""
    names = ["" if pd.isna(value) else str(value).strip() for value in column]
    for index, name in enumerate(names):
        if not name:
            raise OutlineRefused(f"outline {index + 1} has no name", "every block needs one", "fill its column 'block'")
    folded = [name.casefold() for name in names]
    twice = next((name for name, key in zip(names, folded, strict=True) if folded.count(key) > 1), None)
    if twice is not None:
        rule = "a name is unique in its grove, whatever its case"
        raise OutlineRefused(f"block {twice} is given twice", rule, "rename one of them")
    return names


def _size_notes(polygon: shapely.Polygon, name: str) -> list[str]:
    area_ha = ha(polygon.area)
    if area_ha < SMALL_HA:
        return [f"Block {name} is very small: {polygon.area:.0f} m2"]
    if area_ha > LARGE_HA:
        return [f"Block {name} is very large: {area_ha:,.0f} ha"]
    return []


def _check_overlaps(polygons: list[shapely.Polygon], names: list[str]) -> list[str]:
    """Refuse real overlaps with their size; tell the strips."""
    found = overlaps(gpd.GeoDataFrame({"block": names}, geometry=gpd.GeoSeries(polygons)))
    wide = found[found["width_m"] > SLIVER_WIDTH_M]
    if len(wide):
        pairs = "; ".join(f"{row.first} and {row.second} by {row.overlap_m2:,.0f} m2" for row in wide.itertuples())
        rule = f"a tree stands in one block (a strip up to {SLIVER_WIDTH_M:g} m wide on average is let pass)"
        raise OutlineRefused(f"blocks overlap: {pairs}", rule, "move the shared edge")
    return [
        f"Blocks {row.first} and {row.second} overlap in a strip of {row.overlap_m2:.1f} m2, {row.width_m:.2f} m wide"
        for row in found.itertuples()
    ]
