"""How dry the air is for a droplet: wet bulb, its depression, humidity and the pressure of the place."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gridmap.checks import FloatArray, number
from gridmap.errors import InputRefused

#: Psychrometer coefficient of a ventilated wet bulb [1/degC] (Fan 1987, in WMO Guide No. 8).
PSYCHROMETER_COEFFICIENT: Final = 6.21e-4
#: The one of FAO Irrigation and Drainage Paper 56, equation 16 (Assmann type) [1/degC].
FAO_PSYCHROMETER_COEFFICIENT: Final = 6.62e-4
STANDARD_PRESSURE_HPA: Final = 1013.25
_COLDEST_C, _HOTTEST_C = -40.0, 60.0
_LEAST_HPA, _MOST_HPA = 500.0, 1100.0


def saturation_vapour_pressure_kpa(temperature_c: npt.ArrayLike) -> Any:
    """Tell how much vapour air can hold at a temperature, as its pressure.

    Parameters
    ----------
    temperature_c : float or array
        Air temperature [degC].

    Returns
    -------
    float or array
        [kPa].

    Notes
    -----
    es = 0.6108 exp(17.27 T / (T + 237.3)).

    References
    ----------
    Allen, R. G. et al. (1998) Crop evapotranspiration. FAO Irrigation and Drainage Paper 56, equation 11.

    Examples
    --------
    Example 3 of that paper prints 3.075 and 1.705 kPa:

    >>> saturation_vapour_pressure_kpa([24.5, 15.0]).round(3)
    array([3.075, 1.705])
    >>> saturation_vapour_pressure_kpa([])
    array([], dtype=float64)
    """
    t = _within(temperature_c, "temperature", "degC", _COLDEST_C, _HOTTEST_C)
    return _plain(_saturation(t))


def pressure_at_height_hpa(elevation_m: npt.ArrayLike) -> Any:
    """Tell the usual air pressure at the grove's height above the sea.

    Parameters
    ----------
    elevation_m : float or array
        Height above mean sea level [m].

    Returns
    -------
    float or array
        [hPa].

    Notes
    -----
    P = 1013 ((293 - 0.0065 z) / 293)^5.26.

    References
    ----------
    Allen, R. G. et al. (1998) FAO Irrigation and Drainage Paper 56, equation 7.

    Examples
    --------
    >>> round(pressure_at_height_hpa(1800), 0)
    818.0
    """
    z = _within(elevation_m, "elevation", "m", -450.0, 5500.0)
    return _plain(1013.0 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26)


def relative_humidity_pct(
    temperature_c: npt.ArrayLike, wet_bulb_c: npt.ArrayLike, pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA, *,
    coefficient: float = PSYCHROMETER_COEFFICIENT,
) -> Any:
    """Tell the relative humidity from a dry and a wet thermometer.

    Parameters
    ----------
    temperature_c, wet_bulb_c : float or array
        The two readings [degC]; the wet one is not the higher.
    pressure_hpa : float or array
        Pressure at the place, not reduced to sea level [hPa].
    coefficient : float
        Psychrometer coefficient A [1/degC].

    Returns
    -------
    float or array
        [percent]; below 0 where the two readings can't go together.

    Notes
    -----
    e = es(Tw) - A P (T - Tw), RH = 100 e / es(T).

    Examples
    --------
    >>> round(relative_humidity_pct(20.0, 20.0), 1)
    100.0
    >>> relative_humidity_pct(20.0, 21.0)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Wet bulb is 21 degC: it must be at most the dry bulb, 20 degC.
    """
    t = _within(temperature_c, "temperature", "degC", _COLDEST_C, _HOTTEST_C)
    wet = _within(wet_bulb_c, "wet bulb", "degC", _COLDEST_C, _HOTTEST_C)
    p = _within(pressure_hpa, "pressure", "hPa", _LEAST_HPA, _MOST_HPA)
    t, wet, p = np.broadcast_arrays(t, wet, p)
    if (wet > t).any():
        worst = int(np.argmax((wet > t).ravel()))
        raise InputRefused(f"wet bulb is {wet.flat[worst]:g} degC",
                           f"it must be at most the dry bulb, {t.flat[worst]:g} degC")
    vapour = _saturation(wet) - coefficient * p / 10.0 * (t - wet)
    return _plain(100.0 * vapour / _saturation(t))


def wet_bulb_c(
    temperature_c: npt.ArrayLike, humidity_pct: npt.ArrayLike, pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA, *,
    coefficient: float = PSYCHROMETER_COEFFICIENT,
) -> Any:
    """Tell what a wet thermometer would show, from temperature and humidity.

    Parameters
    ----------
    temperature_c : float or array
        Air temperature [degC], -40 to 60; NaN gives NaN.
    humidity_pct : float or array
        Relative humidity [percent], 0 to 100; NaN gives NaN.
    pressure_hpa : float or array
        Pressure at the place, not reduced to sea level [hPa].
    coefficient : float
        Psychrometer coefficient A [1/degC].

    Returns
    -------
    float or array
        [degC].

    Notes
    -----
    The root Tw of es(Tw) - A P (T - Tw) = RH/100 es(T). The left side grows with Tw and is convex, so Newton's steps
    from T come down to it without passing it.

    Examples
    --------
    >>> round(wet_bulb_c(20, 50), 1)
    13.7
    >>> wet_bulb_c([], []).shape
    (0,)
    """
    t = _within(temperature_c, "temperature", "degC", _COLDEST_C, _HOTTEST_C)
    rh = _within(humidity_pct, "humidity", "percent", 0.0, 100.0)
    p = _within(pressure_hpa, "pressure", "hPa", _LEAST_HPA, _MOST_HPA)
    t, rh, p = np.broadcast_arrays(t, rh, p)
    vapour, ap = rh / 100.0 * _saturation(t), coefficient * p / 10.0
    wet = t.copy()
    for _ in range(60):
        es = _saturation(wet)
        step = (es - ap * (t - wet) - vapour) / (es * 17.27 * 237.3 / (wet + 237.3) ** 2 + ap)
        wet = wet - step
        if np.abs(np.nan_to_num(step)).max(initial=0.0) < 1e-10:
            break
    return _plain(np.minimum(wet, t))


def wet_bulb_depression(
    temperature_c: npt.ArrayLike, humidity_pct: npt.ArrayLike, pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA
) -> Any:
    """Tell how fast a droplet dries: dry bulb less wet bulb.

    Parameters
    ----------
    temperature_c : float or array
        Air temperature [degC], -40 to 60; NaN gives NaN.
    humidity_pct : float or array
        Relative humidity [percent], 0 to 100; NaN gives NaN.
    pressure_hpa : float or array
        Pressure at the place, not reduced to sea level [hPa].

    Returns
    -------
    float or array
        [degC], 0 in saturated air.

    Raises
    ------
    InputRefused
        Temperature, humidity or pressure out of range.

    Notes
    -----
    From the psychrometric equation (`wet_bulb_c`); formulas in use differ by up to 0.4 degC, so no hour should turn on
    less than half a degree.

    Examples
    --------
    >>> round(wet_bulb_depression(25, 40), 1), wet_bulb_depression(25, 100)
    (8.9, 0.0)
    >>> wet_bulb_depression(25, 140)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Humidity is 140 percent: it must be 0 to 100 percent.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    return _plain(np.maximum(np.asarray(t - wet_bulb_c(t, humidity_pct, pressure_hpa)), 0.0))


