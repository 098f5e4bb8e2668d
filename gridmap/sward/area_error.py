"""Areas of a map put right by a checked sample, with limits; never mixed with areas that were merely counted."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused

# The paper's own factor for 95 % limits
Z_95: Final = 1.96
# A class whose sample is smaller has no limits worth the name; own limit
FEWEST_CHECKED: Final = 2


def error_adjusted_areas(matrix: object, mapped_areas: npt.ArrayLike | pd.Series) -> pd.DataFrame:
    """Tell how large each class really is, from the map's areas and a sample of places that was checked.

    Parameters
    ----------
    matrix : DataFrame or array_like of shape (k, k)
        Number of checked places: rows what the map says, columns what was found there, classes in the same order.
        Places are drawn at random within each class of the map.
    mapped_areas : Series or array_like of shape (k,)
        Area of each class on the map, in any one unit.

    Returns
    -------
    DataFrame
        One line for each class (indexed as ``matrix``): mapped_area (merely counted), area (adjusted), half_width_95,
        low_95, high_95, all in the unit of ``mapped_areas``; users_accuracy, users_half_width_95, producers_accuracy,
        producers_half_width_95 (NaN for a class that was never found), checked (places). ``attrs`` holds
        overall_accuracy and overall_half_width_95.

    Raises
    ------
    InputRefused
        A matrix that is not square, holds other than counts, or has a mapped class with fewer than two checked places;
        areas that are negative or sum to nothing.

    Notes
    -----
    W_i = A_i / A; p_ij = W_i n_ij / n_i; area_j = A sum_i p_ij; standard error A sqrt(sum_i (W_i p_ij - p_ij^2) /
    (n_i - 1)) (equations 4, 9, 10, 11); accuracies by equations 1 to 3, their variances by 5 to 7.

    References
    ----------
    Olofsson, P., Foody, G. M., Herold, M., Stehman, S. V., Woodcock, C. E. and Wulder, M. A. (2014) Good practices for
    estimating area and assessing accuracy of land change. Remote Sens. Environ. 148:42-57.
    doi:10.1016/j.rse.2014.02.015.

    Examples
    --------
    >>> table = error_adjusted_areas([[48, 2], [5, 45]], [1.2, 0.8])
    >>> table[["area", "half_width_95"]].round(2).values.tolist()
    [[1.23, 0.09], [0.77, 0.09]]
    >>> error_adjusted_areas([], [])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Error matrix has shape (0,): it must be square, a row and a column for each class.
    """
    n, areas, names = _given(matrix, mapped_areas)
    of_row, total = n.sum(axis=1), float(areas.sum())
    W = areas / total
    p = np.divide(n, of_row[:, None], out=np.zeros_like(n), where=of_row[:, None] > 0) * W[:, None]
    less = np.maximum(of_row - 1.0, 1.0)
    share = p.sum(axis=0)
    error = np.sqrt(((W[:, None] * p - p**2) / less[:, None]).sum(axis=0))
    users = np.divide(np.diag(p), W, out=np.full(len(W), np.nan), where=W > 0)
    users_error = np.sqrt(users * (1.0 - users) / less)
    producers = np.divide(np.diag(p), share, out=np.full(len(W), np.nan), where=share > 0)
    table = pd.DataFrame({
        "mapped_area": areas, "area": total * share, "half_width_95": Z_95 * total * error,
        "low_95": np.maximum(total * (share - Z_95 * error), 0.0),
        "high_95": np.minimum(total * (share + Z_95 * error), total),
        "users_accuracy": users, "users_half_width_95": Z_95 * users_error,
        "producers_accuracy": producers,
        "producers_half_width_95": Z_95 * _producers_error(n, of_row, less, areas, users, producers),
        "checked": of_row.astype(int),
    }, index=names)
    table.attrs["overall_accuracy"] = float(np.trace(p))
    overall = float((W**2 * np.nan_to_num(users * (1.0 - users)) / less).sum())
    table.attrs["overall_half_width_95"] = Z_95 * math.sqrt(overall)
    return table


def _producers_error(
    n: FloatArray, of_row: FloatArray, less: FloatArray, areas: FloatArray, users: FloatArray, producers: FloatArray
) -> FloatArray:
    """Return the standard error of producer's accuracy (equation 7)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = n / of_row[:, None]
        found = (areas[:, None] * share).sum(axis=0)
        own = areas**2 * (1.0 - producers) ** 2 * users * (1.0 - users) / less
        each = areas[:, None] ** 2 * share * (1.0 - share) / less[:, None]
        others = np.nansum(each, axis=0) - np.diag(each)
        return np.asarray(np.sqrt(own + producers**2 * others) / found)


