"""When to beat again, and when the label allows a second time: two dates, and the count decides."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

from gridmap.checks import FloatArray, number
from gridmap.errors import InputRefused
from gridmap.words import date_words

#: The usual interval (common practice, no source): contact sprays reach nymphs and adults, not eggs in the leaf, so
#: that a second beat waits for the hatch.
USUAL_DAYS: Final = 14.0
#: A tingid whose development is published; shown as exactly that, never as the olive's own.
COMPARABLE: Final = ("azalea lace bug, Stephanitis pyrioides: eggs need 213.1 degree-days over 10.2 degC (OSU "
                     "Extension EM 9066, 2013); no figure is published for the olive lace bug")
COMPARABLE_EGG: Final = (10.2, 213.1)


@dataclass(frozen=True)
class FollowUp:
    """The dates after a treatment.

    Parameters
    ----------
    beat_again : date
        The grower's own interval: the day to count again.
    allowed_from : date or None
        First day on which the label's least interval allows it again.
    hatch : date or None
        Day on which a comparable species' eggs would have hatched; delays nothing.
    words : tuple of str
    """

    beat_again: dt.date
    allowed_from: dt.date | None
    hatch: dt.date | None
    words: tuple[str, ...]


def follow_up(
    treated: dt.date, *, interval_days: float | None = None, least_interval_days: float | None = None,
    daily_degree_days: FloatArray | None = None, egg_degree_days: float = COMPARABLE_EGG[1],
) -> FollowUp:
    """Tell when to beat again and when the label would allow a second spray.

    Parameters
    ----------
    treated : date
        Local day of the treatment.
    interval_days : float, optional
        The grower's own interval [days]; the usual two weeks where none was typed, and that is said.
    least_interval_days : float, optional
        The label's least days between two applications [days].
    daily_degree_days : array of shape (days,), optional
        Degree-days of the days after the treatment, the first being the day itself, for the comparable species.
    egg_degree_days : float
        What its eggs need [degC d].

    Returns
    -------
    FollowUp

    Notes
    -----
    Dates are local; intervals count dates, whatever clocks do. The count decides whether a second spray is needed; the
    comparable species' date is shown and delays nothing.

    Examples
    --------
    >>> found = follow_up(dt.date(2026, 11, 3), interval_days=12, least_interval_days=14)
    >>> found.beat_again, found.allowed_from, found.hatch
    (datetime.date(2026, 11, 15), datetime.date(2026, 11, 17), None)
    """
    days = USUAL_DAYS
    if interval_days is not None:
        days = number(interval_days, "follow-up interval", "days", over=0, most=365)
    again = treated + dt.timedelta(days=math.ceil(days))
    whose = ("two weeks, the usual interval (common practice, no source); type your own" if interval_days is None
             else f"{days:g} days, your own interval")
    words = [f"Beat the treated trees and their neighbours again on {date_words(again)} ({whose}). The count decides "
             "whether to spray again."]
    allowed = None
    if least_interval_days is None:
        words.append("The label's least interval is not typed: read it before a second spray.")
    else:
        least = math.ceil(number(least_interval_days, "least interval", "days", least=0))
        allowed = treated + dt.timedelta(days=least)
        words.append(f"By what you typed off the label a second spray is allowed from {date_words(allowed)}.")
    hatch = None
    if daily_degree_days is not None:
        hatch = _reached(treated, daily_degree_days, number(egg_degree_days, "degree-days of eggs", over=0))
        when = "not within the weather given" if hatch is None else f"by {date_words(hatch)}"
        words.append(f"For comparison only, it delays nothing: eggs laid on the day would hatch {when} if they were "
                     f"those of a comparable species ({COMPARABLE}).")
    return FollowUp(again, allowed, hatch, tuple(words))


def _reached(start: dt.date, daily: FloatArray, needed: float) -> dt.date | None:
    """Return the day on which the sum of degree-days reaches what is needed."""
    total = 0.0
    for day, value in enumerate(daily):
        if not math.isfinite(value) or value < 0:
            raise InputRefused(f"degree-days of day {day + 1} are {value:g}", "they must be 0 or more, and known")
        total += float(value)
        if total >= needed:
            return start + dt.timedelta(days=day)
    return None
