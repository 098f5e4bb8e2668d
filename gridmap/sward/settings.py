"""What only the grower can say about the sward: the level that counts as grassed, how much seed is enough, dates."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from gridmap import checks
from gridmap.errors import InputRefused


def _typed(words: str, unit: str = "", **limits: float) -> Any:
    return field(default=None, metadata={"words": words, "unit": unit, **limits})


@dataclass(frozen=True)
class SwardSettings:
    """The grower's own figures for the sward; nothing has a value that was not typed.

    Parameters
    ----------
    level : float
        Share of the floor under grass that counts as grassed, 0 to 1.
    shed_enough : float
        Share of seed heads that must have shed before slashing, 0 to 1.
    mulch_m : float
        Radius of the mulch around each trunk [m], left out of pictures.
    fire_from, fire_to, nets_from, nets_to, flowering_from, flowering_to, snakes_from, snakes_to : str
        Days of the year, MM-DD: fire period, harvest nets on the ground, olives in flower, snakes about.
    stones : bool
        Whether there are stones under the blade.

    Examples
    --------
    >>> SwardSettings(level="0.6").level
    0.6
    >>> SwardSettings(level=60)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Level is 60: it must be at most 0.95.
    """

    level: float | None = _typed("share of the floor that counts as grassed", "share", least=0.05, most=0.95)
    shed_enough: float | None = _typed("share of seed heads that must have shed", "share", least=0.05, most=1.0)
    mulch_m: float | None = _typed("radius of the mulch around each trunk", "m", least=0.0, most=20.0)
    fire_from: str | None = _typed("first day of your fire period", "MM-DD")
    fire_to: str | None = _typed("last day of your fire period", "MM-DD")
    nets_from: str | None = _typed("first day with harvest nets on the ground", "MM-DD")
    nets_to: str | None = _typed("last day with harvest nets on the ground", "MM-DD")
    flowering_from: str | None = _typed("first day of flowering of the olives", "MM-DD")
    flowering_to: str | None = _typed("last day of flowering of the olives", "MM-DD")
    snakes_from: str | None = _typed("first day of the months with snakes", "MM-DD")
    snakes_to: str | None = _typed("last day of the months with snakes", "MM-DD")
    stones: bool | None = _typed("whether there are stones under the blade", "yes or no")

    def __post_init__(self) -> None:
        for item in dataclasses.fields(self):
            value, rules, name = getattr(self, item.name), item.metadata, item.name.replace("_", " ")
            if value is None:
                continue
            if rules["unit"] == "MM-DD":
                object.__setattr__(self, item.name, _day(value, name))
            elif item.name == "stones":
                if not isinstance(value, bool):
                    raise InputRefused(f"stones is {value!r}", "it must be true or false")
            else:
                limits = {key: rules[key] for key in ("least", "most")}
                object.__setattr__(self, item.name, checks.number(value, name, **limits))

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Self:
        """Read from plain values; what is absent or None has not been typed."""
        known = [item.name for item in dataclasses.fields(cls)]
        unknown = [name for name in values if name not in known]
        if unknown:
            raise InputRefused(f"the sward has no field {unknown[0]!r}", f"its fields are {', '.join(known)}")
        return cls(**{name: value for name, value in values.items() if value is not None})

    def to_dict(self) -> dict[str, Any]:
        """Write as plain values; what was not typed stays None."""
        return dataclasses.asdict(self)


def _day(value: object, name: str) -> str:
    try:
        return dt.date.fromisoformat(f"2000-{value}").strftime("%m-%d")
    except ValueError:
        raise InputRefused(f"{name} is {value!r}", "it must be a month and a day, MM-DD") from None
