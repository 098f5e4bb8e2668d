"""Rows and positions numbered anew from the lowest row and the left end: the trees of a row stay together."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.ground.rows import row_directions


def renumber_rows(
    xy: npt.ArrayLike,
    row: npt.ArrayLike,
    position: npt.ArrayLike,
    *,
    uphill_bearing_deg: float,
    row_bearing_deg: float | None = None,
) -> pd.DataFrame:
    """Give the rows of a block numbers from its lowest one on, and the places of a row from the left looking uphill.

    Parameters
    ----------
    xy : (n, 2) array
        Places [m], the grove's projected CRS, gaps included.
    row, position : (n,) arrays
        Their numbers so far, whole.
    uphill_bearing_deg : float
        Direction straight up the slope [degrees clockwise from grid north].
    row_bearing_deg : float, optional
        Direction of the rows [degrees clockwise from grid north]; needed only where every row has a single place.

    Returns
    -------
    DataFrame
        row, position in the order given. A gap between two places of a row stays as wide.

    Raises
    ------
    InputMissing
        No row has two places, and the row bearing is not given.
    InputRefused
        Numbers that are not whole, or a place given twice.

    Notes
    -----
    Which way numbers count up is that of `generate_rows`. Rows may be bent: their order is that of a_r in
    t = a_r + b_1 s + b_2 s^2 + b_3 s^3, fitted by least squares over all places, with s along the rows and t across.

    Examples
    --------
    >>> xy = [[0, 0], [10, 0], [0, 7], [5, 7]]
    >>> renumber_rows(xy, [2, 2, 1, 1], [3, 1, 2, 1], uphill_bearing_deg=0).values.tolist()
    [[1, 1], [1, 3], [2, 1], [2, 2]]
    >>> len(renumber_rows([], [], [], uphill_bearing_deg=0))
    0
    """
    if np.size(xy) == 0:
        return pd.DataFrame({"row": [], "position": []}, dtype="int64")
    xy, row, position = checks.points(xy), whole(row, "row"), whole(position, "position")
    checks.same_length(len(xy), row=row, position=position)
    if pd.DataFrame({"row": row, "position": position}).duplicated().any():
        raise InputRefused("a place is given twice", "every place has its own row and position")
    bearing = bearing_of_rows(xy, row, position, otherwise_deg=row_bearing_deg)
    along, across = row_directions(bearing, uphill_bearing_deg)
    names, index = np.unique(row, return_inverse=True)
    rank = np.empty(len(names), dtype=np.int64)
    rank[np.argsort(offsets_across(xy, index, along, across), kind="stable")] = np.arange(1, len(names) + 1)
    number = np.empty(len(xy), dtype=np.int64)
    for places in pd.Series(index).groupby(index).indices.values():
        p, s = position[places], xy[places] @ along
        backwards = (p - p.mean()) @ (s - s.mean()) < 0
        number[places] = (p.max() - p if backwards else p - p.min()) + 1
    return pd.DataFrame({"row": rank[index], "position": number})


def bearing_of_rows(xy: FloatArray, row: IntArray, position: IntArray, *, otherwise_deg: float | None = None) -> float:
    """Return the mean direction of the rows from their own places [degrees clockwise from grid north, 0 to 180].

    Parameters
    ----------
    xy, row, position : arrays
        As in `renumber_rows`.
    otherwise_deg : float, optional
        Taken where no row has two places.

    Raises
    ------
    InputMissing
        No row has two places, and no bearing is given instead.

    Notes
    -----
    Steps from place to place in a row are averaged with doubled angles, so that both ways along a row are one
    direction (Fisher, N. I. (1993), Statistical Analysis of Circular Data, section 2.3).

    Examples
    --------
    >>> bearing_of_rows(np.array([[0.0, 0.0], [5.0, 0.0]]), np.array([1, 1]), np.array([1, 2]))
    90.0
    """
    order = np.lexsort([position, row])
    step = np.diff(xy[order], axis=0)[np.diff(row[order]) == 0]
    step = step[np.hypot(*step.T) > 0]
    if not len(step):
        if otherwise_deg is None or otherwise_deg != otherwise_deg:
            raise InputMissing(
                "the direction of the rows is not known", "no row has two places", missing=["the row bearing"]
            )
        return checks.bearing_deg(otherwise_deg, "row bearing")
    doubled = 2 * np.arctan2(step[:, 0], step[:, 1])
    return float(np.degrees(np.arctan2(np.sin(doubled).sum(), np.cos(doubled).sum()) / 2) % 180)


def offsets_across(xy: FloatArray, index: IntArray, along: FloatArray, across: FloatArray) -> FloatArray:
    """Return how far across each row lies [m], the bend that all rows share taken off; rows are numbered from 0."""
    centred = xy - xy.mean(axis=0)
    s, t = centred @ along, centred @ across
    size = max(float(np.abs(s).max()), 1.0)
    powers = np.column_stack([(s / size) ** n for n in (1, 2, 3)])
    count = np.bincount(index).astype(np.float64)

    def of_rows(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(index, values) / count)

    means = np.column_stack([of_rows(column) for column in powers.T])
    bend = np.linalg.lstsq(powers - means[index], t - of_rows(t)[index], rcond=1e-9)[0]
    return np.asarray(of_rows(t) - means @ bend)


def whole(values: npt.ArrayLike, name: str) -> IntArray:
    """Return numbers as whole ones, or refuse them."""
    numbers = np.asarray(values, dtype=np.float64)
    if not (np.isfinite(numbers) & (numbers == np.rint(numbers))).all():
        raise InputRefused(f"a {name} is no whole number", "rows and positions are counted")
    return numbers.astype(np.int64)
