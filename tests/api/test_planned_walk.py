"""A walk planned, printed, counted by phone and moved, from the command line. No published example."""

from __future__ import annotations

import json
import shutil
import uuid
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli import app
from api.steps.demo import build_demo

RUN = CliRunner()


def run(*words: object) -> tuple[int, str, str]:
    result = RUN.invoke(app, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.gpkg"
    build_demo(path)
    return path


@pytest.fixture
def grove(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "demo.gpkg"))


@pytest.fixture
def planned(grove: Path) -> dict[str, object]:
    status, out, err = run("plan-walk", grove, "--trees", 24, "--date", "2026-02-17", "--json")
    assert status == 0, err
    told: dict[str, object] = json.loads(out)
    return told


def phone_file(path: Path, planned: dict, change: Callable[[int, dict], dict] = lambda number, event: event) -> Path:
    events = [
        change(number, {
            "event": str(uuid.uuid4()), "kind": "count", "clock": number, "at": "2026-02-17T02:30:00Z",
            "count": str(uuid.uuid4()), "tree": stop["tree"], "taps": 3, "nymphs": number, "adults": 0,
            "reason": "planned",
        })
        for number, stop in enumerate(planned["trees"])
    ]
    walk = {"walk": planned["walk"], "date": "2026-02-17", "events": events}
    saved = {"gridmap": "phone", "version": 1, "device": str(uuid.uuid4()), "walks": [walk]}
    path.write_text(json.dumps(saved), "utf-8")
    return path


def test_a_plan_in_words_and_on_paper(grove, planned, tmp_path):
    assert len(planned["trees"]) == 24
    assert planned["verdicts"]
    status, out, _ = run("plan-walk", grove, "--minutes", 30)
    assert status == 0
    assert "INVENTED DEMO GROVE" in out
    assert "on foot" in out
    status, out, err = run("tally-sheet", grove, "--plan", planned["plan"], "--out", tmp_path / "tally.pdf")
    assert (status, err) == (0, "")
    assert (tmp_path / "tally.pdf").read_bytes().startswith(b"%PDF")


def test_the_same_seed_plans_the_same_walk_and_another_does_not(grove, planned):
    def trees(seed):
        told = json.loads(run("plan-walk", grove, "--trees", 24, "--date", "2026-02-17", "--seed", seed, "--json")[1])
        return [stop["tree"] for stop in told["trees"]]

    first = [stop["tree"] for stop in planned["trees"]]
    assert trees(0) == first
    assert len(set(trees(1)) & set(first)) < 18


def test_a_phones_file_is_read_twice_and_stored_once(grove, planned, tmp_path):
    file = phone_file(tmp_path / "phone.json", planned)
    status, out, _ = run("read-phone", grove, file)
    assert (status, "24 new, 0 were there already" in out) == (0, True)
    assert "0 new, 24 were there already" in run("read-phone", grove, file)[1]


def test_what_is_odd_is_stored_when_it_is_confirmed(grove, planned, tmp_path):
    def odd(number, event):
        return event | ({"nymphs": 10_000} if number == 3 else {"nymphs": -1} if number == 4 else {})

    file = phone_file(tmp_path / "phone.json", planned, odd)
    told = json.loads(run("read-phone", grove, file, "--json")[1])["walks"][0]
    assert told["answers"] == {"stored": 22, "asked": 1, "refused": 1}
    assert "10,000 nymphs" in told["questions"][0]
    told = json.loads(run("read-phone", grove, file, "--confirm", "--json")[1])["walks"][0]
    assert told["answers"] == {"duplicate": 22, "stored": 1, "refused": 1}


def test_counts_move_to_another_block_and_the_map_of_both_changes_and_comes_back(grove, planned, tmp_path):
    run("read-phone", grove, phone_file(tmp_path / "phone.json", planned))
    blocks = sorted({stop["block"] for stop in planned["trees"]})

    def beaten():
        table = json.loads(run("pressure", grove, "--walk", "2026-02-17", "--json")[1])["tables"]
        frame = next(iter(table.values()))
        return {line["block"]: line for line in frame}

    before = beaten()
    status, out, err = run("move-counts", grove, "--from", blocks[0], "--to", blocks[1], "--json")
    assert status == 0, err
    moved = json.loads(out)["moved"]
    assert moved
    after = beaten()
    assert after[blocks[0]]["beaten"] == before[blocks[0]]["beaten"] - len(moved)
    assert all(after[block] != before[block] for block in blocks[:2])
    run("undo", grove)
    assert beaten() == before


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("plan-walk",), "how many trees"),
        (("plan-walk", "--trees", "2"), "every block has one at least"),
        (("plan-walk", "--trees", "24", "--gate", "nowhere"), "no point called 'nowhere'"),
        (("tally-sheet", "--out", "tally.pdf"), "No walk is planned yet"),
        (("read-phone", "missing.json"), "missing.json can't be read"),
        (("move-counts", "--from", "Nowhere", "--to", "Else"), "no block"),
    ],
)
def test_what_can_not_be_is_said_in_one_line(grove, words, message):
    status, out, err = run(words[0], grove, *words[1:])
    assert (status, out) == (1, "")
    assert message in err
    assert "Traceback" not in err


def test_stop_lines_as_published():
    """Black bean aphid, from memory: Krebs, Ecological Methodology, chapter 9 (T = 13.893 n +- 58.219)."""
    status, out, _ = run("stop-lines", "--m0", 10, "--m1", 20, "--k", 0.8)
    assert status == 0
    assert "13.893 n +58.22" in out
    assert run("stop-lines", "--m0", 20, "--m1", 10, "--k", 0.8)[0] == 1
