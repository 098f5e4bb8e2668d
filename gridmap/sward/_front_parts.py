"""What the front model is made of beside its fit: the looks checked, the line through the surveys, limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import t as t_distribution

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputMissing, InputRefused


@dataclass(frozen=True)
class Line:
    """The survey intercepts as a straight line over the years, and what is left over it."""

    middle_year: float
    mean: float
    slope: float
    left: float
    freedom: int


def arrays(
    upslope_m: npt.ArrayLike, year: npt.ArrayLike, grass: npt.ArrayLike, weight: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the looks as arrays of one length, checked."""
    x = np.asarray(upslope_m, dtype=np.float64).reshape(-1)
    if not len(x):
        raise InputMissing("no cover was given", "a front needs surveys of cover along the slope", missing=["surveys"])
    years, cover = (np.asarray(value, dtype=np.float64).reshape(-1) for value in (year, grass))
    weights = np.ones(len(x)) if weight is None else np.asarray(weight, dtype=np.float64).reshape(-1)
    checks.same_length(len(x), year=years, grass=cover, weight=weights)
    for name, array in (("metres upslope", x), ("year", years), ("grass", cover), ("weight", weights)):
        if not np.isfinite(array).all():
            bad = int(np.flatnonzero(~np.isfinite(array))[0])
            raise InputRefused(f"{name} holds {array[bad]} at index {bad}", "every look must have it",
                               "leave that look out")
    outside = np.flatnonzero((cover < 0.0) | (cover > 1.0))
    if len(outside):
        raise InputRefused(f"grass is {cover[outside[0]]:g} at index {outside[0]}", "it is a share, 0 to 1",
                           "divide percent by 100")
    if (weights <= 0.0).any():
        raise InputRefused(f"weight is {weights.min():g}", "each look must count for something",
                           "leave looks that count for nothing out")
    return x, years, cover, weights


def numbered(names: npt.ArrayLike | Sequence[object]) -> IntArray:
    """Give names numbers from 0, in the order in which they are met."""
    return np.asarray(pd.factorize(pd.Series(list(names)).astype(object))[0], dtype=np.int64)  # type: ignore[arg-type]


def checked_plateaus(given: tuple[float, float]) -> tuple[float, float]:
    """Return the two plateaus when they are shares in their order."""
    low = checks.number(given[0], "lower plateau", least=0.0)
    high = checks.number(given[1], "upper plateau", most=1.0)
    if low >= high:
        raise InputRefused(f"plateaus are {low:g} and {high:g}", "the first must be under the second")
    return low, high


def checked_chance(chance: float) -> float:
    """Return a chance when it lies between 0 and 1."""
    value = checks.number(chance, "chance", over=0.0)
    if value >= 1.0:
        raise InputRefused(f"chance is {value:g}", "it must be under 1", "give it as a share: 0.9 for 90 %")
    return value


def line_through(years: FloatArray, intercepts: FloatArray) -> Line:
    """Lay the line of least squares through the intercepts."""
    middle = float(years.mean())
    away = years - middle
    count = len(years)
    slope = float(away @ intercepts) / float(away @ away) if count > 1 else math.nan
    mean = float(intercepts.mean())
    left = intercepts - mean - (slope * away if count > 1 else 0.0)
    freedom = count - 2
    return Line(middle, mean, slope, float(left @ left) / freedom if freedom > 0 else math.nan, freedom)


def around(
    value: float, first: float, first_freedom: int, second: float, second_freedom: int, chance: float
) -> tuple[float, float]:
    """Return limits of a value whose variance is the sum of two estimates of their own freedom."""
    total = first + second
    if total <= 0.0:
        return value, value
    freedom = total**2 / (first**2 / first_freedom + second**2 / second_freedom)
    half = float(t_distribution.ppf(0.5 + chance / 2.0, freedom)) * math.sqrt(total)
    return value - half, value + half
