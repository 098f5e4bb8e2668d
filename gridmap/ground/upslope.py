"""The fall of the slope: which way a block rises, and how many metres up it each tree stands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid
from scipy.ndimage import uniform_filter1d

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputMissing
from gridmap.ground.surface import HeightSurface

# Own limits, no source. A bearing known to 10 degrees (one standard error) misplaces a tree by under a fifth of its
# distance across the slope; where the local falls cancel to under half of their mean, no one bearing fits the block.
_BEARING_ERROR_DEG: Final = 10.0
_AGREEING: Final = 0.5
# Less than a step's height over the whole block is level ground.
_LEVEL_M: Final = 0.05


@dataclass(frozen=True)
class Upslope:
    """Which way a block rises, and whether the heights really tell.

    Parameters
    ----------
    bearing_deg : float
        Steepest way up [degrees clockwise from grid north]; NaN on level ground.
    slope_deg : float
        Slope of the best plane through the block [degrees].
    bearing_error_deg : float
        Standard error of the bearing [degrees].
    agreeing : float
        1 where the whole block falls one way, near 0 over a knoll or a hollow.
    sure : bool
        The bearing can be used unasked; otherwise ask the grower for an uphill arrow.
    why : str
        What to tell the grower.
    """

    bearing_deg: float
    slope_deg: float
    bearing_error_deg: float
    agreeing: float
    sure: bool
    why: str


def block_upslope(xy: npt.ArrayLike, elevation_m: npt.ArrayLike) -> Upslope:
    """Tell which way a block rises, from the heights of its trees, and whether that is clear.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the trees [m], in the grove's CRS.
    elevation_m : (n,) array
        Heights [m], from a DEM or as measured; NaN where a tree has none.

    Returns
    -------
    Upslope
        Bearing, slope, how sure, and why.

    Raises
    ------
    InputMissing
        Fewer than three heights, or all on one line.

    Notes
    -----
    Bearing and slope are those of the robust plane through the heights (see `HeightSurface`); the error follows from
    its covariance, across the fall: sqrt(n' C n) / |gradient| with n at right angles to the fall. ``agreeing`` is the
    length of the mean gradient of the smooth ground over the mean of its lengths.

    Examples
    --------
    >>> block_upslope([[0, 0], [10, 0], [0, 10], [10, 10], [5, 5]], [0, 1, 0, 1, 0.5]).bearing_deg
    90.0
    >>> block_upslope([[0, 0], [10, 0], [0, 10], [10, 10]], [3, 3, 3, 3]).why
    'the ground is level: draw an uphill arrow'
    """
    places = checks.points(xy, "tree positions")
    plane = HeightSurface(bend=False).fit(places, elevation_m)
    rise = plane.gradient(places[:1])[0]
    steep = float(np.hypot(*rise))
    slope = math.degrees(math.atan(steep))
    local = HeightSurface().fit(places, elevation_m).gradient(places)
    lengths = float(np.hypot(local[:, 0], local[:, 1]).mean())
    agreeing = float(np.hypot(*local.mean(axis=0)) / lengths) if lengths > 0 else 0.0
    if steep * _reach(places) < _LEVEL_M and lengths * _reach(places) < _LEVEL_M:
        return Upslope(math.nan, slope, math.nan, agreeing, False, "the ground is level: draw an uphill arrow")
    across = np.array([-rise[1], rise[0]]) / max(steep, 1e-12)
    error = math.degrees(math.atan(math.sqrt(float(across @ plane.covariance_ @ across)) / max(steep, 1e-12)))
    bearing = round(math.degrees(math.atan2(rise[0], rise[1])), 9) % 360.0
    if agreeing < _AGREEING:
        why = "the ground falls several ways, as over a knoll or a hollow: draw an uphill arrow or split the block"
        return Upslope(bearing, slope, error, agreeing, False, why)
    if error > _BEARING_ERROR_DEG:
        known = f"bearing known to {error:.0f} degrees"
        why = f"the heights scatter too much for this slope ({known}): draw an uphill arrow"
        return Upslope(bearing, slope, error, agreeing, False, why)
    return Upslope(bearing, slope, error, agreeing, True, f"the block rises toward {bearing:.0f} degrees")


def upslope_m(xy: npt.ArrayLike, elevation: npt.ArrayLike) -> FloatArray:
    """Tell how many metres up the slope each tree stands, counted on the map from the lowest tree.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the trees of a block or of the whole grove [m], in the grove's CRS.
    elevation : (n,) array
        Heights [m], from a DEM or as measured; NaN where a tree has none (its place on the fitted ground counts).

    Returns
    -------
    (n,) array
        Metres upslope on the map, 0 at the lowest tree. The same along a contour, so a row planted along a contour
        keeps one value however it bends.

    Raises
    ------
    InputMissing
        Fewer than three heights, all on one line, or ground too level for its heights: ask for an uphill bearing and
        use `upslope_from_bearing_m`.

    Notes
    -----
    A tree at height z of the fitted ground stands u(z) = integral from the lowest z of dz / G(z) up the slope, G(z)
    being the mean gradient over the trees about that height. dz / G is the mean map width of the band between two
    contours (its area over the length of its contour, by the coarea formula), so u is the map distance climbed up the
    fall line. On a plane it is exactly the distance along the upslope bearing, on a cone that along the radius.
    Measured heights are first put on the smooth ground of `HeightSurface`, so a wrong height moves no tree. Trees that
    share one height over a level bench share one value: heights alone can't tell them apart.

    References
    ----------
    Federer (1959), Curvature measures, Transactions of the American Mathematical Society 93:418-491 (coarea formula),
    doi:10.1090/S0002-9947-1959-0110078-1.

    Examples
    --------
    >>> upslope_m([[0, 0], [10, 0], [0, 10], [10, 10], [5, 5]], [0, 1, 0, 1, 0.5]).round(6).tolist()
    [0.0, 10.0, 0.0, 10.0, 5.0]
    >>> upslope_m([], []).tolist()
    []
    """
    places = checks.points(xy, "tree positions")
    if len(places) == 0:
        return np.empty(0)
    ground = HeightSurface().fit(places, elevation)
    height = ground.predict(places)
    # Standard error of a fitted height; a rise within four of them may be no rise at all.
    error = ground.noise_m_ * math.sqrt(ground.parameters_ / len(places))
    if np.ptp(height) < max(4 * error, _LEVEL_M):
        what = f"the trees' heights differ by {np.ptp(height):.1f} m"
        rule = f"that is too little to tell the fall ({error:.1f} m is their error)"
        raise InputMissing(what, rule, "draw an uphill arrow", missing=["uphill bearing"])
    order = np.argsort(height, kind="stable")
    steep = np.hypot(*ground.gradient(places[order]).T)
    # The mean over a twentieth of the trees, at least 5, stands for the trees about a height.
    about = uniform_filter1d(steep, min(max(5, len(places) // 20), len(places)), mode="nearest")
    climbed = cumulative_trapezoid(1 / np.maximum(about, 1e-6 * steep.max()), height[order], initial=0)
    result = np.empty(len(places))
    result[order] = climbed
    return result


def upslope_from_bearing_m(xy: npt.ArrayLike, uphill_bearing_deg: float) -> FloatArray:
    """Tell how many metres up the slope each tree stands, where only the way uphill is known.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the trees [m], in the grove's CRS.
    uphill_bearing_deg : float
        The grower's uphill arrow [degrees clockwise from grid north].

    Returns
    -------
    (n,) array
        Distance along the bearing on the map [m], 0 at the tree farthest downhill.

    Raises
    ------
    InputRefused
        When the bearing is no number from 0 to 360.

    Examples
    --------
    >>> upslope_from_bearing_m([[0, 0], [30, 40]], 90).round(9).tolist()
    [0.0, 30.0]
    >>> upslope_from_bearing_m([], 90).tolist()
    []
    """
    places = checks.points(xy, "tree positions")
    bearing = math.radians(checks.bearing_deg(uphill_bearing_deg, "uphill bearing"))
    if len(places) == 0:
        return np.empty(0)
    along = places @ np.array([math.sin(bearing), math.cos(bearing)])
    return along - along.min()


def _reach(places: FloatArray) -> float:
    return float(np.hypot(*np.ptp(places, axis=0)))
