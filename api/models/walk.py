"""Walks and counts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from api.models.base import Day, Done, Given, Id, Metres, Name, Note, Told, Whole

Moment = Annotated[
    str,
    Field(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})$",
        description="ISO 8601 with its offset",
        examples=["2026-02-03T06:30:00Z"],
    ),
]


class NewWalk(Given):
    """A walk, with the UUID that its maker gave it."""

    walk: Id
    date: Day
    name: Name | None = None
    observer: Name | None = None
    note: Note | None = None


class WalkStored(Told):
    """A walk as it is kept."""

    walk: str
    date: str
    name: str | None
    observer: str | None
    act: str | None


class WalkListed(Told):
    """A walk with what was counted on it."""

    walk: str
    date: str
    name: str | None
    observer: str | None
    counts: int
    trees_beaten: int


class Walks(Told):
    """Every walk, oldest first."""

    walks: list[WalkListed]


class NewCount(Given):
    """What fell on the sheet from one tree; nymphs or adults at least."""

    count: Id
    tree: Id
    time: Moment | None = None
    taps: Annotated[int, Field(strict=True, ge=1, le=1000)]
    nymphs: Whole | None = None
    adults: Whole | None = None
    wing_buds: Literal["none", "some", "most"] | None = None
    reason: Literal["planned", "extra", "suspected"]
    accuracy_m: Metres | None = None
    observer: Name | None = None
    catch: Annotated[dict[Annotated[str, Field(min_length=1, max_length=60)], Whole], Field(max_length=60)] | None = (
        None
    )


class NewCounts(Given):
    """Counts of one walk, stored all or none."""

    counts: Annotated[list[NewCount], Field(min_length=1, max_length=500)]


class CountsStored(Told):
    """How many were new, and how many were there already; told once they are on the disk."""

    new: int
    already: int
    act: str | None


class CountColumns(Told):
    """Counts by columns."""

    count: list[str]
    tree: list[str]
    time: list[str | None]
    taps: list[int]
    nymphs: list[int | float | None]
    adults: list[int | float | None]
    wing_buds: list[str | None]
    reason: list[str]
    accuracy_m: list[float | None]
    observer: list[str | None]


class Catch(Told):
    """One group on one sheet."""

    count: str
    group: str
    number: int


class Counts(Told):
    """The counts of a walk."""

    walk: str
    counts: int
    columns: CountColumns
    catch: list[Catch]


class CountsImported(Done):
    """What was read in, and what was not."""

    walk_date: str
    counts_new: int
    counts_already_there: int
    trees: int
    snap_limit_m: float
    columns_not_read: list[str]
    lines_left_out: list[dict[str, Any]]
    notes: list[str]
