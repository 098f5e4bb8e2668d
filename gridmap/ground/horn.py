"""Slope and aspect of a grid of heights, by the eight neighbours of each cell."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused

CellSize = float | tuple[float, float]


def horn_gradients(elevation_m: npt.ArrayLike, cell_m: CellSize) -> tuple[FloatArray, FloatArray]:
    """Tell how fast the ground rises toward the east and toward the north at every cell.

    Parameters
    ----------
    elevation_m : (rows, columns) array
        Heights [m], first row in the north, first column in the west; NaN where there is none. At least 3 by 3.
    cell_m : float or (float, float)
        Width of a cell, or its width (west to east) and height (north to south) [m].

    Returns
    -------
    east, north : (rows, columns) array
        Rise per metre on the map toward grid east and grid north. NaN along the edge and wherever one of the nine
        heights is missing: nothing is made up there.

    Raises
    ------
    InputRefused
        When the grid is smaller than 3 by 3 or a cell has no width.

    Notes
    -----
    With the window a b c / d e f / g h i: east = ((c + 2f + i) - (a + 2d + g)) / (8 width) and
    north = ((a + 2b + c) - (g + 2h + i)) / (8 height) (Horn 1981). The method is exact on a tilted plane.

    References
    ----------
    Horn (1981), Hill shading and the reflectance map, Proceedings of the IEEE 69(1):14-47, doi:10.1109/PROC.1981.11918.

    Examples
    --------
    >>> east, north = horn_gradients([[99, 101, 103], [98, 100, 102], [97, 99, 101]], 10)
    >>> round(float(east[1, 1]), 12), round(float(north[1, 1]), 12)
    (0.2, 0.1)
    """
    z = np.asarray(elevation_m, dtype=np.float64)
    if z.ndim != 2 or min(z.shape) < 3:
        raise InputRefused(f"heights have shape {z.shape}", "slope needs a grid of at least 3 by 3 cells")
    width, height = cell_size(cell_m)
    # Each sum weighs the middle neighbour twice; +-inf would pass as a height, so it counts as missing.
    z = np.where(np.isfinite(z), z, np.nan)
    by_row = z[:-2] + 2 * z[1:-1] + z[2:]
    by_column = z[:, :-2] + 2 * z[:, 1:-1] + z[:, 2:]
    east, north = np.full(z.shape, np.nan), np.full(z.shape, np.nan)
    # The middle height has no weight of its own; adding 0 times it carries a gap over.
    gap = 0.0 * z[1:-1, 1:-1]
    inner = (by_row[:, 2:] - by_row[:, :-2]) / (8 * width) + gap
    upper = (by_column[:-2] - by_column[2:]) / (8 * height) + gap
    missing = np.isnan(inner) | np.isnan(upper)
    east[1:-1, 1:-1] = np.where(missing, np.nan, inner)
    north[1:-1, 1:-1] = np.where(missing, np.nan, upper)
    return east, north


def horn_slope_deg(window: npt.ArrayLike, cell_m: CellSize) -> float | FloatArray:
    """Tell how steep the ground is at every cell.

    Parameters
    ----------
    window : (rows, columns) array
        Heights [m], first row in the north; NaN where there is none. A single 3 by 3 window answers with one number.
    cell_m : float or (float, float)
        Width of a cell, or its width and height [m].

    Returns
    -------
    float or (rows, columns) array
        Slope [degrees], 0 where level. NaN along the edge and beside a gap.

    Raises
    ------
    InputRefused
        As `horn_gradients`.

    Notes
    -----
    Slope = arctan(sqrt(east^2 + north^2)), with the gradients of Horn (1981), see `horn_gradients`.

    Examples
    --------
    >>> round(horn_slope_deg([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 5), 3)
    75.258
    >>> horn_slope_deg([[50, 45, 50], [30, 30, 30], [8, 10, float("nan")]], 5)
    nan
    """
    return _one_or_all(slope_deg(*horn_gradients(window, cell_m)))


def horn_aspect_deg(window: npt.ArrayLike, cell_m: CellSize) -> float | FloatArray:
    """Tell which way the ground faces (downhill) at every cell.

    Parameters
    ----------
    window : (rows, columns) array
        Heights [m], first row in the north; NaN where there is none. A single 3 by 3 window answers with one number.
    cell_m : float or (float, float)
        Width of a cell, or its width and height [m].

    Returns
    -------
    float or (rows, columns) array
        Aspect [degrees clockwise from grid north], 0 <= aspect < 360. NaN where level, along the edge and beside a gap.

    Raises
    ------
    InputRefused
        As `horn_gradients`.

    Notes
    -----
    Aspect is the bearing of the steepest fall, arctan2(-east, -north); the steepest rise is 180 degrees from it.

    Examples
    --------
    >>> round(horn_aspect_deg([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 1), 2)
    92.64
    >>> horn_aspect_deg([[7, 7, 7], [7, 7, 7], [7, 7, 7]], 1)
    nan
    """
    return _one_or_all(aspect_deg(*horn_gradients(window, cell_m)))


def slope_deg(east: npt.ArrayLike, north: npt.ArrayLike) -> FloatArray:
    """Turn rise per metre toward east and north into a slope [degrees].

    Examples
    --------
    >>> float(slope_deg(0.0, 1.0).round(9))
    45.0
    """
    return np.degrees(np.arctan(np.hypot(np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64))))


def aspect_deg(east: npt.ArrayLike, north: npt.ArrayLike) -> FloatArray:
    """Turn rise per metre toward east and north into the bearing of the fall [degrees]; NaN where level.

    Examples
    --------
    >>> float(aspect_deg(0.0, 0.1)), float(aspect_deg(0.0, 0.0))
    (180.0, nan)
    """
    rise_east, rise_north = np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)
    # A bearing just under 0 can round up to 360 itself, hence the second remainder.
    bearing = np.degrees(np.arctan2(-rise_east, -rise_north)) % 360.0 % 360.0
    return np.where((rise_east == 0) & (rise_north == 0), np.nan, bearing)


def cell_size(cell_m: CellSize) -> tuple[float, float]:
    """Return the width and the height of a cell [m].

    Examples
    --------
    >>> cell_size(5)
    (5.0, 5.0)
    """
    pair = cell_m if isinstance(cell_m, (tuple, list)) else (cell_m, cell_m)
    if len(pair) != 2:
        raise InputRefused(f"cell size is {cell_m!r}", "it must be one width, or a width and a height")
    width, height = (checks.number(side, "cell size", "m", over=0) for side in pair)
    return width, height


def _one_or_all(values: FloatArray) -> float | FloatArray:
    """Answer a 3 by 3 window with its one number."""
    return float(values[1, 1]) if values.shape == (3, 3) else values
