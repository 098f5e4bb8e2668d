"""Large walks: the beats near some trees speak for them, so that time and memory grow with the number of beats alone.

Beats are cut into cells of some sixty; those near a cell join it in its window. A tree belongs to the cell of its
nearest beat. Within a window nothing is approximated; what is left out are beats further away than its two hundred,
which nearer ones screen (Stein 2002, Ann. Stat. 30:298-323, doi:10.1214/aos/1015362194; address from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.spatial import cKDTree

from gridmap.checks import FloatArray, IntArray

CELL = 64
WINDOW = 192


def windows(beaten: FloatArray, trees: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Return for each cell the rows of the beats in its window, and of the trees that it speaks for."""
    search = cKDTree(beaten)
    parts = cells(beaten, CELL)
    cell_of_beat = np.empty(len(beaten), dtype=np.int64)
    for number, cell in enumerate(parts):
        cell_of_beat[cell] = number
    _, nearest = search.query(trees, workers=1)
    cell_of_tree = cell_of_beat[nearest]
    order = np.argsort(cell_of_tree, kind="stable")
    edges = np.searchsorted(cell_of_tree[order], np.arange(len(parts) + 1))
    for number, cell in enumerate(parts):
        own = order[edges[number]:edges[number + 1]]
        if len(own):
            xy = beaten[cell]
            _, near = search.query(0.5 * (xy.min(axis=0) + xy.max(axis=0)), k=min(WINDOW, len(beaten)))
            yield np.union1d(cell, near), own


def cells(xy: FloatArray, most: int, rows: IntArray | None = None) -> list[IntArray]:
    """Return rows cut in halves along their longer side until no part has more than ``most``."""
    rows = np.arange(len(xy)) if rows is None else rows
    if len(rows) <= most:
        return [rows]
    side = int(np.argmax(np.ptp(xy[rows], axis=0)))
    order = rows[np.argsort(xy[rows, side], kind="stable")]
    half = len(order) // 2
    return cells(xy, most, order[:half]) + cells(xy, most, order[half:])
