"""Calendar files against the rules of RFC 5545 (sections 3.1, 3.3.11, 3.6.1)."""

import datetime as dt

import pytest

from gridmap.errors import FileRefused
from gridmap.exchange import write_calendar

STAMP = dt.datetime(2026, 11, 3, 7, tzinfo=dt.UTC)


def unfolded(data: bytes) -> list[str]:
    return data.decode().replace("\r\n ", "").split("\r\n")


def test_lines_end_and_fold_as_the_standard_says(tmp_path):
    words = "Größe, 1; \\ back\nnext – " + "é" * 90
    data = write_calendar(tmp_path / "a.ics", [("x", dt.date(2026, 11, 17), words, "k")], stamp=STAMP).read_bytes()
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert unfolded(data)[0] == "BEGIN:VCALENDAR"
    assert f"DESCRIPTION:Größe\\, 1\\; \\\\ back\\nnext – {'é' * 90}" in unfolded(data)
    assert "DTSTART;VALUE=DATE:20261117" in unfolded(data)
    assert "DTEND;VALUE=DATE:20261118" in unfolded(data)
    assert "DTSTAMP:20261103T070000Z" in unfolded(data)


def test_a_title_can_not_add_lines_of_its_own(tmp_path):
    data = write_calendar(tmp_path / "a.ics", [("x\r\nATTACH:evil", dt.date(2026, 11, 17), "", "k")]).read_bytes()
    assert not any(line.startswith("ATTACH") for line in unfolded(data))


def test_the_same_key_is_the_same_event(tmp_path):
    first, again, other = (
        next(line for line in unfolded(write_calendar(tmp_path / "a.ics", [("x", dt.date(2026, 1, 1), "", key)])
                                       .read_bytes()) if line.startswith("UID"))
        for key in ("a", "a", "b"))
    assert first == again != other


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileRefused, match="can't be written"):
        write_calendar(tmp_path / "no" / "a.ics", [])
