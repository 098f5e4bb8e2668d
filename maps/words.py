"""Numbers with units, dates written out, and the finding that stands over a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from gridmap.words import date_words
from maps.scene import Scene

_NUMBERS: Final = (
    "No",
    "One",
    "Two",
    "Three",
    "Four",
    "Five",
    "Six",
    "Seven",
    "Eight",
    "Nine",
    "Ten",
    "Eleven",
    "Twelve",
)
# Written here and not taken from the computer's locale: the same input gives the same sheet on every computer.
_POINTS: Final = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def number_words(value: float | None, places: int = 0) -> str:
    """Write a number with thousands apart and at most ``places`` decimals; "not known" for none.

    Examples
    --------
    >>> number_words(1313), number_words(5.0, 1), number_words(math.nan)
    ('1,313', '5.0', 'not known')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    return f"{value:,.{places}f}"


def short_number(value: float) -> str:
    """Write a number without needless zeros.

    Examples
    --------
    >>> short_number(5.0), short_number(2.5)
    ('5', '2.5')
    """
    return f"{value:.4g}"


def count_words(value: float) -> str:
    """Write an expected count per beat: one decimal, two below 0.1.

    Examples
    --------
    >>> count_words(2.68), count_words(0.04)
    ('2.7', '0.04')
    """
    return f"{value:.2f}" if 0 < value < 0.095 else f"{value:.1f}"


def limits_words(value: float, low: float, high: float) -> str:
    """Write a count with its limits.

    Examples
    --------
    >>> limits_words(2.7, 1.9, 3.9)
    '2.7 (1.9 to 3.9)'
    """
    return f"{count_words(value)} ({count_words(low)} to {count_words(high)})"


def chance_words(chance: float) -> str:
    """Say a chance in words and number.

    Examples
    --------
    >>> chance_words(0.97), chance_words(0.5), chance_words(0.001), chance_words(math.nan)
    ('almost certain, 97 %', 'even, 50 %', 'very unlikely, under 1 %', 'no threshold given')
    """
    if not math.isfinite(chance):
        return "no threshold given"
    steps = (
        (0.05, "very unlikely"),
        (0.2, "unlikely"),
        (0.45, "less likely than not"),
        (0.55, "even"),
        (0.8, "more likely than not"),
        (0.95, "likely"),
        (math.inf, "almost certain"),
    )
    word = next(word for limit, word in steps if chance < limit)
    percent = "under 1 %" if chance < 0.01 else "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    return f"{word}, {percent}"


def from_to(first: int, last: int, one: str, many: str) -> str:
    """Name one thing or several in a row.

    Examples
    --------
    >>> from_to(3, 3, "row", "rows"), from_to(5, 11, "row", "rows")
    ('row 3', 'rows 5 to 11')
    """
    return f"{one} {first}" if first == last else f"{many} {first} to {last}"


def plural(count: int, one: str, many: str) -> str:
    """Write a number of things.

    Examples
    --------
    >>> plural(1, "tree", "trees"), plural(1313, "tree", "trees")
    ('1 tree', '1,313 trees')
    """
    return f"{count:,} {one if count == 1 else many}"


def shortened(words: str, most: int) -> str:
    """Cut a text that is too long for its place, and show that it was cut.

    Examples
    --------
    >>> shortened("Long Bank", 20), shortened("Long Bank", 6)
    ('Long Bank', 'Long …')
    """
    return words if len(words) <= most else words[: most - 1] + "…"


def listed(names: Sequence[str]) -> str:
    """Join names in a sentence.

    Examples
    --------
    >>> listed(["Dam Side", "Top Corner", "Shed Rows"])
    'Dam Side, Top Corner and Shed Rows'
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def bearing_words(bearing_deg: float) -> str:
    """Name the point of the compass that a bearing [degrees clockwise from grid north] is nearest to.

    Examples
    --------
    >>> bearing_words(350), bearing_words(130)
    ('north', 'south-east')
    """
    return _POINTS[round(bearing_deg / 45.0) % 8]


def finding(scene: Scene) -> str:
    """Say what the walk found, as the title of its picture."""
    if scene.pressure.empty or scene.counts.empty:
        return "No walk yet"
    if scene.threshold is None:
        return "Expected count, no threshold given"
    if len(scene.hot_spots) == 0:
        return "No place found over your threshold"
    number = len(scene.hot_spots)
    told = _NUMBERS[number] if number < len(_NUMBERS) else f"{number:,}"
    return f"{told} {'place' if number == 1 else 'places'} over your threshold"


def finding_detail(scene: Scene) -> str:
    """Say on what the finding rests: trees beaten, day, and the blocks of which little is known."""
    beaten = scene.beaten_trees()
    text = f"{len(beaten):,} of {plural(len(scene.trees), 'tree', 'trees')} beaten on {date_words(scene.walk_date)}."
    unknown = [block for block, share in scene.unknown_share().items() if share > 0.5]
    if unknown:
        text += f" {listed(unknown)} {'is' if len(unknown) == 1 else 'are'} mostly unknown: look there."
    return text
