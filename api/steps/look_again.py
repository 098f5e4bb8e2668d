"""Looking again before deciding, as an option with its cost: which trees, what the work costs, what it may save."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from api.steps.pressure import Pressure
from api.steps.where_next import LookNext, label, look_next
from gridmap.treatment import Comparison, Costs

#: A pause over this between two beats is no walking.
LONGEST_MINUTES: Final = 30.0
#: Fewer steps from beat to beat tell no pace.
LEAST_STEPS: Final = 5
MINUTES_PER_HOUR: Final = 60.0
TREES: Final = 20


@dataclass(frozen=True)
class LookAgain:
    """Looking again at some trees of the walked blocks before anything is sprayed.

    Parameters
    ----------
    look : LookNext
        Which trees, and why.
    minutes_per_beat : float or None
        Pace of the walk that the map is of [min]; None where its counts carry no times.
    hours, spend : float or None
        Work of looking and what it costs [h, money].
    saving : float
        What it is expected to save, its own work not taken off [money].
    expected_cost : float or None
        Best other option, less the saving, with the work [money].
    currency : str
    """

    look: LookNext
    minutes_per_beat: float | None
    hours: float | None
    spend: float | None
    saving: float
    expected_cost: float | None
    currency: str

    @property
    def pays(self) -> bool:
        """Whether looking is expected to save more than it costs; False where its cost is not known."""
        return self.spend is not None and self.saving > self.spend

    def words(self) -> str:
        """Say whether to look again first."""
        number = len(self.look.trees)
        more = self.look.more
        if not number or more is None or not more.would_change:
            return f"Look again first? {self.look.words[0]}"
        named = ", ".join(label(line) for line in self.look.trees.head(5).to_dict("records"))
        rest = f" and {number - 5} more" if number > 5 else ""
        save = f"{self.saving:,.0f} {self.currency}"
        which = f"looking again at {number} trees ({named}{rest})"
        if self.spend is None or self.hours is None:
            return (
                f"Look again first? {which.capitalize()} is expected to save {save} before its own work, which the "
                "counts don't tell: they carry no times."
            )
        cost = f"{self.spend:,.0f} {self.currency} ({self.hours:.1f} h at the pace of the walk)"
        verdict = "Look again first" if self.pays else "Don't look again first"
        return f"{verdict}: {which} costs {cost} and is expected to save {save}."


def weigh_look_again(result: Pressure, costs: Costs, comparison: Comparison, *, labour_per_hour: float) -> LookAgain:
    """Put looking again beside the other options.

    Parameters
    ----------
    result : Pressure
        The map.
    costs : Costs
        The grower's costs.
    comparison : Comparison
        The other options.
    labour_per_hour : float
        What an hour's work costs [money/h].

    Notes
    -----
    Expected cost = the best other option's - saving + work. The saving is that of `gridmap.pressure.worth_of_more` over
    the trees of walked blocks that may be sprayed, in costs of spraying one tree, beginning a run left aside; it is
    never taken for more than the best option's whole cost. The pace is the median time from one beat to the next on
    this walk.
    """
    look = look_next(result, n=TREES, known_only=True)
    table = comparison.options
    best = float(table["expected_cost"].min())
    each = float(costs.cost_per_tree.mean())
    saving = 0.0 if look.more is None else min(look.more.saving * each, best)
    pace = minutes_per_beat(result.grove.counts)
    if pace is None:
        return LookAgain(look, None, None, None, saving, None, comparison.currency)
    hours = pace * len(look.trees) / MINUTES_PER_HOUR
    spend = hours * labour_per_hour
    return LookAgain(look, pace, hours, spend, saving, best - saving + spend, comparison.currency)


def minutes_per_beat(counts: pd.DataFrame) -> float | None:
    """Return the median time from one beat to the next of the same observer [min]; None where too few tell it.

    Examples
    --------
    >>> times = pd.date_range("2026-02-03T08:00", periods=7, freq="3min", tz="UTC")
    >>> minutes_per_beat(pd.DataFrame({"time": times, "observer": "A"}))
    3.0
    >>> minutes_per_beat(pd.DataFrame({"time": [pd.NaT] * 7, "observer": "A"})) is None
    True
    """
    told = counts[counts["time"].notna()]
    steps: list[float] = []
    for _, own in told.groupby(told["observer"].fillna("")):
        steps += (pd.to_datetime(own["time"], utc=True).sort_values().diff().dt.total_seconds() / 60.0).tolist()
    walking = [step for step in steps if 0 < step <= LONGEST_MINUTES]
    return float(np.median(walking)) if len(walking) >= LEAST_STEPS else None


def look_again_figures(again: LookAgain | None) -> dict[str, Any] | None:
    """Return every figure of looking again."""
    if again is None:
        return None
    return {
        "trees": [{"label": label(line), **line} for line in again.look.trees.to_dict("records")],
        "minutes_per_beat": again.minutes_per_beat,
        "hours": again.hours,
        "spend": again.spend,
        "expected_saving": again.saving,
        "expected_cost": again.expected_cost,
        "would_change": again.look.more is not None and again.look.more.would_change,
        "pays": again.pays,
        "sentence": again.words(),
    }
