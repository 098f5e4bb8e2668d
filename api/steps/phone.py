"""What phones and paper bring: held against the grove, asked about where it is odd, stored once."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from api.steps.being_there import Ground
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.store import Grove
from api.store.events import Answer
from api.store.refusals import NotThere
from api.store.versions import watched
from gridmap.errors import FileRefused, InputRefused
from gridmap.walk import questions

ASKED: Final = "asked"
MOST_EVENTS: Final = 200
_MOST_BYTES: Final = 20_000_000
_PAPER: Final = uuid.UUID("2f5a2f0e-2f0b-4f55-8d6f-7b1d3ad4f6a0")
_COUNT: Final = ("wing_buds", "catch", "note")


def record_events(
    where: Path, walk: str, device: str, events: Sequence[Mapping[str, Any]], *,
    about: Mapping[str, Any] | None = None, who: str = "grower", confirmed: bool = False,
) -> dict[str, Any]:
    """Store events of one walk and device, each by itself; when this returns, they are on the disk.

    Parameters
    ----------
    where : Path
        Grove file.
    walk : str
        UUID of the walk.
    device : str
        UUID of the phone.
    events : sequence of mapping
        As docs/service.md lays them down.
    about : mapping, optional
        date, name, observer: stores the walk where it is not there yet.
    who : str
        For the history.
    confirmed : bool
        Take the answer to every question for yes.

    Returns
    -------
    dict
        ``answers`` in the order sent, ``clock``, ``act``.

    Raises
    ------
    NotThere
        There is no such walk, and it is not said what it is.
    """
    with open_grove(where) as grove, watched() as writing:
        with grove.act("record on a walk", who=who):
            day = _walk_day(grove, walk, about)
            ground = Ground(grove, walk, day)
            told: list[dict[str, Any]] = []
            arrived = grove.arrived(events)
            for event in events:
                asked = [] if str(event.get("event")) in arrived else _asked(ground, event, confirmed=confirmed)
                answer = Answer(str(event.get("event")), ASKED) if asked else grove.take_in(walk, device, [event])[0]
                if answer.answer == "stored":
                    ground.note(event)
                told.append({
                    "event": answer.event, "answer": answer.answer, "problem": answer.problem,
                    "questions": [{"code": each.code, "words": each.words} for each in asked],
                })
        clock = grove.clock(walk)
    return plain({"answers": told, "clock": clock, "act": writing.act})


def _walk_day(grove: Grove, walk: str, about: Mapping[str, Any] | None) -> dt.date:
    """Return the day of the walk, storing it where it is new; who comes second changes nothing about it."""
    walks = grove.walks()
    held = walks[walks["walk"] == walk]
    if len(held):
        return held["date"].iloc[0]
    if about is None:
        planned = next((plan for plan in grove.plans() if plan["walk"] == walk), None)
        if planned is None:
            raise NotThere(f"there is no walk {walk}", None, "say its date, or add the walk first")
        about = {"date": planned["date"], "name": planned["name"]}
    grove.add_walk(about.get("date"), name=about.get("name"), observer=about.get("observer"), walk=walk)
    return dt.date.fromisoformat(str(about["date"]))


def _asked(ground: Ground, event: Mapping[str, Any], *, confirmed: bool) -> list[Any]:
    """Return what has to be said yes to first."""
    if event.get("kind") != "count" or confirmed or event.get("confirmed"):
        return []
    try:
        return list(questions(event, ground.circumstances(event)))
    except (TypeError, ValueError):
        # What can't even be compared is refused by the store, with its reason.
        return []


def record_paper(
    where: Path, walk: str, given: Mapping[str, Any], *, who: str = "grower"
) -> dict[str, Any]:
    """Store what was written on a tally sheet; a line typed again replaces what it said before.

    Parameters
    ----------
    where : Path
        Grove file.
    walk : str
        UUID of the walk; the plan it was planned with tells what its numbers mean.
    given : mapping
        lines, taps; if known walk, plan, observer, confirmed, as docs/service.md lays them down.
    who : str
        For the history.

    Raises
    ------
    InputRefused
        A line names no tree; nothing was stored.
    """
    with open_grove(where, read_only=True) as grove:
        plans = [plan for plan in grove.plans() if plan["plan"] == given.get("plan") or plan["walk"] == walk]
        trees, clock = grove.trees(), grove.clock(walk) + 1
        last = {str(event.get("count")): event for event in sorted(grove.events(walk), key=lambda one: one["clock"])}
    about = given.get("walk") or ({"date": plans[-1]["date"], "name": plans[-1]["name"]} if plans else None)
    by_order = {line["order"]: line["tree"] for line in plans[-1]["trees"]} if plans else {}
    names = zip(trees["block"], trees["row"], trees["position"], strict=True)
    label = {(block, int(row), int(position)): tree for (block, row, position), tree in zip(
        names, trees["tree"], strict=True)}
    events = []
    for number, line in enumerate(given["lines"]):
        tree = by_order.get(line.get("order")) or label.get((line.get("block"), line.get("row"), line.get("position")))
        if tree is None:
            raise InputRefused(
                f"lines[{number}] names no tree: {_label(line)}", "it is on the sheet, or in the grove",
                "give its number on the sheet, or block, row and position",
            )
        planned = tree in set(by_order.values())
        events.append(_paper_event(walk, tree, line, given, planned=planned, last=last, clock=clock))
    return record_events(
        where, walk, str(_PAPER), events, about=about, who=who, confirmed=bool(given.get("confirmed"))
    )


def _paper_event(
    walk: str, tree: str, line: Mapping[str, Any], given: Mapping[str, Any], *, planned: bool,
    last: Mapping[str, Mapping[str, Any]], clock: int,
) -> dict[str, Any]:
    """Return one line of the sheet as an event: the one there is where it says the same, else a new one."""
    count = str(uuid.uuid5(_PAPER, f"{walk}/{tree}"))
    content = {
        "kind": "count", "count": count, "tree": tree, "taps": line.get("taps") or given.get("taps"),
        "nymphs": line.get("nymphs"), "adults": line.get("adults"), "observer": given.get("observer"),
        "reason": "planned" if planned else "extra",
        **{name: line[name] for name in _COUNT if line.get(name) is not None},
    }
    content = {key: value for key, value in content.items() if value is not None}
    before = last.get(count, {})
    if {key: before.get(key) for key in content} == content:
        return {**content, "event": before["event"], "clock": before["clock"]}
    return {**content, "event": str(uuid.uuid4()), "clock": clock}


def _label(line: Mapping[str, Any]) -> str:
    if line.get("order") is not None:
        return f"number {line['order']}"
    return f"{line.get('block')} row {line.get('row')} tree {line.get('position')}"


def read_phone(where: Path, file: Path, *, confirmed: bool = False, who: str = "grower") -> Outcome:
    """Read a file that a phone saved; what is there already is stored once.

    Raises
    ------
    FileRefused
        It is no such file, or of another grove.
    """
    saved = _saved(file)
    with open_grove(where, read_only=True) as grove:
        if saved.get("grove") not in (None, grove.grove.uuid):
            raise FileRefused(
                f"{file.name} was saved for another grove", "a tree belongs to one grove", "open that grove's file"
            )
    walks, said, act = [], [], None
    for walk in saved["walks"]:
        told = _read_walk(where, walk, str(saved["device"]), confirmed=confirmed, who=who)
        act = told.pop("act") or act
        walks.append(told)
        number = told["answers"]
        older = f", {number['overtaken']} older than what is kept" if number.get("overtaken") else ""
        there = f"{number.get('duplicate', 0)} were there already"
        said.append(f"Walk of {walk.get('date')}: {number.get('stored', 0)} new, {there}{older}.")
        said += [f"Asked: {question}" for question in told["questions"]]
        said += [f"Refused: {problem}" for problem in told["refused"]]
    if any(walk["questions"] for walk in walks):
        said.append("What is asked about is not stored yet: look at it, then read the file again with --confirm.")
    return Outcome(said=tuple(said), figures={"walks": walks, "act": act})


def _read_walk(where: Path, walk: Mapping[str, Any], device: str, *, confirmed: bool, who: str) -> dict[str, Any]:
    number: dict[str, int] = {}
    asked: list[str] = []
    refused: list[str] = []
    act = None
    events = walk["events"]
    for start in range(0, len(events), MOST_EVENTS):
        told = record_events(
            where, str(walk["walk"]), device, events[start : start + MOST_EVENTS], about=walk, who=who,
            confirmed=confirmed,
        )
        act = told["act"] or act
        for answer in told["answers"]:
            number[answer["answer"]] = number.get(answer["answer"], 0) + 1
            asked += [question["words"] for question in answer["questions"]]
            refused += [answer["problem"]] if answer["problem"] else []
    return {"walk": walk["walk"], "answers": number, "questions": asked, "refused": refused, "act": act}


def _saved(file: Path) -> dict[str, Any]:
    """Return what a phone saved, checked as far as its form goes."""
    trouble = FileRefused(f"{file.name} was not saved by a phone", "it is JSON of its own form", "choose another file")
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise FileRefused(f"{file.name} is over {_MOST_BYTES // 1_000_000} MB", "a phone saves less", None)
        saved = json.loads(file.read_text("utf-8"))
    except OSError as error:
        raise FileRefused(f"{file.name} can't be read", error.strerror, "check the name") from None
    except (ValueError, RecursionError):
        raise trouble from None
    if not isinstance(saved, dict) or saved.get("gridmap") != "phone" or not isinstance(saved.get("walks"), list):
        raise trouble
    if saved.get("version") != 1:
        what = f"{file.name} is of version {saved.get('version')}"
        raise FileRefused(what, "this gridmap reads version 1", "update gridmap")
    for walk in saved["walks"]:
        events = walk.get("events") if isinstance(walk, dict) else None
        if not isinstance(events, list) or not all(isinstance(event, dict) for event in events) or "walk" not in walk:
            raise trouble
    if "device" not in saved:
        raise trouble
    return saved


def events_of(where: Path, walk: str, after: int = 0) -> dict[str, Any]:
    """Return what was recorded on a walk after event number ``after``, in the order of arrival."""
    with open_grove(where, read_only=True) as grove:
        if walk not in set(grove.walks()["walk"]):
            raise NotThere(f"there is no walk {walk}", None, "add the walk first")
        return plain({"events": grove.events(walk, after=after, most=2000), "clock": grove.clock(walk)})
