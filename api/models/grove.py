"""Groves, their acts, and the season's line of days."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from api.models.base import Degrees, Given, Id, Name, Number, Told

Role = Literal["owner", "helper", "viewer"]
Code = Annotated[str, Field(min_length=1, max_length=40)]


class GroveListed(Told):
    """A grove that the asker may see."""

    grove: str
    name: str
    invented: bool
    role: Role


class Service(Told):
    """What answers: version of gridmap, whether it is shared on the network, whether a first grove can be made."""

    gridmap: str
    shared: bool
    may_create: bool


class Groves(Told):
    """Every grove that the asker may see."""

    groves: list[GroveListed]
    service: Service


class NewGrove(Given):
    """What a grove needs to begin."""

    name: Name
    longitude: Annotated[Number, Field(ge=-180, le=180)]
    latitude: Annotated[Number, Field(ge=-90, le=90)]
    time_zone: Name
    season_start: Annotated[str, Field(pattern=r"^\d\d-\d\d$")]
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    region: Name | None = None
    crs: Name | None = None


class GroveChange(Given):
    """What is to be changed; what is left out stays."""

    name: Name | None = None
    region: Name | None = None
    time_zone: Name | None = None
    season_start: Annotated[str, Field(pattern=r"^\d\d-\d\d$")] | None = None
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    uphill_bearing_deg: Degrees | None = None


class Overview(Told):
    """What a grove is and holds, and the one thing to do next."""

    grove: str
    name: str
    invented: bool
    region: str | None
    time_zone: str
    season_start: str
    currency: str
    crs: str
    datum: str
    uphill_bearing_deg: float | None
    bounds: Annotated[list[float], Field(min_length=4, max_length=4)] | None
    blocks: int
    trees: int
    keep_outs: int
    walks: int
    counts: int
    zones: int
    map_area_ha: float
    missing: list[str]
    next_step: Literal["draw", "rows", "walk", "facts", "zone"]
    said: list[str]
    today: str
    role: Role
    version: str
    act: str | None = None


class ActTold(Told):
    """One act of the history."""

    act: str
    at: str
    who: str
    what: str
    entries: int
    undone: bool
    is_undo: bool


class History(Told):
    """The last acts, newest first."""

    acts: list[ActTold]


class UndoAsked(Given):
    """Which act is taken back; the newest that can be, when left out."""

    act: Id | None = None


class Undone(Told):
    """What was taken back, and the act that did it."""

    undone: str
    act: str | None
    entries: int
    said: list[str]


class Season(Told):
    """First and last day of the season."""

    start: str
    end: str


class Mark(Told):
    """A day on which something was done, or is due."""

    kind: Literal["walk", "zone", "treatment", "survey", "slash", "harvest"]
    id: str
    date: str
    state: Literal["done", "due"]
    title: str


class YearLine(Told):
    """The season as a line of days."""

    today: str
    season: Season
    marks: list[Mark]


class PairAsked(Given):
    """A code from the laptop's screen, and what the device is to be called."""

    code: Code
    name: Annotated[str, Field(min_length=1, max_length=100)]


class Paired(Told):
    """The device is let in; its token is told this once."""

    device: str
    name: str
    role: Role
    grove: str
    token: str
