"""The front of the grass: how far up the slope it stands, and how many metres a year it climbs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Self

import numpy as np
import numpy.typing as npt
import pandas as pd

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.sward._front_fit import Looks, fit_looks, fit_plateaus
from gridmap.sward._front_parts import around, arrays, checked_chance, checked_plateaus, line_through, numbered

# A rate needs two surveys; how sure it is can only be told from what is left over a line, so from three.
FEWEST_FOR_RATE, FEWEST_FOR_LIMITS, FEW = 2, 3, 5


class FrontModel:
    """Tell how far up the slope the grass has come, and how many metres it climbs a year, with limits.

    Parameters
    ----------
    level : float, default 0.5
        Share of the floor under grass (0 to 1) that the grower counts as grassed. The front is where cover crosses it.
    plateaus : (float, float), optional
        Shares that cover levels off at, far up and far down the hill. (0, 1) is the plain logistic curve; left out,
        the looks themselves say whether cover levels off before.

    Attributes
    ----------
    advance_m_per_year_ : float
        Metres upslope a year; negative where the grass loses ground; NaN from one survey.
    surveys_ : DataFrame
        year, front_m, looks: where each survey by itself has the front.
    plateaus_ : tuple of float
        As used.
    falls_uphill_ : bool
        Whether cover falls with metres upslope, as it does where grass comes up the hill.
    notes_ : tuple of str
        What to know before believing it ("too few surveys ...").

    Notes
    -----
    Cover is binomial with over-dispersion, its logit straight in metres upslope: one slope for the hill, an intercept
    for each survey, an effect of each block, a random effect of each row that stays from survey to survey:

        cover = low + (high - low) / (1 + exp(-eta)),  eta = a_survey + block - b x + u_row,
        front = (a - logit((level - low) / (high - low))) / b.

    The advance is the slope of a straight line through the a's over the years, divided by b. Whole surveys differ by
    more than their looks (season, observer), so the line's doubt comes from what the surveys leave over it, with
    Student's t for surveys less two; the doubt of b comes from the differences between rows, with t for rows less two.
    Both are joined by Welch and Satterthwaite's rule.

    References
    ----------
    Breslow, N. E. and Clayton, D. G. (1993) Approximate inference in generalized linear mixed models. J. Am. Stat.
    Assoc. 88:9-25. doi:10.1080/01621459.1993.10594284 (from memory).
    Satterthwaite, F. E. (1946) An approximate distribution of estimates of variance components. Biometrics Bulletin
    2:110-114. doi:10.2307/3002019 (from memory).

    Examples
    --------
    >>> x = np.tile(np.arange(10.0, 200.0, 10.0), 4)
    >>> year = np.repeat([2019.0, 2021.0, 2023.0, 2025.0], 19)
    >>> noise = np.tile([0.0, 0.01, -0.005, 0.005, -0.01], 16)[:76]
    >>> cover = np.clip(1 / (1 + np.exp((x - 60 - 6 * (year - 2019)) / 15)) + noise, 0, 1)
    >>> model = FrontModel(level=0.5).fit(x, year, cover)
    >>> round(model.advance_m_per_year_, 1), round(model.front_m(2025), 0)
    (6.0, 96.0)
    >>> FrontModel().fit([], [], [])
    Traceback (most recent call last):
    gridmap.errors.InputMissing: No cover was given: a front needs surveys of cover along the slope.
    """

    advance_m_per_year_: float
    surveys_: pd.DataFrame
    plateaus_: tuple[float, float]
    falls_uphill_: bool
    notes_: tuple[str, ...]

    def __init__(self, level: float = 0.5, *, plateaus: tuple[float, float] | None = None) -> None:
        self.level = checks.number(level, "level that counts as grassed", over=0.0)
        if self.level >= 1.0:
            raise InputRefused(f"level that counts as grassed is {self.level:g}", "it must be under 1",
                               "give it as a share: 0.6 for 60 %")
        self.plateaus = plateaus

    def fit(
        self, upslope_m: npt.ArrayLike, year: npt.ArrayLike, grass: npt.ArrayLike,
        weight: npt.ArrayLike | None = None, row: Sequence[object] | None = None, *,
        block: Sequence[object] | None = None,
    ) -> Self:
        """Learn the front from every survey together.

        Parameters
        ----------
        upslope_m : array_like of shape (n,)
            Metres upslope of each look [m].
        year : array_like of shape (n,)
            When, in years with decimals; looks of the same year are one survey.
        grass : array_like of shape (n,)
            Share of the floor under grass, 0 to 1.
        weight : array_like of shape (n,), optional
            How much each look counts for, such as its number of points; all alike when left out.
        row : sequence of shape (n,), optional
            The row looked at, the same name in every survey; the metres upslope name it when left out.
        block : sequence of shape (n,), optional
            Block of each look: blocks may lie under more or less grass at the same metres upslope.

        Returns
        -------
        FrontModel
            Itself.

        Raises
        ------
        InputRefused
            A share outside 0 to 1, weights not over 0, lengths that differ, grass that is the same everywhere, looks
            at one distance only.
        InputMissing
            Nothing was given.
        """
        x, years, cover, weights = arrays(upslope_m, year, grass, weight)
        checks.same_length(len(x), row=row, block=block)
        self._centre_m, self._scale_m = float(np.average(x, weights=weights)), float(x.std())
        if self._scale_m < 1e-6:
            raise InputRefused(f"every look lies {x[0]:g} m upslope", "a front is found from looks along the slope",
                               "look at rows lower down and higher up")
        if np.ptp(cover) < 1e-9:
            raise InputRefused(f"grass covers {100 * cover[0]:g} % wherever it was looked at",
                               "a front is where cover crosses your level", "look lower down and higher up the slope")
        self._years, survey = np.unique(years, return_inverse=True)
        self._looks = Looks(
            (x - self._centre_m) / self._scale_m, survey, numbered(np.round(x, 1) if row is None else row),
            numbered(np.zeros(len(x)) if block is None else block), cover, weights,
        )
        self.plateaus_ = fit_plateaus(self._looks) if self.plateaus is None else checked_plateaus(self.plateaus)
        self._fitted = fit_looks(self._looks, *self.plateaus_)
        self._learn()
        return self

    def _learn(self) -> None:
        """Turn coefficients into metres."""
        count, found = len(self._years), self._fitted
        self._b = float(found.coefficient[count])
        low, high = self.plateaus_
        crossing = (self.level - low) / (high - low)
        self._crossing = math.log(crossing / (1.0 - crossing)) if 0.0 < crossing < 1.0 else math.nan
        self.falls_uphill_ = self._b > 0.0
        intercepts = found.coefficient[:count]
        self._line = line_through(self._years, intercepts)
        self.advance_m_per_year_ = self._line.slope / self._b * self._scale_m
        self.surveys_ = pd.DataFrame({
            "year": self._years, "front_m": [self._metres(a) for a in intercepts],
            "looks": np.bincount(self._looks.survey, minlength=count),
        })
        self.notes_ = tuple(self._notes())

    def _metres(self, intercept: float) -> float:
        return self._centre_m + self._scale_m * (intercept - self._crossing) / self._b

    def _notes(self) -> list[str]:
        count, notes = len(self._years), []
        if count < FEWEST_FOR_LIMITS:
            notes.append(f"too few surveys: {count} of at least {FEWEST_FOR_LIMITS} that limits of the advance need")
        elif count < FEW:
            notes.append(f"few surveys ({count}): the limits are wide for that reason")
        if math.isnan(self._crossing):
            notes.append("cover levels off before it crosses your level, so there is no front")
        if not self.falls_uphill_:
            notes.append("cover rises with metres upslope: the grass comes down the hill, not up")
        if not self._fitted.converged:
            notes.append("cover flips from full to bare between two rows: the front lies between them, its limits are "
                         "rough")
        return notes

    def advance_limits(self, chance: float = 0.9) -> tuple[float, float]:
        """Tell between which metres a year the advance lies.

        Parameters
        ----------
        chance : float, default 0.9
            Chance that the limits hold the truth, between 0 and 1.

        Returns
        -------
        tuple of float
            Lower and upper limit [m a year].

        Raises
        ------
        InputMissing
            Too few surveys.
        """
        chance = checked_chance(chance)
        if len(self._years) < FEWEST_FOR_LIMITS:
            raise InputMissing(
                f"too few surveys: {len(self._years)}",
                f"limits of the advance need {FEWEST_FOR_LIMITS} at least, and {FEW} to be worth much",
                missing=["cover surveys"],
            )
        scale = self._scale_m / self._b
        by_line = self._line_variance(0.0) * scale**2
        by_slope = self._slope_variance(self._line.slope / self._b, self._contrast())
        return around(self.advance_m_per_year_, by_line, self._line.freedom, by_slope, self._row_freedom, chance)

    def front_m(self, year: float) -> float:
        """Tell how far upslope the front stands in a year, on the line through all surveys [m].

        A year between the surveys, or after them, is read off the same line: `front_limits` says how sure it is.
        """
        when = checks.number(year, "year")
        if len(self._years) == 1 and abs(when - self._years[0]) > 1e-9:
            raise InputMissing(f"too few surveys to tell the front of {when:g}",
                               f"the only survey is of {self._years[0]:g}", missing=["cover surveys"])
        return self._metres(self._at(when))

    def _at(self, year: float) -> float:
        away = year - self._line.middle_year
        return self._line.mean + (self._line.slope * away if len(self._years) > 1 else 0.0)

    def front_limits(self, year: float, chance: float = 0.9, *, coming: bool = False) -> tuple[float, float]:
        """Tell between which metres upslope the front of a year lies.

        Parameters
        ----------
        year : float
            As in `front_m`.
        chance : float, default 0.9
            Chance that the limits hold the truth.
        coming : bool, default False
            Limits for what one more survey would find, which differs from the line as surveys do: for a forecast.

        Returns
        -------
        tuple of float
            Lower and upper limit [m upslope].

        Raises
        ------
        InputMissing
            Too few surveys: limits over several surveys need three; one survey alone has its own.
        """
        chance, where = checked_chance(chance), self.front_m(year)
        count = len(self._years)
        if count == FEWEST_FOR_RATE or (coming and count < FEWEST_FOR_LIMITS):
            raise InputMissing(f"too few surveys: {count}", f"limits need {FEWEST_FOR_LIMITS}",
                               missing=["cover surveys"])
        scale = abs(self._scale_m / self._b)
        share = (self._at(year) - self._crossing) / self._b
        if count == 1:
            by_slope = self._slope_variance(share, np.ones(1))
            own = float(self._given_slope()[0, 0]) * scale**2
            return around(where, own, self._row_freedom, by_slope, self._row_freedom, chance)
        by_line = self._line_variance(1.0, year)
        if coming:
            by_line += self._line.left
        weights = 1.0 / count + (year - self._line.middle_year) * self._contrast()
        by_slope = self._slope_variance(share, weights)
        return around(where, by_line * scale**2, self._line.freedom, by_slope, self._row_freedom, chance)

    @property
    def _row_freedom(self) -> int:
        return max(self._looks.rows - 2 - int(self._looks.block.max()), 1)

    def _contrast(self) -> FloatArray:
        """Return what each survey's intercept adds to the slope of the line."""
        away = self._years - self._line.middle_year
        return np.asarray(away / float(away @ away)) if len(away) > 1 else np.zeros(1)

    def _given_slope(self) -> FloatArray:
        """Return the covariance of the intercepts when the hill's slope b is known."""
        count, C = len(self._years), self._fitted.covariance
        return np.asarray(C[:count, :count] - np.outer(C[:count, count], C[:count, count]) / C[count, count])

    def _line_variance(self, of_mean: float, year: float | None = None) -> float:
        """Return the variance of the line's slope (``of_mean`` 0) or of its height in a year (1), on the logit scale.

        What the surveys leave over the line holds their own noise. Where neighbouring surveys err alike (the front
        lies among the same rows) the line errs by more than that shows, and the excess is added.
        """
        contrast, count = self._contrast(), len(self._years)
        weights = contrast if year is None else of_mean / count + (year - self._line.middle_year) * contrast
        C = self._given_slope()
        away = np.column_stack([np.ones(count), self._years - self._line.middle_year])
        over = np.eye(count) - away @ np.linalg.pinv(away)
        expected = float(np.trace(over @ C)) / self._line.freedom
        square = float(weights @ weights)
        return self._line.left * square + max(0.0, float(weights @ C @ weights) - expected * square)

    def _slope_variance(self, share: float, weights: FloatArray) -> float:
        """Return the variance [m2] that the doubt about b gives to a sum of intercepts divided by b."""
        count, C = len(self._years), self._fitted.covariance
        moves = float(weights @ C[:count, count]) / C[count, count]
        return float(C[count, count]) * ((moves - share) / self._b * self._scale_m) ** 2
