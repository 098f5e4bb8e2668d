"""Rows, trees and imports of the ground."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from api.models.base import Degrees, Done, Given, Id, Metres, Name, Told
from api.models.geojson import FeatureCollection, LineString, Polygon


class RowFacts(Given):
    """What rows are laid by; what was typed for the block before may be left out."""

    row_bearing_deg: Degrees | None = None
    row_spacing_m: Metres | None = None
    tree_spacing_m: Metres | None = None
    headland_m: Metres | None = None
    uphill_bearing_deg: Degrees | None = None


class PreviewAsked(Given):
    """An outline and what rows would be laid by: a bearing, or a line that they follow."""

    geometry: Polygon
    row_bearing_deg: Degrees | None = None
    line: LineString | None = None
    row_spacing_m: Metres
    tree_spacing_m: Metres
    headland_m: Metres
    uphill_bearing_deg: Degrees


class PreviewColumns(Told):
    """Trees by columns."""

    row: list[int]
    position: list[int]
    longitude: list[float]
    latitude: list[float]


class Preview(Told):
    """What would be laid; nothing is stored."""

    area_ha: float
    trees: int
    columns: PreviewColumns
    rows: FeatureCollection


class RowsLaid(Done):
    """What was laid."""

    trees: int
    rows: int
    version: str


class Part(Given):
    """The name of one part of a split block."""

    name: Name
    block: Id | None = None


class SplitAsked(Given):
    """Where a block is cut, and what its two parts are called, the first on the left of the line."""

    line: LineString
    parts: Annotated[list[Part], Field(min_length=2, max_length=2)]


class TreeColumns(Told):
    """Every living tree by columns; ``block`` counts into ``blocks``."""

    tree: list[str]
    block: list[int]
    row: list[int]
    position: list[int]
    longitude: list[float]
    latitude: list[float]
    elevation_m: list[float | None]
    upslope_m: list[float | None]
    canopy_height_m: list[float | None]
    canopy_width_m: list[float | None]


class Cells(Told):
    """Four corners of each tree's own ground, longitude then latitude, in steps from the origin."""

    origin: list[float]
    step_deg: float
    corners: list[list[int]]


class Trees(Told):
    """Every living tree."""

    trees: int
    blocks: list[str]
    columns: TreeColumns
    cells: Cells | None


class Imported(Done):
    """What was read in."""

    blocks: list[dict[str, Any]] = Field(default_factory=list)
    keep_outs: list[dict[str, Any]] = Field(default_factory=list)
    trees: int = 0
    notes: list[str] = Field(default_factory=list)
