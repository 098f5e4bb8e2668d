"""GeoJSON (RFC 7946) as it is taken and given: longitude and latitude, WGS 84."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from api.models.base import Degrees, Given, Id, Metres, Name, Number, Told

Position = Annotated[list[Number], Field(min_length=2, max_length=3)]


class Polygon(Given):
    """An outline, its outer ring first."""

    type: Literal["Polygon"]
    coordinates: Annotated[list[Annotated[list[Position], Field(min_length=4)]], Field(min_length=1, max_length=100)]


class Point(Given):
    """A position."""

    type: Literal["Point"]
    coordinates: Position


class LineString(Given):
    """A line."""

    type: Literal["LineString"]
    coordinates: Annotated[list[Position], Field(min_length=2)]


class BlockFacts(Given):
    """What the grower says of a block; null takes it back. Answered figures may come back and are passed over."""

    block: Name | None = None
    row_bearing_deg: Degrees | None = None
    row_spacing_m: Metres | None = None
    tree_spacing_m: Metres | None = None
    headland_m: Metres | None = None
    uphill_bearing_deg: Degrees | None = None
    canopy_height_m: Metres | None = None
    canopy_width_m: Metres | None = None
    area_ha: Number | None = None
    ground_area_ha: Number | None = None
    rows: Number | None = None
    trees: Number | None = None
    version: str | None = None


class KeepOutFacts(Given):
    """What the grower says of a keep-out."""

    name: Name | None = None
    kind: Literal["water", "hive", "dwelling", "neighbour", "bush", "other"] | None = None
    setback_m: Metres | None = None
    setback: dict[str, Any] | None = None
    version: str | None = None


class NamedBlockFacts(BlockFacts):
    """What the grower says of a new block: its name at least."""

    block: Name


class WholeKeepOutFacts(KeepOutFacts):
    """What the grower says of a new keep-out: kind and setback at least; no distance is ever assumed."""

    kind: Literal["water", "hive", "dwelling", "neighbour", "bush", "other"]
    setback_m: Metres


class NewBlock(Given):
    """A block that was drawn, with the UUID that its maker gave it."""

    type: Literal["Feature"]
    id: Id
    properties: NamedBlockFacts
    geometry: Polygon


class NewBlocks(Given):
    """Several of them, stored in one act."""

    type: Literal["FeatureCollection"]
    features: Annotated[list[NewBlock], Field(min_length=1, max_length=200)]


class BlockChange(Given):
    """A new outline or other facts; what is left out stays."""

    type: Literal["Feature"]
    id: Id | None = None
    properties: BlockFacts | None = None
    geometry: Polygon | None = None


class NewKeepOut(Given):
    """A keep-out that was drawn, with the UUID that its maker gave it."""

    type: Literal["Feature"]
    id: Id
    properties: WholeKeepOutFacts
    geometry: Polygon


class NewKeepOuts(Given):
    """Several of them, stored in one act."""

    type: Literal["FeatureCollection"]
    features: Annotated[list[NewKeepOut], Field(min_length=1, max_length=200)]


class KeepOutChange(Given):
    """Another shape or other facts; what is left out stays."""

    type: Literal["Feature"]
    id: Id | None = None
    properties: KeepOutFacts | None = None
    geometry: Polygon | None = None


class Feature(Told):
    """One thing with its place."""

    type: Literal["Feature"]
    id: str | None = None
    properties: dict[str, Any]
    geometry: dict[str, Any] | None
    act: str | None = None
    said: list[str] = Field(default_factory=list)


class FeatureCollection(Told):
    """Things with their places; ``act`` and ``notes`` are foreign members of an answer to a change."""

    type: Literal["FeatureCollection"]
    features: list[Feature]
    act: str | None = None
    notes: list[str] = Field(default_factory=list)
