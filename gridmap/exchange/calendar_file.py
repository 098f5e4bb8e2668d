"""Dates out, as a calendar file that every calendar program reads (iCalendar, RFC 5545)."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Sequence
from pathlib import Path

from gridmap.errors import FileRefused

_PRODUCT = "-//gridmap//gridmap//EN"


def write_calendar(
    path: Path, events: Sequence[tuple[str, dt.date, str, str]], *, stamp: dt.datetime | None = None
) -> Path:
    """Write whole days to a calendar file.

    Parameters
    ----------
    path : Path
        Where it goes; an older one is replaced.
    events : sequence of (title, day, words, key)
        Local days; the key names an event, so that a calendar updates it when the file is read again.
    stamp : datetime, optional
        When it was made, with its offset; now when left out.

    Returns
    -------
    Path

    Raises
    ------
    FileRefused
        It can't be written.

    References
    ----------
    RFC 5545, sections 3.1 (folding at 75 octets), 3.3.11 (escapes), 3.6.1 (event), 3.8.2.4 (a start that is a date).

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = write_calendar(Path(folder) / "a.ics", [("Beat again; all", dt.date(2026, 11, 17), "", "x")])
    ...     print(file.read_text().split()[5])
    DTSTART;VALUE=DATE:20261117
    """
    made = (stamp or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_PRODUCT}"]
    for title, day, words, key in events:
        lines += ["BEGIN:VEVENT", f"UID:{uuid.uuid5(uuid.NAMESPACE_OID, key)}",
                  f"DTSTART;VALUE=DATE:{day:%Y%m%d}", f"DTEND;VALUE=DATE:{day + dt.timedelta(days=1):%Y%m%d}",
                  f"DTSTAMP:{made}", f"SUMMARY:{_text(title)}", f"DESCRIPTION:{_text(words)}", "TRANSP:TRANSPARENT",
                  "END:VEVENT"]
    lines.append("END:VCALENDAR")
    try:
        path.write_bytes("".join(f"{_folded(line)}\r\n" for line in lines).encode())
    except OSError as error:
        raise FileRefused(f"{path} can't be written", error.strerror, "give a folder of your own") from None
    return path


def _text(words: str) -> str:
    """Escape what has a meaning in the format; control characters are no text."""
    escaped = re.sub(r"([\\;,])", r"\\\1", re.sub(r"[\x00-\x09\x0b-\x1f\x7f]", " ", words.replace("\r\n", "\n")))
    return escaped.replace("\n", "\\n")


def _folded(line: str) -> str:
    """Fold a line at 75 octets, never inside a letter."""
    parts: list[bytes] = []
    part = b""
    for letter in line:
        octets = letter.encode()
        if len(part) + len(octets) > (75 if not parts else 74):
            parts.append(part)
            part = b""
        part += octets
    return "\r\n ".join(one.decode() for one in [*parts, part])
