"""Move a run of counts to another block's trees: one act, and undo puts all of them back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from api.steps.being_there import nearest_of
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.pressure import choose_walk
from api.store import Grove
from api.store.refusals import NotThere
from api.store.versions import watched
from gridmap import checks
from gridmap.errors import InputMissing, InputRefused

BY = ("label", "position")


def move_counts(
    where: Path, walk: str, to_block: str, *, from_block: str | None = None, counts: list[str] | None = None,
    by: str = "label", look: bool = False, who: str = "grower",
) -> Outcome:
    """Give counts of a walk to the trees of another block.

    Parameters
    ----------
    where : Path
        Grove file.
    walk : str
        UUID of the walk.
    to_block : str
        Name of the block that the counts were really made in.
    from_block : str, optional
        All counts of this block; or ``counts``, by their UUIDs.
    by : {"label", "position"}
        To the tree with the same row and position there, or to the tree nearest to where the phone was.
    look : bool
        Say what would be moved and store nothing.
    who : str
        For the history.

    Raises
    ------
    InputMissing
        Neither a block nor counts are named.
    InputRefused, NotThere
        No such block or walk; none of the counts has a tree to go to.
    """
    checks.one_of(by, BY, "by")
    if from_block is None and not counts:
        raise InputMissing(
            "it is not said which counts to move", "a move is of a block's counts, or of named ones",
            "name the block or the counts", missing=["which counts"],
        )
    with open_grove(where, read_only=look) as grove, watched() as writing:
        moved, left = _matched(grove, walk, to_block, from_block, counts, by)
        if not moved:
            raise InputRefused(
                "no count can be moved", "; ".join(each["problem"] for each in left[:3]) or "there is none", None
            )
        moves = {str(each["count"]): str(each["to_tree"]) for each in moved}
        what = f"move {len(moves)} counts to {to_block}"
        clock = grove.clock(walk) if look else grove.move_counts(walk, moves, who=who, what=what)
    said = [f"{len(moved)} counts {'would be' if look else 'were'} moved to {to_block}, in one act."]
    if left:
        said.append(f"{len(left)} stay where they are: {left[0]['problem']}.")
    table = pd.DataFrame(moved)[["row", "position"]].assign(block=to_block) if moved else pd.DataFrame()
    return Outcome(
        said=tuple(said),
        figures=plain({"moved": moved, "left": left, "act": writing.act, "clock": clock, "looked": look}),
        tables={"Moved to": table},
    )


def _matched(
    grove: Grove, walk: str, to_block: str, from_block: str | None, chosen: list[str] | None, by: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return which count goes to which tree, and which stay, with the reason."""
    if walk not in set(grove.walks()["walk"]):
        raise NotThere(f"there is no walk {walk}", None, "choose one that is there")
    trees, known = grove.trees(include_gone=True), set(grove.blocks()["block"])
    for name in (to_block, from_block):
        if name is not None and name not in known:
            raise NotThere(f"there is no block {name!r}", f"the grove has {', '.join(sorted(known))}", None)
    counts = grove.counts(walk).merge(trees[["tree", "block", "row", "position"]], on="tree")
    if chosen is not None:
        counts = counts[counts["count"].isin(chosen)]
    if from_block is not None:
        counts = counts[counts["block"] == from_block]
    there = trees[(trees["block"] == to_block) & (trees["status"] == "alive")]
    label = {
        (int(row), int(position)): str(tree)
        for row, position, tree in zip(there["row"], there["position"], there["tree"], strict=True)
    }
    nearest = nearest_of(grove, walk) if by == "position" else {}
    standing = there.set_index("tree")
    moved, left = [], []
    for line in counts.to_dict("records"):
        if by == "label":
            to = label.get((int(line["row"]), int(line["position"])))
            problem = f"{to_block} has no living tree in row {line['row']} at position {line['position']}"
        else:
            to = nearest.get(str(line["count"]))
            to = to if to in standing.index else None
            problem = f"the phone was not beside a tree of {to_block}"
        if to is None:
            left.append({"count": line["count"], "problem": problem})
        else:
            moved.append({
                "count": line["count"], "from_tree": line["tree"], "to_tree": to, "to_block": to_block,
                "row": int(standing.loc[to, "row"]), "position": int(standing.loc[to, "position"]),
            })
    return moved, left


def move_named_walk(
    where: Path, walk: str | None, to_block: str, from_block: str, *, by: str = "label", look: bool = False,
    who: str = "grower",
) -> Outcome:
    """Do as `move_counts` with a walk by its date or name, the latest when none is named."""
    with open_grove(where, read_only=True) as grove:
        chosen = choose_walk(grove.walks(), walk)
    return move_counts(where, str(chosen["walk"]), to_block, from_block=from_block, by=by, look=look, who=who)
