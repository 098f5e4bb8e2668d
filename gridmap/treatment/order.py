"""The order in which the runs are walked."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap.checks import BoolArray, FloatArray, IntArray, points, same_length

#: How the order is made, for the run sheet.
TOLD = ("Block by block, the nearest next; inside a block row by row from its lowest row number, turning at each row. "
        "A simple order, not the shortest one.")


def walking_order(
    runs: pd.DataFrame, low_end: npt.ArrayLike, high_end: npt.ArrayLike, *, start: npt.ArrayLike | None = None,
) -> tuple[IntArray, BoolArray]:
    """Tell in which order, and in which direction, to walk the runs.

    Parameters
    ----------
    runs : DataFrame
        block, row, from_position of each run.
    low_end, high_end : (n, 2) arrays
        Where each run begins and ends by position, projected CRS [m].
    start : (2,) array, optional
        Where the work starts, such as the gate [m]; without it, at the first block by name, from its lower positions.

    Returns
    -------
    order : (n,) array of int
        Index of the first run walked, of the second, and so on; without runs: empty.
    backwards : (n,) array of bool
        Whether the run at that index is walked towards lower positions.

    Notes
    -----
    Block by block, always on to the block whose first run is nearest; inside a block row by row from the lowest,
    serpentine.

    Examples
    --------
    >>> runs = pd.DataFrame({"block": ["A", "A", "A"], "row": [1, 2, 2], "from_position": [1, 1, 9]})
    >>> order, backwards = walking_order(runs, [[0, 0], [0, 8], [40, 8]], [[30, 0], [20, 8], [60, 8]])
    >>> order.tolist(), backwards.tolist()
    ([0, 2, 1], [False, True, True])
    """
    low, high = points(low_end, "run ends"), points(high_end, "run ends")
    same_length(len(runs), low_end=low, high_end=high)
    here: FloatArray | None = None if start is None else points([start], "start")[0]
    backwards = np.zeros(len(runs), dtype=bool)
    order: list[int] = []
    table = runs.reset_index(drop=True)
    waiting = dict(iter(table.groupby("block", sort=True)))
    while waiting:
        name = next(iter(waiting))
        if here is not None:
            name = min((_nearest_end(part, low, high, here)[0], str(block)) for block, part in waiting.items())[1]
        part = waiting.pop(name)
        towards_low = here is not None and _nearest_end(part, low, high, here)[1]
        for _, row in part.groupby("row", sort=True):
            walked = row.sort_values("from_position", ascending=not towards_low).index.to_numpy()
            backwards[walked] = towards_low
            order += walked.tolist()
            towards_low = not towards_low
        here = low[order[-1]] if backwards[order[-1]] else high[order[-1]]
    return np.array(order, dtype=np.int64), backwards


def _nearest_end(part: pd.DataFrame, low: FloatArray, high: FloatArray, here: FloatArray) -> tuple[float, bool]:
    """Distance [m] to the nearer end of a block's lowest treated row, and whether that is its end of high positions."""
    row = part[part["row"] == part["row"].min()].sort_values("from_position").index
    to_low = float(np.hypot(*(low[row[0]] - here)))
    to_high = float(np.hypot(*(high[row[-1]] - here)))
    return min(to_low, to_high), to_high < to_low
