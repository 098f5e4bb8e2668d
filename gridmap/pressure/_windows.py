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
    cells = _cells(beaten, np.arange(len(beaten)))
    cell_of_beat = np.empty(len(beaten), dtype=np.int64)
    for number, cell in enumerate(cells):
        cell_of_beat[cell] = number
    _, nearest = search.query(trees, workers=1)
    cell_of_tree = cell_of_beat[nearest]
    order = np.argsort(cell_of_tree, kind="stable")
    edges = np.searchsorted(cell_of_tree[order], np.arange(len(cells) + 1))
    for number, cell in enumerate(cells):
        own = order[edges[number]:edges[number + 1]]
        if len(own):
            xy = beaten[cell]
            _, near = search.query(0.5 * (xy.min(axis=0) + xy.max(axis=0)), k=min(WINDOW, len(beaten)))
            yield np.union1d(cell, near), own


def _cells(xy: FloatArray, rows: IntArray) -> list[IntArray]:
    """Return rows cut in halves along their longer side until each part is small."""
    if len(rows) <= CELL:
        return [rows]
    side = int(np.argmax(np.ptp(xy[rows], axis=0)))
    order = rows[np.argsort(xy[rows, side], kind="stable")]
    return _cells(xy, order[: len(order) // 2]) + _cells(xy, order[len(order) // 2:])
