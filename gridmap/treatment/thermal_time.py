"""Warmth added up: degree-days of one day between a lower and an upper temperature."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gridmap.checks import FloatArray, number, one_of
from gridmap.errors import InputRefused

METHODS: Final = ("single_triangle", "double_triangle", "single_sine", "double_sine")


def degree_days(
    minimum_c: npt.ArrayLike, maximum_c: npt.ArrayLike, lower_c: float, upper_c: float | None = None,
    method: str = "single_sine", next_minimum_c: npt.ArrayLike | None = None,
) -> Any:
    """Tell how much warmth a day brought above the temperature at which an insect begins to develop.

    Parameters
    ----------
    minimum_c, maximum_c : float or array of shape (days,)
        Lowest and highest air temperature of each day [degC]; NaN (not measured) gives NaN.
    lower_c : float
        Temperature below which nothing develops [degC].
    upper_c : float, optional
        Temperature above which it develops no faster [degC] (horizontal cut-off).
    method : {"single_sine", "double_sine", "single_triangle", "double_triangle"}
        Shape of the day's temperature. A published constant holds only with the method it was derived with.
    next_minimum_c : float or array, optional
        Lowest temperature of the day after [degC]; needed by the double methods.

    Returns
    -------
    float or array of shape (days,)
        Degree-days of each day [degC d].

    Raises
    ------
    InputRefused
        A day's highest under its lowest; an upper limit not over the lower one; a double method without the next
        day's lowest.

    Notes
    -----
    With M the middle and a the half-range of the day, and one threshold T: nothing when T is at or over the highest,
    M - T when at or under the lowest; between them the sine gives [(M - T)(pi/2 - q) + a cos q] / pi with
    q = asin((T - M) / a), the triangle (max - T)^2 / (2 (max - min)). A horizontal cut-off is DD(lower) - DD(upper).
    The double methods take the half day to this day's lowest and the half day to the next one's.

    References
    ----------
    Baskerville, G. L. and Emin, P. (1969) Rapid estimation of heat accumulation from maximum and minimum
    temperatures. Ecology 50:514-517. doi:10.2307/1933912.

    Examples
    --------
    >>> round(degree_days(7, 20, 12, 33), 2), round(degree_days(7, 20, 12, 33, "single_triangle"), 2)
    (2.87, 2.46)
    >>> degree_days([], [], 12)
    array([], dtype=float64)
    >>> degree_days(20, 7, 12)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: The day's highest is 7 degC and its lowest 20 degC: the highest can't be the lower one.
    """
    one_of(method, METHODS, "method")
    lower = number(lower_c, "lower temperature", "degC")
    upper = None if upper_c is None else number(
        upper_c, "upper temperature", "degC", over=lower, remedy="give one over the lower temperature, or none")
    low, high = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in (minimum_c, maximum_c)))
    _ordered(low, high)
    shape = _sine if method.endswith("sine") else _triangle
    if method.startswith("single"):
        return _plain(_between(shape, low, high, lower, upper))
    if next_minimum_c is None:
        raise InputRefused(f"{method} was asked for without the next day's lowest temperature",
                           "it takes half of its day from there", "give next_minimum_c, or use a single method")
    after = np.broadcast_to(np.asarray(next_minimum_c, dtype=np.float64), low.shape)
    # A next morning warmer than today's highest (a front at night) makes the second half a rise: its ends change place.
    second = _between(shape, np.minimum(after, high), np.maximum(after, high), lower, upper)
    return _plain(0.5 * (_between(shape, low, high, lower, upper) + second))


def days_to_develop(temperature_c: float, lower_c: float, constant_degree_days: float) -> float:
    """Tell how many days a stage takes at one steady temperature.

    Parameters
    ----------
    temperature_c, lower_c : float
        Steady temperature, and the one at which development stops [degC].
    constant_degree_days : float
        Degree-days that the stage takes [degC d].

    Returns
    -------
    float
        [days]; infinite at or under the lower temperature.

    Notes
    -----
    K / (T - T0), a straight line that holds in the middle of an insect's range only.

    Examples
    --------
    Azalea lace bug from egg to adult (lower 11.2 degC, 394 degree-days; OSU Extension EM 9066) at 30 degC:

    >>> round(days_to_develop(30, 11.2, 394), 1), days_to_develop(10, 11.2, 394)
    (21.0, inf)
    """
    above = number(temperature_c, "temperature", "degC") - number(lower_c, "lower temperature", "degC")
    constant = number(constant_degree_days, "thermal constant", "degree-days", over=0)
    return constant / above if above > 0 else float("inf")


def _between(shape: Any, low: FloatArray, high: FloatArray, lower: float, upper: float | None) -> FloatArray:
    """Return the degree-days over ``lower`` less those over ``upper``."""
    over: FloatArray = shape(low, high, lower)
    return over if upper is None else over - shape(low, high, upper)


def _sine(low: FloatArray, high: FloatArray, threshold: float) -> FloatArray:
    """Return degree-days over one threshold when the day's temperature is a sine."""
    middle, half = (high + low) / 2.0, (high - low) / 2.0
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.arcsin(np.clip((threshold - middle) / half, -1.0, 1.0))
        cut = ((middle - threshold) * (np.pi / 2.0 - angle) + half * np.cos(angle)) / np.pi
    return _whole_days(low, high, middle, threshold, cut)


def _triangle(low: FloatArray, high: FloatArray, threshold: float) -> FloatArray:
    """Return degree-days over one threshold when the day's temperature rises and falls in straight lines."""
    with np.errstate(divide="ignore", invalid="ignore"):
        cut = (high - threshold) ** 2 / (2.0 * (high - low))
    return _whole_days(low, high, (high + low) / 2.0, threshold, cut)


def _whole_days(low: FloatArray, high: FloatArray, middle: FloatArray, threshold: float, cut: FloatArray) -> FloatArray:
    """Return ``cut`` where the threshold lies inside the day, else the whole day's or nothing."""
    inside = np.where(high <= threshold, 0.0, cut)
    whole = np.where(low >= threshold, middle - threshold, inside)
    return np.asarray(np.where(np.isnan(low) | np.isnan(high), np.nan, whole))


def _ordered(low: FloatArray, high: FloatArray) -> None:
    """Refuse a day whose highest is under its lowest."""
    wrong = high < low
    if wrong.any():
        raise InputRefused(
            f"the day's highest is {high[wrong].flat[0]:g} degC and its lowest {low[wrong].flat[0]:g} degC",
            "the highest can't be the lower one")


def _plain(array: FloatArray) -> Any:
    """Return one number as a float, many as an array."""
    return float(array) if np.ndim(array) == 0 else np.asarray(array)
