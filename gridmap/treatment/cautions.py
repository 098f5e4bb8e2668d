"""The cautions that stand wherever a treatment, a mix or a date is shown."""

from __future__ import annotations

from typing import Final

from gridmap.checks import one_of
from gridmap.treatment.settings import Label
from gridmap.words import date_words

#: By place; two sentences at most, at the hand. Common practice, no source: what binds is the label.
CAUTIONS: Final[dict[str, tuple[str, ...]]] = {
    "decision": ("The label and permit are the law; local codes and a licensed adviser come before this tool.",
                 "That pests may spread is not costed."),
    "zone": ("Keep to the label's own setbacks where they are wider than yours: water, hives, houses and neighbours.",
             "Walk the zone's edge before you spray; positions can be metres off."),
    "mix": ("Read the label again before you pour: the label and permit are the law.",
            "Wear the protective equipment that the label names, for pouring too."),
    "drift": ("Do not spray where wind carries it to water, bees, houses or neighbours, nor in an inversion.",
              "Tell beekeepers and neighbours before you start."),
    "date": ("Keep people out until the label's re-entry period is over.",
             "Harvest and grazing wait for the label's withholding period."),
    "run_sheet": ("The label and permit are the law; wear the protective equipment that they name.",
                  "Stop when wind carries spray to water, bees, houses or neighbours; keep re-entry and withholding."),
}


def cautions(place: str, label: Label | None = None) -> tuple[str, ...]:
    """Return the cautions for one place, with the grower's own label facts where they were typed.

    Parameters
    ----------
    place : {"decision", "zone", "mix", "drift", "date", "run_sheet"}
        Where they are to stand.
    label : Label, optional
        As typed.

    Returns
    -------
    tuple of str
        One or two sentences.

    Examples
    --------
    >>> label = Label(product="x", rate=500, rate_unit="mL", rate_basis="per_100_l", typed_on="2026-11-03")
    >>> cautions("mix", label)[0]
    'Before you pour: you typed 500 mL per 100 L on 3 November 2026; read it off the label again, the label is the law.'
    >>> cautions("mix")[0]
    'Read the label again before you pour: the label and permit are the law.'
    """
    first, second = CAUTIONS[one_of(place, CAUTIONS, "place")]
    if label is None:
        return first, second
    if place == "mix" and label.rate is not None:
        day = f" on {date_words(label.typed_on)}" if label.typed_on else ""
        first = (f"Before you pour: you typed {label.rate_words()}{day}; read it off the label again, "
                 "the label is the law.")
    if place == "date" and label.reentry:
        first = f"Keep people out until re-entry is allowed; you typed: {label.reentry}."
    if place == "date" and label.withholding_days is not None:
        second = (f"Harvest waits for the withholding period; you typed {label.withholding_days:g} days from the last "
                  "spray, the label decides.")
    return first, second
