"""Argument checks that every room shares: what is wrong, the value, the rule."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap.errors import InputRefused

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def number(
    value: object, name: str, unit: str = "", *, over: float | None = None, least: float | None = None,
    most: float | None = None, remedy: str | None = None,
) -> float:
    """Return ``value`` as a finite float inside its limits, or say what is wrong with it.

    Parameters
    ----------
    value : object
        What was given.
    name, unit : str
        How the message names it, and its unit.
    over, least, most : float, optional
        Open lower limit, closed lower limit, closed upper limit.
    remedy : str, optional
        What to do instead.

    Raises
    ------
    InputRefused
        When it is no number, not finite or outside its limits.

    Examples
    --------
    >>> number("6.5", "row spacing", "m", over=0)
    6.5
    >>> number(-4, "row spacing", "m", over=0)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Row spacing is -4 m: it must be over 0 m.
    """
    suffix = f" {unit}" if unit else ""
    if isinstance(value, bool) or not isinstance(value, (int, float, str, np.integer, np.floating)):
        raise InputRefused(f"{name} is {value!r}", "it must be a number", remedy)
    try:
        result = float(value)
    except ValueError:
        raise InputRefused(f"{name} is {value!r}", "it must be a number", remedy) from None
    if not math.isfinite(result):
        raise InputRefused(f"{name} is {value}", "it must be a finite number", remedy)
    shown = f"{name} is {result:g}{suffix}"
    if over is not None and not result > over:
        raise InputRefused(shown, f"it must be over {over:g}{suffix}", remedy)
    if least is not None and result < least:
        raise InputRefused(shown, f"it must be at least {least:g}{suffix}", remedy)
    if most is not None and result > most:
        raise InputRefused(shown, f"it must be at most {most:g}{suffix}", remedy)
    return result


def bearing_deg(value: object, name: str) -> float:
    """Return a bearing in degrees clockwise from grid north, 0 <= bearing < 360.

    Examples
    --------
    >>> bearing_deg(360, "row bearing")
    0.0
    """
    return number(value, name, "degrees", least=0.0, most=360.0, remedy="give it clockwise from north") % 360.0


def points(xy: object, name: str = "positions") -> FloatArray:
    """Return map positions as an (n, 2) array of finite [m] in any projected CRS.

    Examples
    --------
    >>> points([[0, 0], [3, 4]]).shape
    (2, 2)
    """
    array = np.asarray(xy, dtype=np.float64)
    if array.size == 0:
        array = array.reshape(0, 2)
    if array.ndim != 2 or array.shape[1] != 2:
        raise InputRefused(f"{name} have shape {array.shape}", "they must be (n, 2): easting and northing in metres")
    if not np.isfinite(array).all():
        bad = int(np.flatnonzero(~np.isfinite(array).all(axis=1))[0])
        raise InputRefused(f"{name} hold {array[bad].tolist()} at index {bad}", "every coordinate must be finite")
    return array


def same_length(length: int, **arrays: object) -> None:
    """Check that every given array has ``length`` entries; None is passed over."""
    for name, array in arrays.items():
        if array is not None and len(array) != length:  # type: ignore[arg-type]
            entries = len(array)  # type: ignore[arg-type]
            raise InputRefused(f"{name} has {entries} entries", f"it must have one for each of the {length} positions")


def columns(frame: pd.DataFrame, needed: Iterable[str], name: str) -> None:
    """Check that a frame has the columns that its contract names.

    Examples
    --------
    >>> columns(pd.DataFrame({"tree": []}), ["tree", "block"], "trees")
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Trees has no column 'block': it must have tree, block.
    """
    needed = list(needed)
    absent = [column for column in needed if column not in frame.columns]
    if absent:
        raise InputRefused(f"{name} has no column {', '.join(map(repr, absent))}", f"it must have {', '.join(needed)}")


def one_of(value: object, allowed: Iterable[str], name: str) -> str:
    """Return ``value`` when it is one of the allowed words.

    Examples
    --------
    >>> one_of("hand_gun", ["hand_gun", "air_blast"], "method")
    'hand_gun'
    """
    words = list(allowed)
    if not isinstance(value, str) or value not in words:
        raise InputRefused(f"{name} is {value!r}", f"it must be one of {', '.join(words)}")
    return value
