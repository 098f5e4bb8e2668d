"""The sward: surveys and looks in, the front and its climb out; when to slash."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from api.models.base import Day, Done, Given, Id, Name, Note, Number, Told, Whole
from api.models.geojson import Point

Row = Annotated[int, Field(strict=True, ge=1, le=100_000)]
Amount = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=10_000)]
MonthDay = Annotated[str, Field(pattern=r"^\d{2}-\d{2}$", examples=["11-15"])]


class SurveyTold(Told):
    """A cover survey with how much was looked at."""

    survey: str
    date: str
    name: str | None
    observer: str | None
    note: str | None
    about: dict[str, Any]
    looks: int
    rows: int
    methods: list[str] | None = None


class Surveys(Told):
    """Every cover survey, oldest first."""

    surveys: list[SurveyTold]


class NewSurvey(Given):
    """A cover survey, with the UUID that its maker gave it."""

    survey: Id
    date: Day
    name: Name | None = None
    observer: Name | None = None
    note: Note | None = None


class SurveyStored(Told):
    """A survey as it is kept."""

    survey: str
    date: str
    name: str | None
    observer: str | None
    act: str | None


class Noted(Given):
    """What was written down of one look: hits, per cent, or Daubenmire's class."""

    grass: Amount | None = None
    dead_grass: Amount | None = None
    litter: Amount | None = None
    rock: Amount | None = None
    bare: Amount | None = None


class NewLook(Given):
    """One look at the floor of a row."""

    look: Id
    block: Name
    row: Row
    position: Row | None = None
    method: Literal["points", "stations", "percent", "daubenmire"]
    noted: Noted
    observer: Name | None = None


class NewLooks(Given):
    """Looks of one survey, stored all or none."""

    looks: Annotated[list[NewLook], Field(min_length=1, max_length=500)]


class Stored(Told):
    """How many were new, and how many were there already; told once they are on the disk."""

    new: int
    already: int
    act: str | None


class Looks(Told):
    """The looks of a survey by columns."""

    survey: str
    looks: int
    columns: dict[str, list[Any]]


class Sward(Told):
    """What the surveys say; see docs/service.md for every field."""

    level: float | None
    settings: dict[str, Any]
    surveys: list[SurveyTold]
    blocks: list[str]
    rows: dict[str, list[Any]]
    front: list[dict[str, Any]]
    advance: dict[str, float | None] | None
    plateaus: list[float] | None
    by_block: list[dict[str, Any]]
    passed: list[dict[str, Any]]
    coming: list[dict[str, Any]]
    trend: dict[str, Any] | None
    change: dict[str, Any] | None
    missing: list[str]
    notes: list[str]


class SwardField(Told):
    """What one field asks for."""

    field: str
    words: str
    unit: str


class SettingsForm(Told):
    """What was typed of the sward, and what each field asks for."""

    values: dict[str, Any]
    fields: list[SwardField]
    version: str
    act: str | None = None
    said: list[str] = Field(default_factory=list)


class SettingsTyped(Given):
    """What is left out stays, null takes a field back."""

    level: Number | None = None
    shed_enough: Number | None = None
    mulch_m: Number | None = None
    fire_from: MonthDay | None = None
    fire_to: MonthDay | None = None
    nets_from: MonthDay | None = None
    nets_to: MonthDay | None = None
    flowering_from: MonthDay | None = None
    flowering_to: MonthDay | None = None
    snakes_from: MonthDay | None = None
    snakes_to: MonthDay | None = None
    stones: bool | None = None


class CoverImported(Done):
    """What was read in, and what was not."""

    looks_new: int
    looks_already_there: int
    surveys: list[str]
    lines_left_out: list[dict[str, Any]]


class GrassImported(Done):
    """Grass as walked or drawn, measured row by row."""

    survey: str
    rows: int
    kind: str


class PictureImported(Done):
    """A picture, measured row by row."""

    survey: str
    rows: int
    index: str
    threshold: float
    by_otsu: bool
    shift_east_m: float | None
    shift_north_m: float | None
    shift_left_m: float | None
    cautions: list[str]


class NewSeedCheck(Given):
    """Seed heads looked at in a part of the grove; without a grass the grower was unsure."""

    check: Id
    date: Day
    block: Name
    from_row: Row | None = None
    to_row: Row | None = None
    grass: Name | None = None
    heads: Annotated[int, Field(strict=True, ge=1, le=10_000)]
    shed: Whole
    observer: Name | None = None
    note: Note | None = None


class NewSeedChecks(Given):
    """Several of them, stored all or none."""

    checks: Annotated[list[NewSeedCheck], Field(min_length=1, max_length=200)]


class SeedChecks(Told):
    """Every seed-head check, oldest first."""

    checks: list[dict[str, Any]]


class NewSlash(Given):
    """A slash of a part of the grove."""

    slash: Id
    date: Day
    block: Name
    from_row: Row | None = None
    to_row: Row | None = None
    height_cm: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=200)] | None = None
    left_rows: Annotated[list[Row], Field(max_length=1000)] | None = None
    refuge: bool = False
    observer: Name | None = None
    note: Note | None = None


class SlashStored(Done):
    """A slash as it is kept."""

    new: int
    left_rows: list[int]


class Slashes(Told):
    """The log of slashing, oldest first."""

    slashes: list[dict[str, Any]]


class Slashing(Told):
    """When to slash; see docs/service.md for every field."""

    on: str
    parts: list[dict[str, Any]]
    grasses: list[dict[str, Any]]
    against: list[str]
    groups: list[dict[str, Any]]
    look_alikes: list[dict[str, Any]]
    known_grasses: list[dict[str, Any]]
    refuge: list[dict[str, Any]]
    slashes: list[dict[str, Any]]
    running: list[dict[str, Any]]
    missing: list[str]
    source: dict[str, str]


class RunningFacts(Given):
    """What was seen of a running grass."""

    patch: Name
    grass: Name | None = None
    date: Day
    area_m2: Amount
    climbs: bool = False
    note: Note | None = None


class NewRunning(Given):
    """A running grass where it was seen, with the UUID that its maker gave it."""

    type: Literal["Feature"]
    id: Id
    properties: RunningFacts
    geometry: Point


class RunningStored(Told):
    """Whether it was new."""

    new: int
    act: str | None
