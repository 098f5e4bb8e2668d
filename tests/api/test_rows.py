"""Rows found in a survey and rows along a line, through the command line (what finds them is checked in the rooms)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from api.cli import app
from api.store import GroveFile

ORIGIN = (-9.40, -31.90)
METRE_EAST, METRE_NORTH = 1 / 94_500, 1 / 110_880


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def at(east: float, north: float) -> list[float]:
    return [ORIGIN[0] + east * METRE_EAST, ORIGIN[1] + north * METRE_NORTH]


@pytest.fixture
def grove(tmp_path) -> Path:
    path = tmp_path / "home.gpkg"
    run(
        "new",
        path,
        "--name",
        "Home",
        "--at",
        "-9.40,-31.90",
        "--time-zone",
        "UTC",
        "--season-start",
        "07-01",
        "--currency",
        "XTS",
    )
    return path


def survey(path: Path, noise_m: float = 0.5) -> Path:
    """8 rows of 12 trees, 7 m by 5 m, every ninth missing, measured half a metre off."""
    random = np.random.default_rng(3)
    lines = ["longitude,latitude"]
    for row in range(8):
        for position in range(12):
            if (row * 12 + position) % 9:
                x, y = np.array([5 * position, 7 * row]) + random.normal(0, noise_m / np.sqrt(2), 2)
                lines.append("{:.7f},{:.7f}".format(*at(x, y)))
    path.write_text("\n".join(lines) + "\n")
    return path


def test_rows_are_found_numbered_up_the_hill_and_undone(grove, tmp_path):
    file = survey(tmp_path / "survey.csv")
    figures = json.loads(run("find-rows", grove, file, "--block", "Wild", "--uphill", 0, "--json"))
    block = figures["blocks"][0]
    assert (block["rows"], block["trees"]) == (8, 85)
    assert block["row_spacing_m"] == pytest.approx(7, abs=0.1)
    assert block["tree_spacing_m"] == pytest.approx(5, abs=0.1)
    with GroveFile.open(grove, read_only=True) as held:
        trees = held.trees()
        north = trees.geometry.y.groupby(trees["row"]).mean()
        assert north.is_monotonic_increasing
        first = trees[trees["row"] == 2].sort_values("position")
        assert first.geometry.x.is_monotonic_increasing
        assert first["position"].diff().max() == 2  # the gap kept its number
        assert held.blocks()["row_spacing_m"].iloc[0] == pytest.approx(7, abs=0.1)
    assert "Taken back: find rows in survey.csv" in run("undo", grove)
    assert json.loads(run("show", grove, "--json"))["trees"] == 0


def test_where_there_are_no_rows_none_are_invented(grove, tmp_path):
    random = np.random.default_rng(5)
    scattered = tmp_path / "scattered.csv"
    spots = ["{:.7f},{:.7f}".format(*at(*random.uniform(0, 100, 2))) for _ in range(150)]
    scattered.write_text("\n".join(["longitude,latitude", *spots]) + "\n")
    before = grove.read_bytes()
    said = run("find-rows", grove, scattered, "--block", "Wild", "--uphill", 0, status=1)
    assert "row" in said
    assert said.startswith("gridmap: ")
    assert grove.read_bytes() == before


def test_uphill_has_to_be_known(grove, tmp_path):
    said = run("find-rows", grove, survey(tmp_path / "survey.csv"), "--block", "Wild", status=1)
    assert "It is not said which way is uphill in Wild" in said


def block_and_line(folder: Path, line: list[list[float]]) -> tuple[Path, Path]:
    corners = [at(0, 0), at(80, 0), at(80, 60), at(0, 60), at(0, 0)]
    outline = {
        "type": "Feature",
        "properties": {"name": "Bend"},
        "geometry": {"type": "Polygon", "coordinates": [corners]},
    }
    (folder / "block.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [outline]}))
    (folder / "line.geojson").write_text(json.dumps({"type": "LineString", "coordinates": line}))
    return folder / "block.geojson", folder / "line.geojson"


def test_rows_follow_a_drawn_line(grove, tmp_path):
    block, line = block_and_line(tmp_path, [at(0, 20), at(40, 32), at(80, 20)])
    run("import-outlines", grove, block)
    said = run(
        "follow-line",
        grove,
        line,
        "--block",
        "Bend",
        "--row-spacing",
        7,
        "--tree-spacing",
        5,
        "--headland",
        4,
        "--uphill",
        0,
    )
    assert "along the line of line.geojson" in said
    with GroveFile.open(grove, read_only=True) as held:
        trees = held.trees()
        row = trees[trees["row"] == trees["row"].median()].sort_values("position")
        steps = np.hypot(row.geometry.x.diff(), row.geometry.y.diff()).dropna()
        # Equal lengths along the curve are chords a little under 5 m in the bend, and the grove's scale is 0.9996.
        assert steps.between(4.8, 5.01).all()
    assert "has trees already" in run(
        "follow-line",
        grove,
        line,
        "--block",
        "Bend",
        "--row-spacing",
        7,
        "--tree-spacing",
        5,
        "--headland",
        4,
        "--uphill",
        0,
        status=1,
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ({"type": "Point", "coordinates": [-9.4, -31.9]}, "holds no line"),
        (
            {"type": "MultiLineString", "coordinates": [[at(0, 0), at(9, 0)], [at(0, 30), at(9, 30)]]},
            "2 lines that do not meet",
        ),
    ],
)
def test_a_file_without_one_line_is_refused(grove, tmp_path, content, message):
    block, line = block_and_line(tmp_path, [at(0, 20), at(80, 20)])
    run("import-outlines", grove, block)
    line.write_text(json.dumps(content))
    before = grove.read_bytes()
    said = run(
        "follow-line",
        grove,
        line,
        "--block",
        "Bend",
        "--row-spacing",
        7,
        "--tree-spacing",
        5,
        "--headland",
        4,
        "--uphill",
        0,
        status=1,
    )
    assert message in said
    assert grove.read_bytes() == before
