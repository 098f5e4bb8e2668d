"""The look of the ground under the map: hill shade and contours."""

from __future__ import annotations

import math
from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.ground.dem import Dem
from gridmap.ground.horn import CellSize, horn_gradients

_MOST_LEVELS: Final = 500


def hillshade(
    elevation_m: npt.ArrayLike,
    cell_m: CellSize,
    *,
    sun_azimuth_deg: float = 315.0,
    sun_altitude_deg: float = 45.0,
    exaggeration: float = 1.0,
) -> float | FloatArray:
    """Shade the ground as a low light from one side would, for the eye only.

    Parameters
    ----------
    elevation_m : (rows, columns) array
        Heights [m], first row in the north; NaN where there is none. A single 3 by 3 window answers with one number.
    cell_m : float or (float, float)
        Width of a cell, or its width and height [m].
    sun_azimuth_deg, sun_altitude_deg : float, optional
        Where the light stands [degrees]; from the north-west, as map readers are used to.
    exaggeration : float, optional
        Heights are multiplied by it before shading, for gentle ground.

    Returns
    -------
    float or (rows, columns) array
        0 (dark) to 1 (full light). NaN along the edge and beside a gap.

    Raises
    ------
    InputRefused
        As `horn_gradients`, or a light under the horizon.

    Notes
    -----
    cos(zenith) cos(slope) + sin(zenith) sin(slope) cos(azimuth - aspect), not under 0: the cosine between the light and
    the ground's normal (Horn 1981, section on the Lambertian surface), no cast shadows.

    Examples
    --------
    >>> round(hillshade([[2450, 2461, 2483], [2452, 2461, 2483], [2447, 2455, 2477]], 5) * 255)
    154
    """
    azimuth = math.radians(checks.bearing_deg(sun_azimuth_deg, "azimuth of the light"))
    altitude = math.radians(checks.number(sun_altitude_deg, "height of the light", "degrees", over=0, most=90))
    factor = checks.number(exaggeration, "exaggeration", over=0)
    east, north = (part * factor for part in horn_gradients(elevation_m, cell_m))
    # The normal is (-east, -north, 1) / sqrt(1 + east^2 + north^2).
    toward = -east * math.sin(azimuth) - north * math.cos(azimuth)
    light = (math.sin(altitude) + math.cos(altitude) * toward) / np.sqrt(1 + np.square(east) + np.square(north))
    shade = np.clip(light, 0.0, 1.0)
    return float(shade[1, 1]) if shade.shape == (3, 3) else shade


def contour_lines(dem: Dem, *, interval_m: float | None = None, index_every: int = 5) -> gpd.GeoDataFrame:
    """Draw the lines of equal height, every fifth one marked as index contour.

    Parameters
    ----------
    dem : Dem
        Heights in the grove's CRS.
    interval_m : float, optional
        Height between two lines [m]; a round one that gives about 10 to 20 lines unless given.
    index_every : int, optional
        Each how many lines one is an index contour, counted from 0 m.

    Returns
    -------
    GeoDataFrame
        elevation_m, is_index, geometry (LineString in the grove's CRS, closed where a line closes), from the lowest up;
        no line on level ground or where there is no height.

    Raises
    ------
    InputRefused
        When the interval would give over 500 heights.

    Notes
    -----
    Marching squares between cell centres, linear along cell sides (contourpy). A cell beside a gap has no line.

    Examples
    --------
    >>> dem = Dem([[9.0, 9, 9], [5, 5, 5], [1, 1, 1]], 0, 30, (10, 10), 7855)
    >>> lines = contour_lines(dem, interval_m=4)
    >>> lines.elevation_m.tolist(), lines.geometry[0].bounds
    ([4.0, 8.0], (5.0, 12.5, 25.0, 12.5))
    >>> len(contour_lines(Dem([[9.0, 9], [9, 9]], 0, 20, (10, 10), 7855)))
    0
    """
    every = int(checks.number(index_every, "index contour", least=1))
    heights = dem.elevation_m
    known = heights[np.isfinite(heights)]
    if min(heights.shape) < 2 or known.size == 0 or np.ptp(known) == 0:
        return _frame([], [], every, 1.0, dem.crs)
    low, high = float(known.min()), float(known.max())
    step = nice_interval_m(high - low) if interval_m is None else checks.number(interval_m, "interval", "m", over=0)
    if (high - low) / step > _MOST_LEVELS:
        what = f"an interval of {step:g} m gives {(high - low) / step:,.0f} lines"
        raise InputRefused(what, f"at most {_MOST_LEVELS} are drawn", f"try {nice_interval_m(high - low):g} m")
    from contourpy import LineType, contour_generator

    x, y = dem.centres
    source = contour_generator(x, y, np.ma.masked_invalid(heights), name="serial", line_type=LineType.Separate)
    numbers: list[int] = []
    lines: list[shapely.LineString] = []
    for number in range(math.ceil(low / step), math.floor(high / step) + 1):
        found = [shapely.LineString(line) for line in source.lines(number * step)]
        # A summit that just touches a height gives a line without length.
        found = [line for line in found if line.length > 0]
        numbers.extend([number] * len(found))
        lines.extend(found)
    return _frame(numbers, lines, every, step, dem.crs)


def nice_interval_m(range_m: float) -> float:
    """Choose the height between two contours: 1, 2 or 5 times a power of ten, for about 8 to 20 lines.

    Examples
    --------
    >>> nice_interval_m(74), nice_interval_m(9), nice_interval_m(0.9)
    (5.0, 0.5, 0.05)
    """
    rise = checks.number(range_m, "range of heights", "m", over=0)
    power = math.floor(math.log10(rise / 20))
    steps = [lead * 10.0**exponent for exponent in (power, power + 1) for lead in (1, 2, 5)]
    return next(float(f"{step:.3g}") for step in steps if rise / step <= 20 * (1 + 1e-9))


def _frame(numbers: list[int], lines: list[shapely.LineString], every: int, step: float, crs: int) -> gpd.GeoDataFrame:
    counted = np.asarray(numbers, dtype=np.int64)
    columns = {"elevation_m": (counted * step).round(6), "is_index": counted % every == 0}
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(lines, crs=crs), crs=crs)
