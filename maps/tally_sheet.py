"""The tally sheet: the planned walk on paper, with a box for each number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gridmap import __version__, checks
from gridmap.errors import InputRefused
from gridmap.words import date_words
from maps.fonts import typeset
from maps.words import number_words, plural, shortened

_COLUMNS: Final = ("order", "block", "row", "position", "leg_m")
# Verdicts are printed for every so many trees: the sheet is read in the sun.
_EVERY: Final = 3
_RULE: Final = (
    "The same taps at each tree. Write 0 where nothing fell. A tree that looked bad and is not on the list: add it at "
    "the end and write “suspected” beside it."
)
_VERDICT: Final = (
    "Nymphs (and adults, where your threshold counts them) of all trees of the block so far, suspected trees left out. "
    "Between the two totals keep going. It is about the block as a whole; a hot spot can hide in it."
)


def tally_sheet(
    trees: pd.DataFrame, path: Path | str, *, grove: str, invented: bool, day: date | None = None,
    taps: float | None = None, groups: Sequence[str] = (), verdicts: Sequence[Mapping[str, Any]] = (),
    length_m: float | None = None, minutes: float | None = None, plan: str = "",
) -> Path:
    """Print a planned walk in walking order, with boxes to write into: A4 upright, black only.

    Parameters
    ----------
    trees : DataFrame
        order, block, row, position, leg_m [m] in walking order.
    path : Path or str
        Where the PDF goes; an older one is replaced.
    grove : str
        Its name.
    invented : bool
        Whether it is a demonstration; every page then says so.
    day : date, optional
        The planned day.
    taps : float, optional
        Standard taps; a line to be filled in where none were typed.
    groups : sequence of str
        Groups of other animals that get a box of their own.
    verdicts : sequence of mapping
        Verdict tables: block, minimum, maximum, under, over.
    length_m, minutes : float, optional
        The way [m] and its time [minutes].
    plan : str
        Identifier of the plan, for the foot.

    Returns
    -------
    Path
        Where it lies. The same input gives the same bytes.

    Raises
    ------
    InputRefused
        When there is no tree, a column is missing, or the folder is not there.
    """
    target = Path(path)
    checks.columns(trees, _COLUMNS, "trees")
    if trees.empty:
        raise InputRefused("there is no tree to print", "a tally sheet needs one at least", "plan a walk first")
    if not target.parent.is_dir():
        raise InputRefused(f"{target.parent} is no folder", "the sheet needs one to lie in", "make the folder first")
    about = [shortened(grove, 60), date_words(day) if day else "no day planned"]
    totals = [plural(len(trees), "tree", "trees")]
    totals += [] if length_m is None else [f"{number_words(length_m)} m"]
    totals += [] if minutes is None else [f"about {minutes:.0f} min"]
    data = {
        "subtitle": ", ".join(about), "totals": "   ".join(totals), "invented": invented,
        "taps": "" if taps is None else f"{taps:g}", "groups": [name.capitalize() for name in groups], "rule": _RULE,
        "trees": [
            [f"{line['order']}", str(line["block"]), f"{line['row']}", f"{line['position']}", f"{line['leg_m']:.0f}"]
            for line in trees.to_dict("records")
        ],
        "verdicts": _verdict_lines(verdicts), "verdict_words": _VERDICT, "software": f"gridmap {__version__}",
        "foot": f"Plan {plan}" if plan else "",
    }
    target.write_bytes(typeset("tally_sheet.typ", data, pictures={}, form="pdf"))
    return target


def _verdict_lines(verdicts: Sequence[Mapping[str, Any]]) -> list[list[str]]:
    lines = []
    for table in verdicts:
        minimum, maximum = int(table["minimum"]), int(table["maximum"])
        for number in sorted({*range(minimum, maximum + 1, _EVERY), maximum}):
            under, over = table["under"][number - minimum], table["over"][number - minimum]
            lines.append([
                str(table["block"]), f"{number}", "never" if under < 0 else f"{under}",
                "never" if over is None else f"{over}",
            ])
    return lines
