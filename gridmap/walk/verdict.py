"""The verdict while walking: a block is clearly under, clearly over, or worth going on with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.walk.stop_lines import StopLines

UNDER, OVER, GO_ON, STOPPED = "clearly_under", "clearly_over", "keep_going", "stopped"
WORDS: Final = {
    UNDER: "clearly under", OVER: "clearly over", GO_ON: "keep going", STOPPED: "stopped at the maximum",
}
# Fewest trees of a block before anything is said: three beats of nothing say little (common practice, no source).
LEAST_TREES = 6
# How often the verdict may be wrong, either way.
ERROR = 0.1


@dataclass(frozen=True, kw_only=True)
class VerdictTable:
    """What the verdict of one block is, for every number of trees beaten and every total.

    Parameters
    ----------
    block : str
        The block.
    threshold_per_beat : float
        The grower's action threshold [insects per standard beat].
    minimum, maximum : int
        Trees before which nothing is said, and at which one stops.
    under : tuple of int
        For each number of trees from minimum to maximum the largest total that is clearly under; -1 where none is.
    over : tuple of int or None
        The smallest total that is clearly over; None where none is.
    error : float
        How often a verdict may be wrong.
    kind : {"simulated", "lines"}
        How it was made: from simulated blocks, or from the classic lines.

    Examples
    --------
    >>> table = VerdictTable(block="Top", threshold_per_beat=5, minimum=2, maximum=3, under=(1, 4), over=(30, 36))
    >>> table.verdict(1, 0), table.verdict(2, 1), table.verdict(3, 20), table.verdict(3, 36)
    ('keep_going', 'clearly_under', 'stopped', 'clearly_over')
    """

    block: str
    threshold_per_beat: float
    minimum: int
    maximum: int
    under: tuple[int, ...]
    over: tuple[int | None, ...]
    error: float = ERROR
    kind: str = "simulated"

    def __post_init__(self) -> None:
        length = self.maximum - self.minimum + 1
        if self.minimum < 1 or length < 1:
            raise InputRefused(
                f"the verdict of {self.block!r} goes from {self.minimum} to {self.maximum} trees",
                "the least number is at least 1 and not over the most",
            )
        checks.same_length(length, under=self.under, over=self.over)

    def verdict(self, trees: int, total: float) -> str:
        """Return clearly_under, clearly_over, keep_going or stopped, for a total at standard taps."""
        if trees < self.minimum:
            return GO_ON
        # Beyond the table the last line holds on: more trees than planned take nothing back.
        at = min(trees, self.maximum) - self.minimum
        total = total if trees <= self.maximum else total * self.maximum / trees
        over = self.over[at]
        if over is not None and total >= over:
            return OVER
        if total <= self.under[at]:
            return UNDER
        return STOPPED if trees >= self.maximum else GO_ON

    def trees_to_go(self, trees: int, total: float) -> int | None:
        """Return how many more trees would decide it if they bring what those so far did; None where none would."""
        if trees < 1 or self.verdict(trees, total) not in (GO_ON, STOPPED):
            return 0 if trees >= 1 else None
        each = total / trees
        for more in range(1, self.maximum - trees + 1):
            if self.verdict(trees + more, total + more * each) in (UNDER, OVER):
                return more
        return None

    def as_json(self) -> dict[str, object]:
        """Return the table as plain values; what phone and service decide by."""
        return {
            "block": self.block, "threshold_per_beat": self.threshold_per_beat, "minimum": self.minimum,
            "maximum": self.maximum, "under": list(self.under), "over": list(self.over), "error": self.error,
            "kind": self.kind,
        }


def total_at_standard_taps(numbers: Sequence[float], taps: Sequence[float], standard_taps: float) -> float:
    """Return the total of counts, each scaled to the standard taps.

    Examples
    --------
    >>> total_at_standard_taps([6, 2], [6, 3], 3)
    5.0
    >>> total_at_standard_taps([], [], 3)
    0
    """
    return sum(number * standard_taps / tap for number, tap in zip(numbers, taps, strict=True))


def table_of_lines(
    lines: StopLines, *, block: str, threshold_per_beat: float, minimum: int, maximum: int, error: float = ERROR
) -> VerdictTable:
    """Turn classic stop lines into a verdict table, between the least and the most number of trees.

    Examples
    --------
    >>> table_of_lines(StopLines(2.802, -12.051, 12.051), block="Top", threshold_per_beat=3, minimum=6, maximum=8).under
    (4, 7, 10)
    """
    n = range(minimum, maximum + 1)
    return VerdictTable(
        block=block, threshold_per_beat=threshold_per_beat, minimum=minimum, maximum=maximum,
        under=tuple(max(-1, math.floor(lines.lower + lines.slope * i)) for i in n),
        over=tuple(math.ceil(lines.upper + lines.slope * i) for i in n), error=error, kind="lines",
    )


def decide(table: VerdictTable, running: IntArray) -> tuple[IntArray, FloatArray]:
    """Return for many walks (draws, trees) of running totals where each stopped and how: -1 under, 0 neither, 1 over.

    Examples
    --------
    >>> table = VerdictTable(block="Top", threshold_per_beat=5, minimum=1, maximum=2, under=(0, 0), over=(9, 9))
    >>> decide(table, np.array([[0, 0], [3, 12], [3, 4]]))
    (array([-1,  1,  0]), array([1., 2., 2.]))
    """
    totals = running[:, table.minimum - 1: table.maximum]
    over_at = np.array([np.inf if value is None else value for value in table.over])
    how = np.where(totals >= over_at, 1, np.where(totals <= np.array(table.under), -1, 0))
    stops = how != 0
    first = np.where(stops.any(axis=1), stops.argmax(axis=1), totals.shape[1] - 1)
    return how[np.arange(len(how)), first], first + float(table.minimum)
