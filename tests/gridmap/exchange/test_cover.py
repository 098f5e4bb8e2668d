"""Cover surveys from a table: every bad line told. No published example: own format."""

from __future__ import annotations

import pytest

from gridmap.errors import FileRefused
from gridmap.exchange.cover import read_cover


def test_good_lines_come_in_and_bad_ones_are_told(tmp_path):
    file = tmp_path / "cover.csv"
    file.write_text("date;block;row;position;method;grass;bare\n2025-09-06;Low;1;3;points;12;8\n"
                    "2025-09-06;Low;0;3;points;12;8\n2025-09-06;Low;2;;guess;1;1\n2025-09-06;;2;;percent;1;1\n"
                    "2025-09-06;Low;2;;percent;37,5;62,5\n")
    looks, problems = read_cover(file)
    assert looks["line"].tolist() == [2, 6]
    assert looks["grass"].tolist() == [12.0, 37.5]
    assert [line for line, _ in problems] == [3, 4, 5]
    assert "one of points, stations, percent, daubenmire" in problems[1][1]


@pytest.mark.parametrize(("header", "message"), [
    ("block,grass\n", "no columns block and row"), ("block,row\n", "no part of the floor"),
    ("block,row,grass\n", "does not say how it was measured"),
])
def test_a_file_that_tells_too_little_is_refused(tmp_path, header, message):
    file = tmp_path / "cover.csv"
    file.write_text(header + "A,1,3\n")
    with pytest.raises(FileRefused, match=message):
        read_cover(file)


def test_the_method_may_be_said_once(tmp_path):
    file = tmp_path / "cover.csv"
    file.write_text("block,row,grass,bare\nA,1,3,7\n")
    assert read_cover(file, method="points")[0]["method"].tolist() == ["points"]