def stull_wet_bulb_c(temperature_c: npt.ArrayLike, humidity_pct: npt.ArrayLike) -> Any:
    """Tell the wet bulb by a fitted formula, as a cross-check.

    Parameters
    ----------
    temperature_c : float or array
        Air temperature [degC], -20 to 50.
    humidity_pct : float or array
        Relative humidity [percent], 5 to 99.

    Returns
    -------
    float or array
        [degC], for sea level; its error is -1 to 0.65 degC, under 0.3 in the mean.

    References
    ----------
    Stull, R. (2011) Wet-bulb temperature from relative humidity and air temperature. Journal of Applied Meteorology
    and Climatology 50:2267-2269. doi:10.1175/JAMC-D-11-0143.1.

    Examples
    --------
    The paper's own example is 13.7 degC:

    >>> round(stull_wet_bulb_c(20, 50), 1)
    13.7
    """
    t = _within(temperature_c, "temperature", "degC", -20.0, 50.0)
    rh = _within(humidity_pct, "humidity", "percent", 5.0, 99.0)
    return _plain(
        t * np.arctan(0.151977 * np.sqrt(rh + 8.313659)) + np.arctan(t + rh) - np.arctan(rh - 1.676331)
        + 0.00391838 * rh**1.5 * np.arctan(0.023101 * rh) - 4.686035
    )


def _saturation(t: FloatArray) -> FloatArray:
    """Return 0.6108 exp(17.27 T / (T + 237.3)) [kPa]."""
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def _within(value: npt.ArrayLike, name: str, unit: str, least: float, most: float) -> FloatArray:
    """Return numbers inside their range; NaN (not measured) passes."""
    if isinstance(value, str):
        value = number(value, name, unit)
    array = np.asarray(value, dtype=np.float64)
    bad = (array < least) | (array > most)
    if bad.any():
        raise InputRefused(f"{name} is {array[bad].flat[0]:g} {unit}", f"it must be {least:g} to {most:g} {unit}")
    return array


def _plain(array: Any) -> Any:
    """Return one number as a float, many as an array."""
    return float(array) if np.ndim(array) == 0 else np.asarray(array)
