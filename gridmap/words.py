"""Words that every door says the same way, whatever the language of the machine."""

from __future__ import annotations

from datetime import date
from typing import Final

_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)


def date_words(day: date | None) -> str:
    """Write a date out.

    Examples
    --------
    >>> date_words(date(2025, 11, 12)), date_words(None)
    ('12 November 2025', 'no date')
    """
    return "no date" if day is None else f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
