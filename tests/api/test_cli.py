"""The command line as a person types it: exit status, one clear line, help that answers at once."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from api.cli import app

RUN = CliRunner()


def commands() -> list[str]:
    return sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def run(*words: object) -> tuple[int, str, str]:
    result = RUN.invoke(app, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def grove(tmp_path: Path) -> Path:
    path = tmp_path / "home.gpkg"
    status, _, _ = run(
        "new",
        path,
        "--name",
        "Home",
        "--at",
        "149.10,-33.25",
        "--time-zone",
        "Australia/Sydney",
        "--season-start",
        "07-01",
        "--currency",
        "AUD",
    )
    assert status == 0
    return path


@pytest.mark.parametrize("command", commands())
def test_every_help_has_an_example(command):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert f"Example: gridmap {command}" in out


def test_help_imports_nothing_heavy():
    heavy = "{'numpy', 'pandas', 'geopandas', 'sqlalchemy', 'shapely'}"
    code = f"import sys; from api.cli import app; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_help_answers_at_once():
    # The best of five: this asks what the program needs, not what else the machine is doing.
    spent = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "api.cli", "--help"], capture_output=True, check=True)
        spent.append(time.perf_counter() - start)
    assert min(spent) < 0.3


def test_wrong_words_end_with_2():
    status, _, err = run("zonne")
    assert status == 2
    assert "No such command" in err


def test_new_says_crs_and_next(tmp_path):
    status, out, err = run(
        "new",
        tmp_path / "g.gpkg",
        "--name",
        "G",
        "--at",
        "23.1,37.2",
        "--time-zone",
        "Europe/Athens",
        "--season-start",
        "10-01",
        "--currency",
        "EUR",
    )
    assert (status, err) == (0, "")
    assert "ETRS89 / UTM zone 34N (EPSG:25834)" in out
    assert "import-outlines" in out


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"--at": "-33.25,149.1"}, r"Latitude is 149.1 degrees: it must be at most 90 degrees. Give longitude first"),
        ({"--at": "149.1"}, "The position is '149.1': it must be longitude,latitude in degrees"),
        ({"--time-zone": "AEST"}, "Time zone is 'AEST'"),
        ({"--season-start": "02-29"}, "Season start is '02-29'"),
        ({"--currency": "dollars"}, "Currency is 'dollars'"),
        ({"--crs": "EPSG:4326"}, "is in degrees: a grove needs a projected CRS in metres"),
        ({"--crs": "EPSG:999999"}, "is not known: it must be an EPSG number"),
    ],
)
def test_new_refuses_in_one_line_and_leaves_no_file(tmp_path, change, message):
    words = {
        "--name": "G",
        "--at": "149.1,-33.25",
        "--time-zone": "Australia/Sydney",
        "--season-start": "07-01",
        "--currency": "AUD",
        **change,
    }
    status, out, err = run("new", tmp_path / "g.gpkg", *[part for pair in words.items() for part in pair])
    assert (status, out) == (1, "")
    assert message in err
    assert err.startswith("gridmap: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_new_never_replaces_a_file(grove):
    before = grove.read_bytes()
    status, _, err = run(
        "new",
        grove,
        "--name",
        "Other",
        "--at",
        "149,-33",
        "--time-zone",
        "UTC",
        "--season-start",
        "07-01",
        "--currency",
        "AUD",
    )
    assert status == 1
    assert "there is a file home.gpkg already" in err.lower()
    assert grove.read_bytes() == before


def test_show_tells_the_next_step_and_is_json(grove):
    status, out, _ = run("show", grove, "--json")
    figures = json.loads(out)
    assert status == 0
    assert figures["blocks"] == 0
    assert "import-outlines" in " ".join(figures["said"])
    assert any("action threshold" in thing for thing in figures["missing"])


def test_facts_are_merged_checked_and_undone(grove):
    assert run("set-sprayer", grove, "--tank", "200", "--flow", "6")[0] == 0
    assert run("set-sprayer", grove, "--litres-per-tree", "3.2")[0] == 0
    sprayer = json.loads(run("show", grove, "--json")[1])["facts"]["sprayer"]
    assert (sprayer["tank_l"], sprayer["flow_l_per_min"], sprayer["litres_per_tree"]) == (200, 6, 3.2)
    status, _, err = run("set-sprayer", grove, "--tank", "-5")
    assert status == 1
    assert "tank_l is -5 L: it must be over 0 L" in err
    assert "Taken back: set sprayer" in run("undo", grove)[1]
    assert json.loads(run("show", grove, "--json")[1])["facts"]["sprayer"].get("litres_per_tree") is None
    assert run("undo", grove)[0] == 0
    status, _, err = run("undo", grove)
    assert (status, "there is nothing to take back" in err.lower()) == (1, True)


def test_a_threshold_without_its_meaning_is_a_usage_error(grove):
    assert run("set-threshold", grove, "5")[0] == 2


@pytest.mark.parametrize("command", ["pressure", "options", "zone", "mix", "outputs"])
def test_commands_say_what_is_missing(grove, tmp_path, command):
    status, _, err = run(command, grove, *(["--out", tmp_path / "out"] if command == "outputs" else []))
    assert status == 1
    assert "missing: " in err


def test_no_grove_file_is_said_in_one_line(tmp_path):
    for name, content in {"none.gpkg": None, "empty.gpkg": b"", "text.gpkg": b"hello"}.items():
        if content is not None:
            (tmp_path / name).write_bytes(content)
        status, _, err = run("show", tmp_path / name)
        assert status == 1
        assert err.startswith("gridmap: ")
        assert err.count("\n") == 1


def test_what_nobody_foresaw_is_no_traceback(monkeypatch, capsys):
    from api import cli

    def broken() -> None:
        raise RuntimeError("a pipe burst")

    monkeypatch.setattr(cli, "app", broken)
    monkeypatch.delenv("GRIDMAP_TRACEBACK", raising=False)
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == 1
    assert "RuntimeError: a pipe burst" in capsys.readouterr().err
