"""Counts as they are recorded, one or many at a time: each is kept once, and is on the disk before it is acknowledged.

What arrives while another write is being made durable is written in one transaction with whatever else waits: each
request still is an act of its own, taken back alone, but they share the disk's time.
"""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from api.steps.geojson import columns
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.store import Grove
from api.store.refusals import Conflict, NotThere
from api.store.versions import watched
from gridmap.errors import GridmapError, InputRefused, RowsRefused

COUNT_COLUMNS: Final = (
    "count", "tree", "time", "taps", "nymphs", "adults", "wing_buds", "reason", "accuracy_m", "observer",
)  # fmt: skip


def walks_table(where: Path) -> list[dict[str, Any]]:
    """Return every walk with how many counts it has, on how many trees."""
    with open_grove(where, read_only=True) as grove:
        walks, counts = grove.walks(), grove.counts()
    grouped = counts.groupby("walk")
    number, trees = grouped.size(), grouped["tree"].nunique()
    return plain(
        [
            {
                "walk": row["walk"],
                "date": str(row["date"]),
                "name": row["name"],
                "observer": row["observer"],
                "counts": int(number.get(row["walk"], 0)),
                "trees_beaten": int(trees.get(row["walk"], 0)),
            }
            for row in walks.to_dict("records")
        ]
    )


