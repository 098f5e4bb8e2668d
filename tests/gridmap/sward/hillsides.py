"""Invented hillsides whose truth is known: rows that differ for good, surveys that differ as a whole, patchy looks."""

from __future__ import annotations

from typing import Any

import numpy as np

YEARS = (0.0, 2.0, 3.0, 5.0, 6.0, 8.0)


def hillside(
    seed: int, *, rows: int = 40, years: tuple[float, ...] = YEARS, advance: float = 8.0, of_row: float = 0.5,
    of_survey: float = 0.3, of_row_and_survey: float = 0.2, points: int = 20, alike: float = 0.05, low: float = 0.0,
    high: float = 1.0,
) -> dict[str, Any]:
    """Return the looks of one hillside (240 m; front at 60 m in year 0; beta-binomial hits among points)."""
    chance = np.random.default_rng(seed)
    upslope, row_effect = np.sort(chance.uniform(0.0, 240.0, rows)), chance.normal(0.0, of_row, rows)
    parts = []
    for year in years:
        eta = -(upslope - 60.0 - advance * year) / 18.0 + row_effect + chance.normal(0.0, of_survey)
        share = low + (high - low) / (1.0 + np.exp(-(eta + chance.normal(0.0, of_row_and_survey, rows))))
        scale = (1.0 - alike) / alike
        patchy = chance.beta(np.maximum(share * scale, 1e-9), np.maximum((1.0 - share) * scale, 1e-9))
        parts.append(chance.binomial(points, patchy) / points)
    return {
        "upslope_m": np.tile(upslope, len(years)), "year": np.repeat(np.asarray(years) + 2018.0, rows),
        "grass": np.concatenate(parts), "weight": np.full(rows * len(years), float(points)),
        "row": np.tile(np.arange(rows), len(years)).tolist(),
    }
