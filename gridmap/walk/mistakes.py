"""What may be a slip of the thumb: asked about in words, and kept when the grower says that it is so."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gridmap.words import date_words

# Insects on one sheet beyond which it is asked whether that is so (common practice, no source).
MOST_INSECTS = 500
# Days between a count and the day of its walk beyond which it is asked whether it belongs to it.
MOST_DAYS_OLD = 3
# Counts whose position lies in another block before it is asked whether the block is the wrong one.
ELSEWHERE_FROM = 3
# How far the phone may be from the tree beyond its own accuracy [m].
FAR_M = 15.0


@dataclass(frozen=True)
class Question:
    """Something to be said yes to: ``code`` (many, taps, twice, old, tree_gone, far, elsewhere) and the words."""

    code: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What a count is held against.

    Parameters
    ----------
    tree : str
        How the grower calls the tree, such as "Top row 3 tree 12".
    alive : bool
        Whether it stands.
    standard_taps : float or None
        Taps of a standard beat; None where none was typed.
    walk_date, counted_on : date or None
        Day of the walk, and the local day of the count.
    counted_already : bool
        Whether the tree has another planned count on this walk.
    far_m : float
        From the phone to the tree, in the tree's own block [m]; NaN where it is not known.
    lies_in : str or None
        The other block that the phone was in; None for the tree's own or none.
    elsewhere : int
        Counts of the same kind before this one: same block told, same other block.
    most_insects, most_days_old : int
        Limits.
    """

    tree: str = "this tree"
    alive: bool = True
    standard_taps: float | None = None
    walk_date: dt.date | None = None
    counted_on: dt.date | None = None
    counted_already: bool = False
    far_m: float = math.nan
    lies_in: str | None = None
    elsewhere: int = 0
    most_insects: int = MOST_INSECTS
    most_days_old: int = MOST_DAYS_OLD


def questions(count: Mapping[str, Any], at: Circumstances) -> list[Question]:
    """Ask about whatever in a count may be a mistake; an empty list where nothing is odd.

    Parameters
    ----------
    count : mapping
        taps, nymphs, adults, reason, accuracy_m, catch ({group: number}); what is missing is passed over.
    at : Circumstances
        What it is held against.

    Returns
    -------
    list of Question
        In the order of their weight.

    Examples
    --------
    >>> [asked.code for asked in questions({"taps": 5, "nymphs": 10_000}, Circumstances(standard_taps=3))]
    ['many', 'taps']
    >>> questions({"taps": 3, "nymphs": 4}, Circumstances(standard_taps=3))
    []
    """
    asked: list[Question] = []
    insects = {"nymphs": count.get("nymphs"), "adults": count.get("adults"), **(count.get("catch") or {})}
    for name, number in insects.items():
        if number is not None and number > at.most_insects:
            asked.append(Question("many", f"{number:,} {name} on one sheet of {at.tree}: is that so?"))
    taps = count.get("taps")
    if taps is not None and at.standard_taps is not None and taps != at.standard_taps:
        usual = f"a standard beat has {at.standard_taps:g}"
        asked.append(Question("taps", f"{taps} taps at {at.tree}, {usual}: is that so?"))
    if at.counted_already and count.get("reason") == "planned":
        asked.append(Question("twice", f"{at.tree} was counted on this walk already: is this a second beat of it?"))
    if at.counted_on is not None and at.walk_date is not None:
        days = (at.counted_on - at.walk_date).days
        if abs(days) > at.most_days_old:
            when = f"counted on {date_words(at.counted_on)}, the walk is of {date_words(at.walk_date)}"
            asked.append(Question("old", f"{at.tree}: {when}. Does it belong to this walk?"))
    if not at.alive:
        asked.append(Question("tree_gone", f"{at.tree} was said to be gone: was it this tree?"))
    beyond = at.far_m - (count.get("accuracy_m") or 0.0)
    if at.lies_in is None and beyond > FAR_M:
        asked.append(Question("far", f"the phone was {at.far_m:.0f} m from {at.tree}: was it this tree?"))
    if at.lies_in is not None and at.elsewhere + 1 >= ELSEWHERE_FROM:
        words = f"{at.elsewhere + 1} counts lie in {at.lies_in} by their positions, as this one of {at.tree}"
        asked.append(Question("elsewhere", f"{words}: are you in another block than you chose?"))
    return asked


def choosable(accuracy_m: float | None, row_spacing_m: float) -> bool:
    """Tell whether the nearest tree may be chosen without being asked: not when the accuracy is over half a row.

    Examples
    --------
    >>> choosable(3.0, 7.0), choosable(4.0, 7.0), choosable(None, 7.0)
    (True, False, False)
    """
    return accuracy_m is not None and accuracy_m <= row_spacing_m / 2.0
