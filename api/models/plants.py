"""Trees that come and go, blocks joined and numbered anew, surveys."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from api.models.base import Day, Degrees, Done, Given, Id, Metres, Name, Told
from api.models.geojson import LineString, Polygon

Label = Annotated[str, Field(min_length=5, max_length=230, pattern=r"^.+/\d{1,9}/\d{1,9}$", examples=["Top/3/14"])]


class LineFacts(Given):
    """A drawn line, and what rows along it are laid by; what was typed for the block before may be left out."""

    line: LineString
    row_spacing_m: Metres | None = None
    tree_spacing_m: Metres | None = None
    headland_m: Metres | None = None
    uphill_bearing_deg: Degrees | None = None


class MergeAsked(Given):
    """Which block is joined to this one (and the version of it that was seen), and what both are called then."""

    other: Id
    other_version: Annotated[str, Field(pattern=r"^\d{1,18}$")]
    name: Name
    geometry: Polygon | None = None


class RenumberAsked(Given):
    """Which way is uphill; the block's or the grove's arrow when left out."""

    uphill_bearing_deg: Degrees | None = None


class Relabelled(Told):
    """A place that is called otherwise now."""

    was: str
    now: str


class Renumbered(Done):
    """What a block's places are called now."""

    uphill_bearing_deg: float
    relabelled: list[Relabelled]
    version: str


class NewPlant(Given):
    """A new plant with the UUID that its maker gave it, in place of a living one (UUID) or in a gap (label)."""

    plant: Id
    instead_of: Id | None = None
    gap: Label | None = None


class ReplantAsked(Given):
    """New plants and their day; the canopy is the block's when left out."""

    plants: Annotated[list[NewPlant], Field(min_length=1, max_length=500)]
    on: Day
    canopy_height_m: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=30)] | None = None
    canopy_width_m: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=30)] | None = None


class Replanted(Done):
    """What was planted; ``gone`` are the plants that stood there, whose counts are kept."""

    planted: list[str]
    gone: list[str]
    counts_kept: int


class RetireAsked(Given):
    """Living plants, and the first day on which they were not there."""

    trees: Annotated[list[Id], Field(min_length=1, max_length=500)]
    on: Day


class Retired(Done):
    """Which plants are gone; their places stay as gaps."""

    gone: list[str]
    gone_on: str


class LabelSince(Told):
    """What a place was called, since when, and by which act."""

    label: str
    since: str
    by: str


class Stood(Told):
    """A plant that stands or stood in a place."""

    tree: str
    status: str
    counts: int


class LabelledPlace(Told):
    """A place that has or had the label."""

    place: str
    now: str
    stands: str
    labels: list[LabelSince]
    plants: list[Stood]


class LabelTold(Told):
    """What a label names, or ever named."""

    label: str
    places: list[LabelledPlace]
    said: list[str]


class SurveyImported(Done):
    """The rows that were found in surveyed trees."""

    trees: int
    trees_not_sure: int
    blocks: list[dict[str, Any]]
    notes: list[str]


class ResurveyTold(Done):
    """What a survey of known trees says; ``report`` marks exactly that, for whoever takes it."""

    report: str
    stored: bool
    shift_east_m: float
    shift_north_m: float
    shift_doubt: float
    error_m: float
    limit_m: float
    matched: list[dict[str, Any]]
    not_seen: list[dict[str, Any]]
    in_gaps: list[dict[str, Any]]
    unknown: list[dict[str, Any]]
