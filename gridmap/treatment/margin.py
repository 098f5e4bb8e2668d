"""Trees that a margin adds around those worth spraying: along the row and into the rows beside it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from gridmap.checks import BoolArray, number
from gridmap.treatment.rows import Rows


def within_margin(rows: Rows, chosen: npt.ArrayLike, *, along_m: float = 0.0, across_m: float = 0.0) -> BoolArray:
    """Tell which trees lie within the margins of a chosen tree, the chosen ones included.

    Parameters
    ----------
    rows : Rows
        Living trees.
    chosen : (n,) array of bool
        Trees that are worth spraying.
    along_m, across_m : float
        Margins [m], measured in the frame of the row at the chosen tree. ``along_m`` reaches along its own row;
        ``across_m`` reaches into other rows of the same block, over the stretch that ``along_m`` covers there, at least
        half a tree spacing either way so that a tree set off against its neighbour is not missed.

    Returns
    -------
    (n,) array of bool
        A wider margin never takes a tree away. Nothing chosen gives nothing.

    Raises
    ------
    InputRefused
        A margin under 0.

    Notes
    -----
    With d the map vector from the chosen tree and u the row's unit vector, the tree is within the margin when
    |d . u| <= along_m in the same row, and when |d x u| <= across_m and |d . u| <= max(along_m, tree spacing / 2) in
    another.
    """
    on = np.asarray(chosen, dtype=bool)
    along = number(along_m, "margin along the row", "m", least=0)
    across = number(across_m, "margin across the rows", "m", least=0)
    if not on.any() or (along == 0 and across == 0):
        return on.copy()
    spacing = rows.trees["tree_spacing_m"].to_numpy(dtype=np.float64)
    # A curved or crooked row strays sideways from its chord, so the search reaches as far to the side as it does along.
    reach = 2.0 * (max(along, float(spacing.max()) / 2) + across)
    source = np.flatnonzero(on)
    pairs = cKDTree(rows.xy[source]).sparse_distance_matrix(cKDTree(rows.xy), reach, output_type="ndarray")
    near, tree = source[pairs["i"]], pairs["j"]
    block = rows.trees["block"].to_numpy()
    together = block[near] == block[tree]
    near, tree = near[together], tree[together]
    step = rows.xy[tree] - rows.xy[near]
    unit = rows.along[near]
    # A hair of 1 micrometre, so that a margin of exactly one spacing reaches the next tree whatever the rounding.
    lengthwise = np.abs((step * unit).sum(axis=1)) - 1e-6
    sideways = np.abs(step[:, 0] * unit[:, 1] - step[:, 1] * unit[:, 0]) - 1e-6
    same_row = rows.row_id[near] == rows.row_id[tree]
    beside = ~same_row & (across > 0) & (sideways <= across) & (lengthwise <= np.maximum(along, spacing[near] / 2))
    inside = on.copy()
    inside[tree[(same_row & (lengthwise <= along)) | beside]] = True
    return inside
