"""How far the work has come: runs ticked off, the tree at which it stopped, and what is left."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from gridmap.checks import columns, number
from gridmap.errors import InputRefused


@dataclass(frozen=True)
class Progress:
    """What is done and what is left of a zone.

    Parameters
    ----------
    done, left : DataFrame
        Trees of the zone that were sprayed and that were not, in walking order, columns as given.
    litres : float
        Litres that were really used; NaN where none were written down.
    litres_per_tree, planned_litres_per_tree : float
        Litres a tree, as used and as planned; NaN where not known.
    runs_done, runs_left : tuple of int
        Whole runs; a run that was begun is in neither.
    stopped : str
        Where the work stands still and why, in words; empty while it goes on.
    """

    done: pd.DataFrame
    left: pd.DataFrame
    litres: float
    litres_per_tree: float
    planned_litres_per_tree: float
    runs_done: tuple[int, ...]
    runs_left: tuple[int, ...]
    stopped: str


def progress(trees: pd.DataFrame, events: Iterable[Mapping[str, Any]]) -> Progress:
    """Tell which trees of a zone are sprayed, from what was ticked off.

    Parameters
    ----------
    trees : DataFrame
        tree, run, block, row, position in walking order; litres as planned where known.
    events : iterable of mapping
        In their order. kind run: run, and to_position where it ended before the run's last tree, litres where known.
        kind stop: run and position of the last tree sprayed, reason. kind resume: nothing more. kind load: mix_l, and
        run and position of the last tree it reached, where it ended there. Others are passed over.

    Returns
    -------
    Progress

    Raises
    ------
    InputRefused
        A run that the zone has not, a position that is not in it, litres under 0.

    Notes
    -----
    Litres used are those ticked off with the runs; where none were, the mix of the loads, less what was left over.

    Examples
    --------
    >>> trees = pd.DataFrame({"tree": list("abcd"), "run": [1, 1, 2, 2], "block": "Top", "row": [1, 1, 2, 2],
    ...                       "position": [1, 2, 2, 1], "litres": 5.0})
    >>> found = progress(trees, [{"kind": "run", "run": 1, "litres": 12}, {"kind": "stop", "run": 2, "position": 2,
    ...                                                                    "reason": "wind"}])
    >>> found.done["tree"].tolist(), found.left["tree"].tolist(), found.stopped
    (['a', 'b', 'c'], ['d'], 'Stopped in run 2 at Top row 2 tree 2: wind.')
    >>> progress(trees, []).left["tree"].tolist()
    ['a', 'b', 'c', 'd']
    """
    columns(trees, ["tree", "run", "block", "row", "position"], "trees of the zone")
    order = trees.reset_index(drop=True)
    reached = dict.fromkeys(order["run"].unique().tolist(), 0)
    used, mixed, left_over, stopped = [], [], 0.0, ""
    for event in events:
        kind = event.get("kind")
        if kind in ("run", "stop") or (kind == "load" and event.get("run") is not None):
            run = _run(order, event)
            upto = _upto(order, run, event, whole=kind == "run")
            reached[run] = max(reached[run], upto)
        if kind == "run" and event.get("litres") is not None:
            used.append(number(event["litres"], f"litres of run {event['run']}", "L", least=0))
        elif kind == "load" and event.get("mix_l") is not None:
            mixed.append(number(event["mix_l"], "mix of a load", "L", least=0))
        elif kind == "leftover":
            left_over += number(event.get("litres"), "leftover mix", "L", least=0)
        elif kind == "stop":
            last = order[order["run"] == run].iloc[upto - 1] if upto else order[order["run"] == run].iloc[0]
            at = f"at {last['block']} row {last['row']} tree {last['position']}" if upto else "before its first tree"
            stopped = f"Stopped in run {run} {at}: {event.get('reason') or 'no reason written'}."
        elif kind in ("resume", "finish"):
            stopped = ""
    return _told(order, reached, sum(used) if used else sum(mixed) - left_over if mixed else float("nan"), stopped)


def _told(order: pd.DataFrame, reached: Mapping[int, int], litres: float, stopped: str) -> Progress:
    """Split the trees by how far each run was reached."""
    within = order.groupby("run", sort=False).cumcount()
    is_done = within < order["run"].map(reached)
    size = order.groupby("run", sort=False).size()
    done, left = order[is_done], order[~is_done]
    planned = float(order["litres"].mean()) if "litres" in order and len(order) else float("nan")
    return Progress(
        done=done.reset_index(drop=True), left=left.reset_index(drop=True), litres=litres,
        litres_per_tree=litres / len(done) if len(done) else float("nan"), planned_litres_per_tree=planned,
        runs_done=tuple(int(run) for run in size.index if reached[run] >= size[run]),
        runs_left=tuple(int(run) for run in size.index if reached[run] == 0), stopped=stopped)


def _run(order: pd.DataFrame, event: Mapping[str, Any]) -> int:
    """Return the run that an event names."""
    run = int(number(event.get("run"), "run", least=1))
    if run not in set(order["run"]):
        raise InputRefused(f"run is {run}", f"the zone has runs 1 to {int(order['run'].max())}")
    return run


def _upto(order: pd.DataFrame, run: int, event: Mapping[str, Any], *, whole: bool) -> int:
    """Return how many trees of a run, in walking order, an event says are sprayed."""
    mine = order[order["run"] == run]["position"].tolist()
    name = "to_position" if whole else "position"
    if event.get(name) is None:
        return len(mine) if whole else 0
    position = int(number(event[name], "tree", least=0))
    if position not in mine:
        raise InputRefused(f"tree is {position}", f"run {run} has trees {mine[0]} to {mine[-1]}")
    return mine.index(position) + 1
