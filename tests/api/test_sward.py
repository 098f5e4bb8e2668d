"""The sward through the command line: surveys in, the climb out, slashing; what can't be used changes nothing.

No published example for the doors. The demo grove's truth is its script's: 6 m a year (data/demo/make_sward.py).
"""

from __future__ import annotations

import hashlib
import json
import shutil

import pandas as pd
import pypdf
import pytest
from typer.testing import CliRunner

import data
from api.cli import app
from api.store import GroveFile


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


@pytest.fixture
def grove(demo_file, tmp_path):
    return shutil.copy(demo_file, tmp_path / "grove.gpkg")


def test_the_climb_and_its_files(demo_file, tmp_path):
    told = json.loads(run("sward", demo_file, "--out", tmp_path, "--json"))
    assert told["advance"]["low_90"] <= 6.0 <= told["advance"]["high_90"]
    assert set(told["files"]) == {"grass-rows.csv", "grass-front.gpkg", "grass-change.gpkg", "grass.pdf", "grass.png"}
    page = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "grass.pdf").pages)
    assert "INVENTED DEMO GROVE" in page
    assert f"{told['advance']['m_per_year']:.1f} m a year" in page
    assert len(pypdf.PdfReader(tmp_path / "grass.pdf").pages) == 1
    rows = pd.read_csv(tmp_path / "grass-rows.csv")
    assert set(rows["date"]) == set(pd.read_csv(data.path("demo", "cover.csv"))["date"])
    assert rows["note"].str.contains("INVENTED").all()
    assert (tmp_path / "grass.png").read_bytes()[:4] == b"\x89PNG"


def test_every_demo_survey_has_its_lines(demo_file):
    """Nothing was dropped on the way in."""
    with GroveFile.open(demo_file, read_only=True) as grove:
        cover = grove.cover()
    assert len(cover) == len(pd.read_csv(data.path("demo", "cover.csv")))
    shares = cover[["grass", "dead_grass", "litter", "rock", "bare"]].sum(axis=1)
    assert shares.tolist() == pytest.approx([1] * len(cover))


def test_a_survey_twice_is_stored_once_and_undone(grove, tmp_path):
    again = json.loads(run("import-cover", grove, data.path("demo", "cover.csv"), "--json"))
    assert again["looks_new"] == 0
    file = tmp_path / "late.csv"
    file.write_text("block,row,grass,bare\nWindmill,1,36,4\nSaddle,2,3,37\n")
    told = run("import-cover", grove, file, "--date", "2026-09-05", "--method", "points")
    assert "2 looks stored" in told
    run("undo", grove)
    with GroveFile.open(grove, read_only=True) as store:
        assert "2026-09-05" not in set(store.cover_surveys()["date"])


@pytest.mark.parametrize(("lines", "options", "message"), [
    ("Windmill,99,1,1", ["--date", "2026-09-05", "--method", "points"], "no row 99"),
    ("Windmill,1,1,1", ["--method", "points"], "day of the survey is not said"),
    ("Windmill,1,1,1", ["--date", "2026-09-05"], "does not say how it was measured"),
])
def test_bad_surveys_are_told_in_one_line_and_nothing_changes(grove, tmp_path, lines, options, message):
    file = tmp_path / "bad.csv"
    file.write_text(f"block,row,grass,bare\n{lines}\n")
    before = hashlib.sha256(grove.read_bytes()).hexdigest()
    said = run("import-cover", grove, file, *options, status=1)
    assert message in said
    assert "Traceback" not in said
    assert hashlib.sha256(grove.read_bytes()).hexdigest() == before


def test_pictures_and_class_rasters(grove, tmp_path):
    old, new = (data.path("demo", f"picture-{year}.tif") for year in (2021, 2025))
    told = json.loads(run("import-picture", grove, new, "--date", "2025-09-06", "--earlier", old, "--json"))
    assert (told["shift_east_m"], told["shift_north_m"]) == pytest.approx((0.8, -0.5), abs=0.2)
    assert told["rows"] > 60
    assert "not green" in told["cautions"][0]
    said = run("import-picture", grove, data.path("demo", "hill.tif"), "--date", "2025-09-06", status=1)
    assert "has one band" in said
    said = run("import-classes", grove, data.path("demo", "hill.tif"), "--class", "1=moss", "--date", "2025-09-06",
               status=1)
    assert "must be one of grass" in said
    assert "day of the picture" in run("import-picture", grove, new, status=1)


def test_a_walked_edge_parts_grass_from_bare(grove, tmp_path):
    with GroveFile.open(grove, read_only=True) as store:
        places = store.places()
    windmill = places[places["block"] == "Windmill"].to_crs(4326)
    middle = windmill[windmill["row"] == 9].sort_values("position")
    line = [list(point.coords[0]) for point in middle.geometry]
    ends = [[2 * line[0][i] - line[1][i] for i in (0, 1)], [2 * line[-1][i] - line[-2][i] for i in (0, 1)]]
    shape = {"type": "LineString", "coordinates": [ends[0], *line, ends[1]]}
    file = tmp_path / "edge.geojson"
    file.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}))
    assert "how far off the edge may lie" in run("import-grass", grove, file, "--edge", status=1).lower()
    told = json.loads(run("import-grass", grove, file, "--edge", "--accuracy", 3, "--date", "2026-09-05", "--json"))
    with GroveFile.open(grove, read_only=True) as store:
        cover = store.cover(told["survey"])
    cover = cover[cover["block"] == "Windmill"].set_index("row")["grass_cover"]
    assert (cover[cover.index < 8] > 0.9).all()
    assert (cover[cover.index > 10] < 0.1).all()


def test_slashing_is_told_and_logged(grove):
    told = run("slashing", grove, "--on", "2025-12-20")
    assert "fire period you typed holds" in told
    assert "Nassella trichotoma" in told
    run("check-seed", grove, "--date", "2025-12-19", "--block", "Windmill", "--grass", "Poa sieberiana", "--heads", 40,
        "--shed", 40)
    parts = json.loads(run("slashing", grove, "--on", "2025-12-20", "--json"))["parts"]
    assert {part["part"]: part["verdict"] for part in parts}["Windmill"] == "ready"
    assert "rows 2, 4" in run("log-slash", grove, "--date", "2025-12-20", "--block", "Windmill", "--refuge")
    pin = ["pin-grass", grove, "--patch", "gate", "--longitude", -9.4, "--latitude", -31.9, "--area", 9]
    run(*pin, "--date", "2025-01-05")
    run(*pin[:-1], 30, "--date", "2026-01-05")
    assert json.loads(run("slashing", grove, "--json"))["running"][0]["trend"] == "growing"


def test_settings_are_the_growers_own(grove):
    assert "level 0.6" in run("set-sward", grove, "--level", 0.6)
    assert "Level is 60" in run("set-sward", grove, "--level", 60, status=1)
    assert "nothing was typed" in run("set-sward", grove, status=1).lower()