def _given(matrix: object, mapped_areas: npt.ArrayLike | pd.Series) -> tuple[FloatArray, FloatArray, pd.Index]:
    """Return counts, areas and the names of the classes, checked."""
    n = np.asarray(matrix, dtype=np.float64)
    if n.ndim != 2 or n.shape[0] != n.shape[1] or not n.size:
        raise InputRefused(f"error matrix has shape {n.shape}", "it must be square, a row and a column for each class")
    areas = np.asarray(mapped_areas, dtype=np.float64).reshape(-1)
    checks.same_length(len(n), mapped_areas=areas)
    if not np.isfinite(n).all() or (n < 0).any() or (n != np.round(n)).any():
        raise InputRefused("error matrix holds other than counts", "each entry is a number of checked places",
                           "give places, not shares")
    if not np.isfinite(areas).all() or (areas < 0).any() or areas.sum() <= 0:
        raise InputRefused("mapped areas are negative, missing or nothing", "each class has its area on the map")
    names = matrix.index if isinstance(matrix, pd.DataFrame) else pd.RangeIndex(len(n))
    if isinstance(mapped_areas, pd.Series) and isinstance(matrix, pd.DataFrame):
        if set(mapped_areas.index) == set(names):
            areas = mapped_areas.loc[names].to_numpy(dtype=np.float64)
        elif not isinstance(mapped_areas.index, pd.RangeIndex):
            raise InputRefused(f"mapped areas are of {list(mapped_areas.index)}", f"the matrix has {list(names)}")
    few = np.flatnonzero((n.sum(axis=1) < FEWEST_CHECKED) & (areas > 0))
    if len(few):
        raise InputRefused(f"class {names[few[0]]!r} has {n[few[0]].sum():g} checked places",
                           f"each class of the map needs {FEWEST_CHECKED} at least", "check more places there")
    return n, areas, names


def checked_places_needed(mapped_areas: npt.ArrayLike, users_accuracy: npt.ArrayLike, half_width_95: float) -> int:
    """Tell how many places to check so that overall accuracy is known within a wanted limit.

    Parameters
    ----------
    mapped_areas : array_like of shape (k,)
        Area of each class on the map, any one unit.
    users_accuracy : array_like of shape (k,)
        User's accuracy expected of each class, 0 to 1.
    half_width_95 : float
        Wanted 95 % half-width of overall accuracy, as a share: 0.02 for two per cent.

    Returns
    -------
    int
        Number of places in all, to be shared over the classes (at least 20 to 100 in a rare one, says the paper).

    Notes
    -----
    n = (sum W_i S_i / S)^2 with S_i = sqrt(U_i (1 - U_i)) and S the wanted standard error (equation 13, after Cochran
    1977, equation 5.25).

    References
    ----------
    Olofsson et al. (2014), as for `error_adjusted_areas`.

    Examples
    --------
    >>> checked_places_needed([0.02, 0.015, 0.32, 0.645], [0.7, 0.6, 0.9, 0.95], 1.96 * 0.01)
    641
    """
    areas, users = (np.asarray(given, dtype=np.float64).reshape(-1) for given in (mapped_areas, users_accuracy))
    checks.same_length(len(areas), users_accuracy=users)
    if not len(areas) or (areas < 0).any() or not areas.sum() > 0:
        raise InputRefused("mapped areas are negative or nothing", "each class has its area on the map")
    if ((users < 0) | (users > 1)).any():
        raise InputRefused("a user's accuracy lies outside 0 to 1", "it is a share", "divide percent by 100")
    wanted = checks.number(half_width_95, "wanted half-width", over=0.0, most=1.0) / Z_95
    spread = float((areas / areas.sum() * np.sqrt(users * (1.0 - users))).sum())
    return max(round((spread / wanted) ** 2), 1)
