"""Formulas of spray volume and canopy volume, each for one number or an array."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from gridmap.checks import number
from gridmap.errors import InputRefused
from gridmap.units import M2_PER_HA

# 60 min/h x 10,000 m2/ha / 1,000 m/km.
_MIN_M2_PER_H_HA_KM = 600.0


def litres_per_ha(flow_l_per_min: object, speed_km_per_h: object, swath_m: npt.ArrayLike) -> Any:
    """Tell what a sprayer puts on a hectare at a steady speed: 600 x L/min / (km/h x m).

    Parameters
    ----------
    flow_l_per_min : float
        Flow of all nozzles that are open [L/min].
    speed_km_per_h : float
        Travel speed [km/h].
    swath_m : float or array
        Row spacing, or width that is treated at once [m].

    Returns
    -------
    float or array
        [L/ha].

    Examples
    --------
    Twelve nozzles of 1.02 L/min at 6 km/h in rows 3.0 m apart (sprayer manual, manualshive 942471 p. 18):

    >>> round(litres_per_ha(12 * 1.02, 6, 3.0))
    408
    """
    flow = number(flow_l_per_min, "flow", "L/min", over=0)
    speed = number(speed_km_per_h, "travel speed", "km/h", over=0)
    return _plain(_MIN_M2_PER_H_HA_KM * flow / (speed * _lengths(swath_m, "row spacing")))


def tree_row_volume_m3_per_ha(height_m: npt.ArrayLike, width_m: npt.ArrayLike, row_spacing_m: npt.ArrayLike) -> Any:
    """Tell how much canopy stands on a hectare when rows are taken as boxes: h x w x 10,000 / row spacing.

    Parameters
    ----------
    height_m, width_m, row_spacing_m : float or array
        Canopy height (without the clear stem), canopy width, row spacing [m].

    Returns
    -------
    float or array
        [m3/ha].

    Examples
    --------
    >>> tree_row_volume_m3_per_ha(3, 4, 8)
    15000.0
    """
    row = _lengths(row_spacing_m, "row spacing")
    return _plain(_lengths(height_m, "canopy height") * _lengths(width_m, "canopy width") * M2_PER_HA / row)


def box_m3(height_m: npt.ArrayLike, width_m: npt.ArrayLike, tree_spacing_m: npt.ArrayLike) -> Any:
    """Tell one tree's share of a row taken as a box: h x w x tree spacing.

    Parameters
    ----------
    height_m, width_m, tree_spacing_m : float or array
        [m]; NaN where not known.

    Returns
    -------
    float or array
        [m3].

    Examples
    --------
    >>> box_m3(3, 4, 5)
    60.0
    """
    return _plain(_lengths(height_m, "canopy height") * _lengths(width_m, "canopy width")
                  * _lengths(tree_spacing_m, "tree spacing"))


def ellipsoid_m3(height_m: npt.ArrayLike, width_m: npt.ArrayLike, depth_m: npt.ArrayLike | None = None) -> Any:
    """Tell the volume of a round canopy: pi/6 x h x d1 x d2.

    Parameters
    ----------
    height_m, width_m : float or array
        Canopy height and one diameter [m]; NaN where not known.
    depth_m : float or array, optional
        The other diameter [m]; the same one where it was not measured.

    Returns
    -------
    float or array
        [m3].

    References
    ----------
    Miranda-Fuentes, A. et al. (2015) Sensors 15:3671-3687.

    Examples
    --------
    >>> round(ellipsoid_m3(3, 4), 3)
    25.133
    """
    width = _lengths(width_m, "canopy width")
    depth = width if depth_m is None else _lengths(depth_m, "canopy depth")
    return _plain(np.pi / 6.0 * _lengths(height_m, "canopy height") * width * depth)


def _lengths(value: npt.ArrayLike, name: str) -> Any:
    """Return lengths over 0 [m], NaN let through where one is not known."""
    array = np.asarray(value, dtype=np.float64)
    if np.any(array <= 0) or np.any(np.isinf(array)):
        raise InputRefused(f"{name} is {array[(array <= 0) | np.isinf(array)].flat[0]:g} m", "it must be over 0 m")
    return array


def _plain(array: Any) -> Any:
    """Return one number as a float, many as an array."""
    return float(array) if np.ndim(array) == 0 else array
