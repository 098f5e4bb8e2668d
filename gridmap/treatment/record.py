"""What a spray record must hold where the grove lies, what is missing, and how long is left to complete it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from gridmap.checks import number
from gridmap.errors import InputRefused

#: Every field of a record, in words. Records hold all that is known; a profile says which of them the law asks for.
FIELDS: Final[dict[str, str]] = {
    "product": "full name of the product",
    "authorisation_number": "number of its registration or authorisation",
    "batch": "batch on the drum",
    "date": "local date",
    "start_time": "time of the start",
    "end_time": "time of the end",
    "crop": "crop and what it is for",
    "crop_code": "code of the crop that the authority uses",
    "growth_stage": "growth stage of the crop",
    "rate": "rate as on the label",
    "dose": "dose on a hectare",
    "quantity": "quantity of product used",
    "water_l": "litres of mix used",
    "address": "address of the property",
    "area": "where it was treated: blocks, rows and trees",
    "area_geometry": "outline of what was treated",
    "applicator_name": "name of who sprayed",
    "applicator_contact": "address and telephone of who sprayed",
    "applicator_licence": "licence or certificate of who sprayed",
    "employer": "employer of who sprayed, and who was supervised",
    "sprayed_for": "name and address of the person it was sprayed for",
    "occupier": "occupier of the land",
    "equipment": "equipment",
    "order_of_blocks": "blocks in the order they were treated",
    "wind_start": "wind speed and direction at the start",
    "wind_changes": "wind speed and direction at each change, or that there was none",
    "label_weather": "other weather that the label names",
    "told": "who was told before",
}
#: Fields that are never left out whatever the profile: without them nobody can say what was done.
ALWAYS: Final = ("product", "date", "area", "applicator_name")


@dataclass(frozen=True)
class RecordProfile:
    """What one region asks for, as read on a day; laws change.

    Parameters
    ----------
    profile, name, source : str
        Short name, region, where it was read.
    needs : tuple of str
        Fields (`FIELDS`).
    complete_within_hours : float
        Time to complete the record after the end of spraying [h].
    keep_years : float
        Years that it is kept.
    remarks : tuple of str

    Examples
    --------
    >>> RecordProfile("x", "Invented", "none", ("product",), 24, 3).needs
    ('product',)
    >>> RecordProfile("x", "Invented", "none", ("smell",), 24, 3)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Profile x asks for 'smell': a record has no such field.
    """

    profile: str
    name: str
    source: str
    needs: tuple[str, ...]
    complete_within_hours: float
    keep_years: float
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        unknown = [field for field in self.needs if field not in FIELDS]
        if unknown:
            raise InputRefused(f"profile {self.profile} asks for {unknown[0]!r}", "a record has no such field")
        number(self.complete_within_hours, "time to complete a record", "h", over=0)
        number(self.keep_years, "time to keep a record", "years", over=0)

    @property
    def asked(self) -> tuple[str, ...]:
        """Fields in the order of `FIELDS`, those that are never left out with them."""
        return tuple(field for field in FIELDS if field in self.needs or field in ALWAYS)


def read_profiles(table: Mapping[str, Any]) -> dict[str, RecordProfile]:
    """Read the profiles of a reference table.

    Parameters
    ----------
    table : mapping
        profiles: list of mappings (profile, name, source, needs, complete_within_hours, keep_years, remarks).

    Returns
    -------
    dict of str to RecordProfile

    Examples
    --------
    >>> read_profiles({"profiles": []})
    {}
    """
    return {str(one["profile"]): RecordProfile(
        str(one["profile"]), str(one["name"]), str(one["source"]), tuple(one["needs"]),
        float(one["complete_within_hours"]), float(one["keep_years"]), tuple(one.get("remarks", ())))
        for one in table["profiles"]}


def missing_fields(record: Mapping[str, Any], profile: RecordProfile) -> tuple[str, ...]:
    """Name in words what the law asks for and the record does not hold yet.

    Parameters
    ----------
    record : mapping
        Field to what was written; None, an empty text or an empty list is not written.
    profile : RecordProfile

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> profile = RecordProfile("x", "Invented", "none", ("rate",), 24, 3)
    >>> missing_fields({"product": "INVENTED", "date": "2026-11-03", "area": "Top", "rate": ""}, profile)
    ('rate as on the label', 'name of who sprayed')
    """
    unknown = [field for field in record if field not in FIELDS]
    if unknown:
        raise InputRefused(f"the record holds {unknown[0]!r}", f"its fields are {', '.join(FIELDS)}")
    return tuple(FIELDS[field] for field in profile.asked if not _written(record.get(field)))


def time_left(finished: dt.datetime, now: dt.datetime, profile: RecordProfile) -> dt.timedelta:
    """Tell how long is left to complete a record; below nothing when it is late.

    Parameters
    ----------
    finished, now : datetime
        End of spraying and now, both with their offset.
    profile : RecordProfile

    Returns
    -------
    timedelta

    Examples
    --------
    >>> profile = RecordProfile("x", "Invented", "none", (), 24, 3)
    >>> end = dt.datetime(2026, 11, 3, 9, tzinfo=dt.UTC)
    >>> time_left(end, end + dt.timedelta(hours=5), profile)
    datetime.timedelta(seconds=68400)
    """
    for moment, name in ((finished, "end of spraying"), (now, "now")):
        if moment.tzinfo is None:
            raise InputRefused(f"{name} is {moment}", "it needs its offset from UTC")
    # In UTC: Python subtracts two times of one zone by the clock on the wall, which a change of clocks moves.
    return finished.astimezone(dt.UTC) + dt.timedelta(hours=profile.complete_within_hours) - now.astimezone(dt.UTC)


def left_words(left: dt.timedelta, missing: Sequence[str]) -> str:
    """Say what is missing and how long is left.

    Examples
    --------
    >>> left_words(dt.timedelta(hours=31), ["wind", "time of the start"])
    'Two fields the law asks for are empty: wind, time of the start. 31 hours left to complete it.'
    >>> left_words(dt.timedelta(hours=-2), ["wind"])
    'One field the law asks for is empty: wind. It should have been complete 2 hours ago; complete it now.'
    >>> left_words(dt.timedelta(hours=5), [])
    'Every field that the profile names is written.'
    """
    if not missing:
        return "Every field that the profile names is written."
    count = {1: "One field", 2: "Two fields", 3: "Three fields"}.get(len(missing), f"{len(missing)} fields")
    said = f"{count} the law asks for {'is' if len(missing) == 1 else 'are'} empty: {', '.join(missing)}."
    hours = left / dt.timedelta(hours=1)
    if hours < 0:
        return f"{said} It should have been complete {_hours(-hours)} ago; complete it now."
    return f"{said} {_hours(hours)} left to complete it."


def _hours(hours: float) -> str:
    """Say hours, or days where there are many."""
    if hours >= 72:
        return f"{hours / 24:.0f} days"
    whole = int(hours)
    return f"{max(whole, 1)} hour{'' if max(whole, 1) == 1 else 's'}" if hours >= 1 else "Under an hour"


def _written(value: Any) -> bool:
    """Tell whether something stands in a field."""
    return value is not None and value != [] and (not isinstance(value, str) or bool(value.strip()))