def add_walk(where: Path, given: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Store a walk under the UUID its maker gave it; sent again, it is stored once."""
    with open_grove(where) as grove:
        known = given["walk"] in set(grove.walks()["walk"])
        try:
            grove.add_walk(
                given["date"],
                name=given.get("name"),
                observer=given.get("observer"),
                note=given.get("note"),
                walk=given["walk"],
                who=who,
            )
        except InputRefused as refused:
            raise (Conflict(refused.what, refused.rule, refused.remedy) if known else refused) from None
    return Outcome(figures={"new": not known})


def counts_of(where: Path, walk: str) -> dict[str, Any]:
    """Return the counts of a walk by columns, and their catch in long form."""
    with open_grove(where, read_only=True) as grove:
        _check_walk(grove, walk)
        counts, catch = grove.counts(walk), grove.catch(walk)
    times = pd.to_datetime(counts["time"], utc=True)
    shown = counts.assign(time=[None if pd.isna(time) else _stamp(time) for time in times])
    return {
        "walk": walk,
        "counts": len(shown),
        "columns": columns(shown, COUNT_COLUMNS),
        "catch": plain(catch[["count", "group", "number"]].to_dict("records")),
    }


def _stamp(time: pd.Timestamp) -> str:
    return time.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _check_walk(grove: Grove, walk: str) -> None:
    if walk not in set(grove.walks()["walk"]):
        raise NotThere(f"there is no walk {walk}", None, "add the walk first")


@dataclass
class _Post:
    """One request that waits to be written."""

    frame: pd.DataFrame
    catch: pd.DataFrame
    walk: str
    who: str
    done: bool = False
    outcome: Outcome | None = None
    refused: Exception | None = None


@dataclass
class _Desk:
    """Where the requests of one grove wait."""

    turn: threading.Lock = field(default_factory=threading.Lock)
    grove: Grove | None = None
    opened: float = 0.0
    waiting: list[_Post] = field(default_factory=list)
    entry: threading.Lock = field(default_factory=threading.Lock)


#: A grove that is kept open holds no file open: only that it is one of ours, and of today, is not asked again [s].
_LOOKED_AT_S: Final = 2.0
_DESKS: Final[defaultdict[str, _Desk]] = defaultdict(_Desk)


def record_counts(where: Path, walk: str, counts: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store counts of a walk, all or nothing; when this returns, they are on the disk.

    Parameters
    ----------
    where : Path
        Grove file.
    walk : str
        UUID of a walk that is there.
    counts : sequence of mapping
        Fields of the `counts` contract, and ``catch``: number by group.
    who : str
        For the history.

    Raises
    ------
    NotThere
        There is no such walk.
    Conflict
        A count is stored already with other content; ``problems`` shows both.
    RowsRefused
        With everything that is wrong with each count, by its number in the batch from 0.
    """
    post = _Post(_frame(walk, counts), _catch(counts), walk, who)
    desk = _DESKS[str(where)]
    with desk.entry:
        desk.waiting.append(post)
    with desk.turn:
        if not post.done:
            with desk.entry:
                mine, desk.waiting = desk.waiting, []
            _write(where, desk, mine)
    if post.refused is not None:
        raise post.refused
    return post.outcome or Outcome()


def _open(where: Path, desk: _Desk) -> Grove:
    """Return the grove for the one whose turn it is; it is looked at anew every few seconds."""
    if desk.grove is None or time.monotonic() - desk.opened > _LOOKED_AT_S:
        desk.grove, desk.opened = open_grove(where), time.monotonic()
    else:
        desk.grove.take_in_outside_edits()
    return desk.grove


def _write(where: Path, desk: _Desk, posts: list[_Post]) -> None:
    """Write what waits: together when all of it can be, else each by itself; none is acknowledged before its commit."""
    try:
        grove = _open(where, desk)
        if len(posts) > 1 and _write_together(grove, posts):
            return
        for post in posts:
            try:
                post.outcome = _write_one(grove, post)
            except GridmapError as refused:
                post.refused = refused
    except Exception as trouble:  # noqa: BLE001  whoever waits must be told, whatever it was
        desk.grove = None
        for post in posts:
            if post.outcome is None and post.refused is None:
                post.refused = trouble
    finally:
        for post in posts:
            post.done = True


def _write_together(grove: Grove, posts: list[_Post]) -> bool:
    """Write several requests in one transaction, each its own act; False, and nothing written, where one can't."""
    outcomes: list[Outcome] = []
    try:
        with grove.acts_together():
            outcomes.extend(_write_one(grove, post) for post in posts)
    except GridmapError:
        return False
    for post, outcome in zip(posts, outcomes, strict=True):
        post.outcome = outcome
    return True


def _write_one(grove: Grove, post: _Post) -> Outcome:
    with watched() as writing:
        try:
            stored = grove.add_counts(post.frame, post.catch, who=post.who, what="record counts")
        except RowsRefused as refused:
            raise _numbered(refused) from None
        except InputRefused:
            _check_walk(grove, post.walk)
            raise
    return Outcome(figures={"new": stored.new, "already": stored.already, "act": writing.act})


def _numbered(refused: RowsRefused) -> GridmapError:
    """Return a refusal that names counts by their number in the batch, as a conflict where they are known otherwise."""
    problems = [(line - _FIRST_LINE, what) for line, what in refused.problems]
    if any("there is no walk" in what.lower() for _, what in problems):
        return NotThere("there is no such walk", None, "add the walk first")
    other = ("stored already with other content", "is also on line")
    known = all(any(words in what for words in other) for _, what in problems)
    first = "; ".join(f"counts[{number}]: {what.removesuffix('.')}" for number, what in problems[:3])
    what = f"{len(problems)} of the counts can't be stored"
    made: RowsRefused | Conflict
    if known:
        made = Conflict(what, first, "nothing was stored")
        made.problems = problems  # type: ignore[attr-defined]
    else:
        made = RowsRefused(what, first, "nothing was stored", problems)
    made.unit = "counts"  # type: ignore[union-attr]
    return made


#: Lines are told from 2 on where a table has a header: the first count of a batch is its number 0.
_FIRST_LINE: Final = 2


def _frame(walk: str, counts: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    names = list(COUNT_COLUMNS)
    return pd.DataFrame(
        [{**{name: count.get(name) for name in names}, "walk": walk} for count in counts],
        columns=[*names, "walk"],
        dtype=object,
    )


def _catch(counts: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"count": count["count"], "group": group, "number": number}
            for count in counts
            for group, number in (count.get("catch") or {}).items()
        ],
        columns=["count", "group", "number"],
    )
