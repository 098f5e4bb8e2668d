"""The climb of the grass told whole: front survey by survey, metres a year by block, rows passed, rows to come."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.errors import GridmapError, InputMissing
from gridmap.sward.change import year_passed
from gridmap.sward.front import FEWEST_FOR_LIMITS, FrontModel
from gridmap.sward.trend import Trend, rank_trend

# A forecast reaches for the next rows only
NEXT_ROWS: Final = 3
_FURTHEST_YEARS: Final = 10.0


@dataclass(frozen=True)
class Climb:
    """What the surveys say of the grass that climbs the slope.

    Parameters
    ----------
    model : FrontModel or None
        Of the whole grove; None where no front can be told (``notes`` say why).
    surveys : DataFrame
        survey, date, year, front_m, low_90, high_90 (NaN from fewer than three surveys).
    advance : dict
        m_per_year, low_90, high_90 (NaN where they can't be told).
    blocks : DataFrame
        block, surveys, rows, front_m, m_per_year, low_90, high_90, note.
    passed : DataFrame
        As `year_passed`.
    coming : DataFrame
        block, row, upslope_m, year, earliest, latest: the next rows only; NaN beyond ten years.
    trend : Trend or None
        Of the grove's mean grass cover, by rank, from two surveys on.
    notes : tuple of str
        What to know before believing it.
    """

    model: FrontModel | None
    surveys: pd.DataFrame
    advance: dict[str, float]
    blocks: pd.DataFrame
    passed: pd.DataFrame
    coming: pd.DataFrame
    trend: Trend | None
    notes: tuple[str, ...]


def decimal_year(day: object) -> float:
    """Give a day as a year with decimals.

    Examples
    --------
    >>> round(decimal_year("2025-07-02"), 2)
    2025.5
    """
    date = day if isinstance(day, dt.date) else dt.date.fromisoformat(str(day))
    start = dt.date(date.year, 1, 1)
    return date.year + (date - start).days / (dt.date(date.year + 1, 1, 1) - start).days


def climb(rows: pd.DataFrame, *, level: float) -> Climb:
    """Tell how the grass climbs, from the cover of every row at every survey.

    Parameters
    ----------
    rows : DataFrame
        `row_cover`: survey, date, block, row, upslope_m, grass_cover, weight; rows without metres upslope are left out.
    level : float
        Share of the floor under grass that counts as grassed.

    Returns
    -------
    Climb
        Nothing is guessed: what can't be told is NaN, and ``notes`` say why.

    Raises
    ------
    InputMissing
        No survey yet, or no metres upslope.

    Examples
    --------
    >>> x = [10.0, 20.0, 30.0, 40.0, 50.0]
    >>> table = [(f"s{y}", f"{y}-09-01", "A", i + 1, x[i], 1 / (1 + math.exp((x[i] - 3 * (y - 2014)) / 5)), 40)
    ...     for y in (2019, 2021, 2023, 2025) for i in range(5)]
    >>> names = ["survey", "date", "block", "row", "upslope_m", "grass_cover", "weight"]
    >>> told = climb(pd.DataFrame(table, columns=names), level=0.5)
    >>> round(told.advance["m_per_year"]), told.coming["row"].tolist()
    (3, [4, 5])
    """
    checks.columns(rows, ["survey", "date", "block", "row", "upslope_m", "grass_cover", "weight"], "cover of rows")
    known = rows.dropna(subset=["upslope_m", "grass_cover"])
    if not len(rows):
        raise InputMissing("there is no cover survey yet", "the climb is told from surveys", "add one",
                           missing=["a cover survey"])
    if not len(known):
        raise InputMissing("no row has its metres upslope", "the climb is told up the slope",
                           "import heights, or draw the uphill arrow", missing=["metres upslope"])
    known = known.assign(year=[decimal_year(day) for day in known["date"]])
    notes: list[str] = []
    model = _fitted(known, level, notes)
    surveys = _surveys(known, model)
    blocks = _blocks(known, level)
    coming = _coming(known, model) if model is not None else _no_rows()
    means = known.groupby("year")["grass_cover"].mean()
    trend = rank_trend(means.index.to_numpy(), means.to_numpy()) if len(means) > 1 else None
    return Climb(model, surveys, _advance(model), blocks, year_passed(known, level=level), coming, trend,
                 tuple(dict.fromkeys(notes)))


def _fitted(known: pd.DataFrame, level: float, notes: list[str]) -> FrontModel | None:
    """Fit the front, or note why there is none."""
    names = list(zip(known["block"], known["row"], strict=True))
    several = known["block"].nunique() > 1
    try:
        model = FrontModel(level).fit(
            known["upslope_m"], known["year"], known["grass_cover"], known["weight"], names,
            block=known["block"].tolist() if several else None,
        )
    except GridmapError as trouble:
        notes.append(str(trouble))
        return None
    notes.extend(model.notes_)
    if math.isnan(model.surveys_["front_m"].iloc[-1]):
        return None
    low, high = float(known["upslope_m"].min()), float(known["upslope_m"].max())
    last = float(model.surveys_["front_m"].iloc[-1])
    if not low <= last <= high:
        where = "below the lowest" if last < low else "above the highest"
        notes.append(f"the front of the last survey lies {where} row that was looked at")
    return model


def _surveys(known: pd.DataFrame, model: FrontModel | None) -> pd.DataFrame:
    """Return the front of each survey with the limits of the line through all of them."""
    table = known.groupby("year", as_index=False).agg(survey=("survey", "last"), date=("date", "last"))
    table[["front_m", "low_90", "high_90"]] = np.nan
    if model is not None:
        table["front_m"] = model.surveys_["front_m"].to_numpy()
        if len(table) != 2:
            limits = np.array([model.front_limits(year) for year in table["year"]])
            # Centred on what the survey itself found; as wide as the line is sure there
            half = (limits[:, 1] - limits[:, 0]) / 2.0
            table["low_90"], table["high_90"] = table["front_m"] - half, table["front_m"] + half
    return table[["survey", "date", "year", "front_m", "low_90", "high_90"]]


def _advance(model: FrontModel | None) -> dict[str, float]:
    if model is None:
        return dict.fromkeys(("m_per_year", "low_90", "high_90"), math.nan)
    low, high = model.advance_limits() if len(model.surveys_) >= FEWEST_FOR_LIMITS else (math.nan, math.nan)
    return {"m_per_year": model.advance_m_per_year_, "low_90": low, "high_90": high}


def _blocks(known: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return the climb of each block by itself."""
    lines = []
    for block, group in known.groupby("block", sort=True):
        notes: list[str] = []
        model = _fitted(group, level, notes)
        advance = _advance(model)
        front = float(model.surveys_["front_m"].iloc[-1]) if model is not None else math.nan
        low, high = float(group["upslope_m"].min()), float(group["upslope_m"].max())
        if model is not None and not low <= front <= high:
            # Outside the rows that were looked at the curve is only drawn on
            front, advance = math.nan, dict.fromkeys(advance, math.nan)
        lines.append((block, group["survey"].nunique(), group["row"].nunique(), front, *advance.values(),
                      "; ".join(notes)))
    names = ["block", "surveys", "rows", "front_m", "m_per_year", "low_90", "high_90", "note"]
    return pd.DataFrame(lines, columns=names)


def _no_rows() -> pd.DataFrame:
    return pd.DataFrame(columns=["block", "row", "upslope_m", "year", "earliest", "latest"])


def _coming(known: pd.DataFrame, model: FrontModel) -> pd.DataFrame:
    """Return when the front should reach the next rows, with limits; none where it is not surely climbing."""
    if len(model.surveys_) < FEWEST_FOR_LIMITS or not model.advance_limits()[0] > 0.0:
        return _no_rows()
    last = float(known["year"].max())
    rows = known.groupby(["block", "row"], as_index=False)["upslope_m"].mean()
    ahead = rows[rows["upslope_m"] > model.front_m(last)].nsmallest(NEXT_ROWS, "upslope_m")
    years = last + np.linspace(0.0, _FURTHEST_YEARS, 201)
    limits = np.array([(model.front_m(year), *model.front_limits(year, coming=True)) for year in years])
    lines = []
    for row in ahead.itertuples(index=False):
        mean, low, high = (_first(years, column, float(row.upslope_m)) for column in limits.T)
        lines.append((row.block, row.row, row.upslope_m, mean, high, low))
    return pd.DataFrame(lines, columns=_no_rows().columns)


def _first(years: np.ndarray, front: np.ndarray, upslope_m: float) -> float:
    """Return the first year in which a front reaches a row, NaN where it doesn't."""
    there = np.flatnonzero(front >= upslope_m)
    return float(years[there[0]]) if len(there) else math.nan
