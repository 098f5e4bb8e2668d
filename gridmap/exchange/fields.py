"""What one cell of a table may hold, and what is wrong with it where it may not."""

from __future__ import annotations

import datetime
import difflib
import re
import uuid
import zoneinfo
from collections.abc import Iterable, Mapping
from typing import Final

import pandas as pd

LONGEST_TEXT: Final = 200
# 12, 12.0 and 12,0 are whole; 1,000 and 1.000 are not read, since the one means a thousand here and one there.
_WHOLE: Final = re.compile(r"([+-]?[0-9]{1,15})(?:[.,]0{1,2})?")
_DECIMAL: Final = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


class FieldProblem(ValueError):
    """One cell can't be used; the reader adds the line number."""


def whole(cells: Mapping[str, str], name: str, *, least: int, most: int, needed: bool = False) -> int | None:
    """Read a whole number; None where the cell is empty and not needed.

    Examples
    --------
    >>> whole({"taps": "3"}, "taps", least=1, most=1000)
    3
    >>> whole({"taps": "2.5"}, "taps", least=1, most=1000)
    Traceback (most recent call last):
    gridmap.exchange.fields.FieldProblem: taps is '2.5': it must be a whole number
    """
    text = _text(cells, name, needed=needed)
    if text is None:
        return None
    found = _WHOLE.fullmatch(text)
    if not found:
        raise FieldProblem(f"{name} is {_shown(text)}: it must be a whole number")
    value = int(found[1])
    if value < least:
        raise FieldProblem(f"{name} is {value}: it must be at least {least}")
    if value > most:
        raise FieldProblem(f"{name} is {value}: it must be at most {most:,}")
    return value


def decimal(
    cells: Mapping[str, str],
    name: str,
    *,
    least: float = float("-inf"),
    most: float = float("inf"),
    needed: bool = False,
) -> float | None:
    """Read a number with a decimal point or comma; None where the cell is empty and not needed.

    Examples
    --------
    >>> decimal({"latitude": "-36,45"}, "latitude", least=-90, most=90)
    -36.45
    """
    text = _text(cells, name, needed=needed)
    if text is None:
        return None
    if not _DECIMAL.fullmatch(text) or len(text) > 40:
        raise FieldProblem(f"{name} is {_shown(text)}: it must be a number")
    value = float(text.replace(",", "."))
    if not least <= value <= most:
        raise FieldProblem(f"{name} is {value:g}: it must be between {least:g} and {most:g}")
    return value


def word(cells: Mapping[str, str], name: str, allowed: Iterable[str], *, needed: bool = False) -> str | None:
    """Read one of the allowed words, whatever its case; None where the cell is empty and not needed."""
    text = _text(cells, name, needed=needed)
    if text is None:
        return None
    words = list(allowed)
    found = text.casefold()
    if found not in words:
        near = difflib.get_close_matches(found, words, n=1)
        hint = f" (did you mean {near[0]}?)" if near else ""
        raise FieldProblem(f"{name} is {_shown(text)}: it must be one of {', '.join(words)}{hint}")
    return found


def text(cells: Mapping[str, str], name: str, *, needed: bool = False) -> str | None:
    """Read a short text without control characters; None where the cell is empty and not needed."""
    found = _text(cells, name, needed=needed)
    if found is not None and len(found) > LONGEST_TEXT:
        raise FieldProblem(f"{name} has {len(found):,} characters: at most {LONGEST_TEXT} are taken")
    return found


def unique_id(cells: Mapping[str, str], name: str, *, needed: bool = False) -> str | None:
    """Read a UUID in its usual spelling (RFC 9562); None where the cell is empty and not needed."""
    found = _text(cells, name, needed=needed)
    if found is None:
        return None
    try:
        return str(uuid.UUID(found))
    except ValueError:
        raise FieldProblem(f"{name} is {_shown(found)}: it must be a UUID") from None


def moment(cells: Mapping[str, str], zone: zoneinfo.ZoneInfo | None) -> tuple[pd.Timestamp | None, str | None]:
    """Read the columns time and date: the moment in UTC, and the local date.

    Parameters
    ----------
    cells : mapping
        time (ISO 8601, or hours and minutes where there is a date) and date (year-month-day); either may be empty.
    zone : ZoneInfo, optional
        Time zone of the grove, for a time without an offset.

    Examples
    --------
    >>> moment({"time": "07:40", "date": "2026-11-03"}, zoneinfo.ZoneInfo("Australia/Melbourne"))
    (Timestamp('2026-11-02 20:40:00+0000', tz='UTC'), '2026-11-03')
    >>> moment({}, None)
    (None, None)
    """
    date_text, time_text = _text(cells, "date"), _text(cells, "time")
    try:
        date = datetime.date.fromisoformat(date_text) if date_text else None
    except ValueError:
        raise FieldProblem(f"date is {_shown(str(date_text))}: it must be year-month-day, as 2026-11-03") from None
    if time_text is None:
        return None, date.isoformat() if date else None
    clock = re.fullmatch(r"[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?", time_text)
    if clock and date is None:
        raise FieldProblem(f"time is {_shown(time_text)}: a time of day needs a column date")
    try:
        joined = f"{date_text}T{time_text.zfill(5 if time_text.count(':') == 1 else 8)}" if clock else time_text
        given = datetime.datetime.fromisoformat(joined)
    except ValueError:
        raise FieldProblem(
            f"time is {_shown(time_text)}: it must be as 2026-11-03T07:40, or 07:40 with a date"
        ) from None
    if given.tzinfo is None:
        given = _local(given, zone, time_text)
    stamp = pd.Timestamp(given).tz_convert("UTC")
    if date is None:
        date = (given.astimezone(zone) if zone else given).date()
    return stamp, date.isoformat()


def _local(given: datetime.datetime, zone: zoneinfo.ZoneInfo | None, shown: str) -> datetime.datetime:
    """Put a clock time into the grove's time zone; one that the change of clocks leaves out is refused."""
    if zone is None:
        raise FieldProblem(f"time is {_shown(shown)}: it has no offset, and the time zone of the grove is not known")
    placed = given.replace(tzinfo=zone)
    back = placed.astimezone(datetime.UTC).astimezone(zone)
    if back.replace(tzinfo=None) != given:
        raise FieldProblem(f"time is {_shown(shown)}: the clocks jumped over it in {zone.key}")
    return placed


def clean(value: str) -> str:
    """Take control characters and outer blanks away: they are no text, and no XML may hold them."""
    return _CONTROL.sub("", value).strip()


def _text(cells: Mapping[str, str], name: str, *, needed: bool = False) -> str | None:
    found = clean(cells.get(name, ""))
    if not found:
        if needed:
            raise FieldProblem(f"{name} is missing")
        return None
    return found


def _shown(value: str) -> str:
    return repr(value if len(value) <= 40 else value[:37] + "...")
