"""Planned walks, and what phones and paper bring."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from api.models.base import Day, Given, Id, Metres, Name, Note, Number, Told, Whole

Clock = Annotated[int, Field(strict=True, ge=0, le=2**53)]
Catch = Annotated[dict[Annotated[str, Field(min_length=1, max_length=60)], Whole], Field(max_length=60)]


class Classic(Given):
    """A classic sequential plan; all of it is the grower's own."""

    m0: Number
    m1: Number
    k: Number
    alpha: Number
    beta: Number


class NewPlan(Given):
    """A walk to be planned, by its number of trees or its time."""

    plan: Id
    walk: Id
    date: Day
    name: Name | None = None
    trees: Annotated[int, Field(strict=True, ge=1, le=500)] | None = None
    minutes: Annotated[float, Field(strict=True, gt=0, le=1440, allow_inf_nan=False)] | None = None
    seed: Annotated[int, Field(strict=True, ge=0, le=2**31)] = 0
    use_last_walk: bool = True
    gate: Name | None = None
    least_per_block: Annotated[int, Field(strict=True, ge=1, le=500)] | None = None
    edge_weight: Annotated[float, Field(strict=True, ge=1, le=10, allow_inf_nan=False)] | None = None
    cross_row_m: Metres | None = None
    classic: Classic | None = None


class PlannedTree(Told):
    """One stop."""

    order: int
    tree: str
    block: str
    row: int
    position: int
    longitude: float
    latitude: float
    leg_m: float
    chosen: Literal["spread", "uncertain"]
    edge: bool


class Verdict(Told):
    """What the verdict of a block is, for each number of trees and each total."""

    block: str
    threshold_per_beat: float
    minimum: int
    maximum: int
    under: list[int]
    over: list[int | None]
    error: float
    kind: Literal["simulated", "lines"]


class Plan(Told):
    """A planned walk, as it was planned."""

    plan: str
    walk: str
    date: str
    name: str | None
    made: str
    settings: dict[str, Any]
    trees: list[PlannedTree]
    length_m: float
    back_m: float
    minutes: float
    own_pace: bool
    verdicts: list[Verdict]
    said: list[str]


class PlanStored(Plan):
    """A planned walk, with the act that takes it back."""

    act: str | None


class PlanListed(Told):
    """One planned walk in short."""

    plan: str
    walk: str
    date: str
    name: str | None
    made: str
    trees: int


class Plans(Told):
    """Every planned walk, the newest last."""

    plans: list[PlanListed]


class Bundle(Told):
    """All that a phone takes along."""

    version: str
    grove: dict[str, Any]
    plan: Plan
    blocks: dict[str, Any]
    rows: dict[str, Any]
    trees: dict[str, Any]
    gate: dict[str, Any] | None
    taps: int | float | None
    counted: str | None
    row_spacing_m: dict[str, float | None]
    groups: list[str]
    checks: dict[str, Any]


class AboutWalk(Given):
    """What a walk is, for the first who brings something of it."""

    date: Day
    name: Name | None = None
    observer: Name | None = None


class NewEvents(Given):
    """Events of one phone; each is looked at by itself, so their fields are told in words and not here."""

    device: Id
    walk: AboutWalk | None = None
    events: Annotated[list[dict[str, Any]], Field(min_length=1, max_length=200)]


class Asked(Told):
    """Something to be said yes to."""

    code: str
    words: str


class EventAnswer(Told):
    """What became of one event."""

    event: str
    answer: Literal["stored", "overtaken", "duplicate", "asked", "refused"]
    problem: str | None
    questions: list[Asked]


class EventsTaken(Told):
    """What became of each event, in the order sent; told once they are on the disk."""

    answers: list[EventAnswer]
    clock: int
    act: str | None


class Events(Told):
    """What was recorded on a walk, in the order of arrival."""

    events: list[dict[str, Any]]
    clock: int


class PlacedCount(Told):
    """A count and where the phone was."""

    count: str
    tree: str
    block: str
    distance_m: float
    accuracy_m: float | None
    lies_in: str | None


class Elsewhere(Told):
    """Counts of one block that lie in another by their positions."""

    block: str
    lies_in: str
    counts: int
    question: str | None


class Positions(Told):
    """Where the phone was at each count."""

    counts: list[PlacedCount]
    elsewhere: list[Elsewhere]


class NewMove(Given):
    """Counts to be given to another block's trees."""

    to_block: Name
    from_block: Name | None = None
    counts: Annotated[list[Id], Field(min_length=1, max_length=500)] | None = None
    by: Literal["label", "position"] = "label"
    look: bool = False


class MovedCount(Told):
    """A count and the tree that it went to."""

    count: str
    from_tree: str
    to_tree: str
    to_block: str
    row: int
    position: int


class LeftCount(Told):
    """A count that stays, and why."""

    count: str
    problem: str


class Moved(Told):
    """What was moved, in one act."""

    moved: list[MovedCount]
    left: list[LeftCount]
    act: str | None
    clock: int
    said: list[str]


class PaperLine(Given):
    """One line of a tally sheet."""

    order: Annotated[int, Field(strict=True, ge=1, le=500)] | None = None
    block: Name | None = None
    row: Annotated[int, Field(strict=True, ge=1, le=100_000)] | None = None
    position: Annotated[int, Field(strict=True, ge=1, le=100_000)] | None = None
    taps: Annotated[int, Field(strict=True, ge=1, le=1000)] | None = None
    nymphs: Whole | None = None
    adults: Whole | None = None
    wing_buds: Literal["none", "some", "most"] | None = None
    catch: Catch | None = None
    note: Note | None = None


class Paper(Given):
    """A tally sheet as it was filled in."""

    walk: AboutWalk | None = None
    plan: Id | None = None
    observer: Name | None = None
    taps: Annotated[int, Field(strict=True, ge=1, le=1000)]
    confirmed: bool = False
    lines: Annotated[list[PaperLine], Field(min_length=1, max_length=500)]


class WalkRead(Told):
    """What became of one walk in a phone's file."""

    walk: str
    answers: dict[str, int]
    questions: list[str]
    refused: list[str]


class PhoneRead(Told):
    """What became of a phone's file."""

    walks: list[WalkRead]
    act: str | None
    said: list[str]
