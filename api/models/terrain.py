"""Heights, gates and refill points."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from api.models.base import Done, Given, Id, Name, Told
from api.models.geojson import Point

PointKind = Literal["gate", "refill", "other"]


class PointFacts(Given):
    """What the grower says of a point; an answered version may come back and is passed over."""

    name: Name | None = None
    kind: PointKind | None = None
    version: str | None = None


class WholePointFacts(PointFacts):
    """What the grower says of a new point: name and kind at least."""

    name: Name
    kind: PointKind


class NewPoint(Given):
    """A point that was set, with the UUID that its maker gave it."""

    type: Literal["Feature"]
    id: Id
    properties: WholePointFacts
    geometry: Point


class NewPoints(Given):
    """Several of them, stored in one act."""

    type: Literal["FeatureCollection"]
    features: Annotated[list[NewPoint], Field(min_length=1, max_length=200)]


class PointChange(Given):
    """Another place, name or kind; what is left out stays."""

    type: Literal["Feature"]
    id: Id | None = None
    properties: PointFacts | None = None
    geometry: Point | None = None


class PointRead(Told):
    """A point that was read in."""

    name: str
    kind: PointKind


class PointsImported(Done):
    """What was read in."""

    points: list[PointRead]
    notes: list[str]


class HeightsImported(Done):
    """What the heights tell: how many places have one, the fall of the blocks, and what was left out."""

    places: int
    places_with_height: int
    blocks: list[dict[str, Any]]
    notes: list[str]
    dem: str | None = None
    cell_m: list[float] | None = None
    heights: int | None = None
    wrong: list[str] | None = None
    scatter_m: float | None = None
