"""Cover as it was measured, brought into one form: shares of the floor, with the method and its error beside them."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused, RowsRefused

# Kept apart, since a stony row under mulch is covered but has no grass
PARTS: Final = ("grass", "dead_grass", "litter", "rock", "bare")
COVER_COLUMNS: Final = (*PARTS, "grass_cover", "ground_cover", "standard_error", "weight")

# Daubenmire, R. (1959) A canopy-coverage method of vegetational analysis. Northwest Science 33:43-64: lower and upper
# bound of each class [%]; a class stands for its middle.
DAUBENMIRE: Final = {1: (0.0, 5.0), 2: (5.0, 25.0), 3: (25.0, 50.0), 4: (50.0, 75.0), 5: (75.0, 95.0), 6: (95.0, 100.0)}

#: What a grower calls each method.
METHOD_NAMES: Final = {
    "points": "points", "stations": "stations along the rows", "percent": "per cent by eye", "daubenmire":
    "Daubenmire's classes", "edge": "a walked edge", "outline": "drawn outlines", "classes": "a class raster",
    "aerial": "aerial pictures",
}
METHODS: Final = {
    "points": "hits among points: binomial, Wilson's limits",
    "stations": "what is underfoot at stations along the row: binomial, Wilson's limits",
    "percent": "per cent by eye in a frame: a reading is 10 points off (own assumption)",
    "daubenmire": "classes by eye in a frame: anywhere in its class",
    "edge": "grass edge as walked: how much moves when the edge moves by the accuracy of the position",
    "outline": "grass as drawn: how much moves when the outline moves by its accuracy",
    "classes": "cells of a class raster: only as good as its classes; put right by a checked sample",
    "aerial": "green cells of a picture: only what is green; misalignment and threshold",
}
# An eye reads cover to about ten points of a hundred: own assumption, no source.
EYE_SD: Final = 0.10
# Parts typed in percent may miss 100 by this much; more is a slip of the pen.
_ROUNDING: Final = 5.0
_MOST_WEIGHT: Final = 400.0


def measured_cover(looks: pd.DataFrame, method: str) -> pd.DataFrame:
    """Turn what was noted on the ground into shares of the floor that sum to 1, with their error.

    Parameters
    ----------
    looks : DataFrame
        One line for each look, with some of the columns grass (living), dead_grass, litter (and mulch), rock (and
        gravel), bare: hits (``points``, ``stations``), per cent (``percent``) or Daubenmire's class 1 to 6, 0 for
        absent (``daubenmire``). A missing column or cell is none; where ``bare`` is not there at all, it is the rest
        of 100 % (``percent`` only).
    method : {"points", "stations", "percent", "daubenmire"}
        How it was measured.

    Returns
    -------
    DataFrame
        ``looks`` with grass, dead_grass, litter, rock, bare as shares that sum to 1; grass_cover (living and dead
        together), ground_cover (all that protects the soil: all but bare), standard_error (of grass_cover), weight (as
        many independent points would know as much) and method.

    Raises
    ------
    RowsRefused
        With every line that can't be used, numbered from 0.
    InputRefused
        A method that is not known, or no part at all.

    Notes
    -----
    Classes sum to anything: they are scaled to 1. Per cent that misses 100 by up to 5 is scaled, by more refused.
    Standard errors: half of Wilson's limits at z = 1 for hits; 0.10 for a reading by eye; (upper - lower) /
    sqrt(12) for a class. weight = n for hits, else 0.25 / error^2, at most 400.

    References
    ----------
    Daubenmire, R. (1959) A canopy-coverage method of vegetational analysis. Northwest Science 33:43-64.

    Examples
    --------
    >>> looks = pd.DataFrame({"grass": [12, 0], "dead_grass": [3, 0], "litter": [2, 0], "bare": [3, 20]})
    >>> measured_cover(looks, "points")[["grass_cover", "ground_cover", "weight"]].values.tolist()
    [[0.75, 0.85, 20.0], [0.0, 0.0, 20.0]]
    >>> len(measured_cover(looks.head(0), "points"))
    0
    """
    checks.one_of(method, ("points", "stations", "percent", "daubenmire"), "method")
    given = [part for part in PARTS if part in looks.columns]
    if not given:
        raise InputRefused("no part of the floor is told", f"a look tells some of {', '.join(PARTS)}")
    noted = pd.DataFrame({part: looks.get(part, 0.0) for part in PARTS}, index=looks.index)
    noted = noted.astype("float64").fillna(0.0)
    if method == "percent" and "bare" not in given:
        noted["bare"] = np.maximum(100.0 - noted.sum(axis=1), 0.0)
    values = noted.to_numpy()
    _refuse(values, method)
    amounts = _midpoints(values) if method == "daubenmire" else values
    total = amounts.sum(axis=1)
    shares = amounts / np.where(total > 0.0, total, 1.0)[:, None]
    result = looks.assign(**{part: shares[:, number] for number, part in enumerate(PARTS)})
    grass = shares[:, 0] + shares[:, 1]
    error = _error(values, grass, total, method)
    points = total if method in ("points", "stations") else np.minimum(0.25 / error**2, _MOST_WEIGHT)
    return result.assign(
        grass_cover=grass, ground_cover=1.0 - shares[:, 4], standard_error=error, weight=points, method=method
    )


def part_inside(
    inside: FloatArray, further: FloatArray, nearer: FloatArray, *, method: str
) -> pd.DataFrame:
    """Turn the share of each row that lies in grass as drawn, walked or seen into cover, with its error.

    Parameters
    ----------
    inside, further, nearer : ndarray of shape (n,)
        Share of each row in grass: as it is, and with the edge moved out and in by its accuracy.
    method : {"edge", "outline", "aerial"}
        Where it comes from.

    Returns
    -------
    DataFrame
        As `measured_cover`, but for what such a source can't tell apart: dead_grass, litter, rock, bare and
        ground_cover are NaN.

    Examples
    --------
    >>> found = part_inside(np.array([0.6]), np.array([0.7]), np.array([0.4]), method="edge")
    >>> found["standard_error"].round(2).tolist()
    [0.15]
    """
    checks.one_of(method, ("edge", "outline", "aerial"), "method")
    error = np.clip(np.abs(further - nearer) / 2.0, 0.02, 0.5)
    frame = pd.DataFrame({part: np.full(len(inside), np.nan) for part in PARTS})
    return frame.assign(
        grass=inside, grass_cover=inside, ground_cover=np.nan, standard_error=error,
        weight=np.minimum(0.25 / error**2, _MOST_WEIGHT), method=method,
    )


def row_cover(cover: pd.DataFrame) -> pd.DataFrame:
    """Tell the cover of every row at every survey, from all that was looked at there.

    Parameters
    ----------
    cover : DataFrame
        `cover` contract: survey, date, block, row, upslope_m and what `measured_cover` gives.

    Returns
    -------
    DataFrame
        survey, date, block, row, upslope_m (mean), looks (lines), weight (their sum), grass_cover, ground_cover and the
        five parts (means by weight; NaN where a method can't tell), standard_error, low_90 and high_90 (of
        grass_cover); in the order of survey date, block, row.

    Notes
    -----
    The error of a row is the larger of what its looks' own errors give and what their spread gives (standard deviation
    over the root of their number, three or more).

    Examples
    --------
    >>> looks = measured_cover(pd.DataFrame({"grass": [8, 4], "bare": [2, 6]}), "points")
    >>> cover = looks.assign(survey="s", date="2025-09-06", block="A", row=1, upslope_m=[10.0, 12.0])
    >>> row_cover(cover)[["upslope_m", "grass_cover", "weight"]].round(2).values.tolist()
    [[11.0, 0.6, 20.0]]
    """
    checks.columns(cover, ["survey", "date", "block", "row", "upslope_m", *COVER_COLUMNS], "cover")
    keys = ["date", "survey", "block", "row"]
    if not len(cover):
        names = ["survey", "date", "block", "row", "upslope_m", "looks", *COVER_COLUMNS, "low_90", "high_90"]
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in names})
    measured = [*PARTS, "grass_cover", "ground_cover", "upslope_m"]
    weighted = cover[measured].mul(cover["weight"], axis=0)
    known = cover[measured].notna().mul(cover["weight"], axis=0)
    groups = [cover[key] for key in keys]
    table = weighted.groupby(groups, dropna=False).sum(min_count=1) / known.groupby(groups, dropna=False).sum().replace(
        0.0, np.nan
    )
    grouped = cover.groupby(keys, dropna=False)
    table["looks"], table["weight"] = grouped.size(), grouped["weight"].sum()
    own = np.sqrt(1.0 / (1.0 / cover["standard_error"].clip(lower=1e-3) ** 2).groupby(groups, dropna=False).sum())
    spread = grouped["grass_cover"].std() / np.sqrt(table["looks"])
    table["standard_error"] = np.fmax(own, spread.where(table["looks"] >= 3))
    table["low_90"] = (table["grass_cover"] - 1.645 * table["standard_error"]).clip(0.0, 1.0)
    table["high_90"] = (table["grass_cover"] + 1.645 * table["standard_error"]).clip(0.0, 1.0)
    return table.reset_index()


def _midpoints(classes: FloatArray) -> FloatArray:
    middles = np.array([0.0, *(sum(bounds) / 2.0 for bounds in DAUBENMIRE.values())])
    return np.asarray(middles[classes.astype(int)])


def _error(values: FloatArray, grass: FloatArray, total: FloatArray, method: str) -> FloatArray:
    if method in ("points", "stations"):
        # Half of Wilson's limits at z = 1: no hit, or nothing but hits, is not certainty
        return np.asarray(np.sqrt(1.0 + 4.0 * total * grass * (1.0 - grass)) / (2.0 * (total + 1.0)))
    if method == "percent":
        return np.full(len(values), EYE_SD)
    widths = np.array([0.0, *(high - low for low, high in DAUBENMIRE.values())]) / 100.0
    width = np.hypot(widths[values[:, 0].astype(int)], widths[values[:, 1].astype(int)])
    return np.asarray(np.maximum(width / np.sqrt(12.0), 0.01))


def _refuse(values: FloatArray, method: str) -> None:
    """Refuse lines that hold what can't be, all of them at once."""
    problems = []
    for line, look in enumerate(values):
        total = float(look.sum())
        if not np.isfinite(look).all() or (look < 0.0).any():
            what = f"a part is {look.min():g}: it can't be under 0"
        elif total == 0.0:
            what = "nothing was noted: each look has a part of the floor"
        elif method in ("points", "stations") and (look != np.round(look)).any():
            what = "hits must be whole numbers"
        elif method == "percent" and abs(total - 100.0) > _ROUNDING:
            what = f"the parts sum to {total:g} %: they must sum to 100"
        elif method == "daubenmire" and ((look != np.round(look)).any() or (look > 6).any()):
            what = "classes are whole numbers, 1 to 6, or 0 for absent"
        else:
            continue
        problems.append((line, what))
    if problems:
        raise RowsRefused(f"{len(problems)} of {len(values)} looks can't be used", f"the first: {problems[0][1]}",
                          "mend them", problems)
