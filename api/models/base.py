"""What the models of the service share: finite numbers, bounded words, unknown fields refused."""

from __future__ import annotations

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

#: A finite number; a word that looks like one is refused.
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Metres = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=10_000)]
Degrees = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-360, le=720)]
Whole = Annotated[int, Field(strict=True, ge=0, le=1_000_000)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Note = Annotated[str, Field(max_length=2000)]
Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$", examples=["2026-02-03"])]


def _uuid_text(value: Any) -> Any:
    """Return a UUID in its usual form, as the grove keeps it."""
    try:
        return str(UUID(value)) if isinstance(value, str) and len(value) == 36 else value
    except ValueError:
        return value


_UUID = r"^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$"
Id = Annotated[
    str,
    BeforeValidator(_uuid_text),
    Field(pattern=_UUID, description="UUID", examples=["0b1f6f3e-98a7-4a55-9d44-1f1f4a3f7a10"]),
]


class Given(BaseModel):
    """What a client sends: a field that is not known is refused, so that a typing error is no silence."""

    model_config = ConfigDict(extra="forbid")


class Told(BaseModel):
    """What a client gets: exactly these fields."""

    model_config = ConfigDict(extra="forbid")


class Done(Told):
    """What was done: the act that takes it back (null where nothing changed), and what there is to say."""

    act: str | None = None
    said: list[str] = Field(default_factory=list)


class Problem(BaseModel):
    """What went wrong (RFC 9457), with what there is to mend it."""

    type: str
    title: str
    status: int
    detail: str
    what: str | None = None
    rule: str | None = None
    remedy: str | None = None
    problems: list[ProblemAt] | None = None
    missing: list[str] | None = None
    mended: dict[str, Any] | None = None
    version: str | None = None


class ProblemAt(Told):
    """One thing that is wrong, and where: a line of a file, a count of a batch, a field."""

    at: str
    problem: str
