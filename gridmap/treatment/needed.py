"""What each step needs from the grower, and what of it has not been typed in."""

from __future__ import annotations

import dataclasses
from typing import Final

from gridmap.checks import one_of
from gridmap.errors import InputMissing
from gridmap.treatment.settings import Label, Prices, Sprayer, Threshold, Typed

_LABEL_RATE: Final = ("product", "rate", "rate_unit", "rate_basis")
#: What each step can't do without, by the setting that holds it.
NEEDED: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "pressure": {"threshold": ("per_beat", "counts", "standard_taps")},
    "decision": {
        "threshold": ("per_beat", "counts", "standard_taps"),
        "sprayer": ("method", "tank_l", "flow_l_per_min", "litres_per_tree", "minutes_per_run_start",
                    "minutes_per_refill"),
        "label": _LABEL_RATE,
        "prices": ("currency", "labour_per_hour", "product_per_unit", "water_per_m3", "crop_kg_per_tree",
                   "crop_price_per_kg", "share_lost_if_left"),
    },
    "mix": {"label": _LABEL_RATE},
    "loads": {"sprayer": ("tank_l",)},
}
NEEDED["costs"] = {name: NEEDED["decision"][name] for name in ("sprayer", "label", "prices")}
_KINDS: Final[dict[str, type[Typed]]] = {"threshold": Threshold, "sprayer": Sprayer, "label": Label, "prices": Prices}


def missing(
    step: str, *, threshold: Threshold | None = None, sprayer: Sprayer | None = None, label: Label | None = None,
    prices: Prices | None = None,
) -> list[str]:
    """Name, in words, everything that a step needs and that the grower has not typed in.

    Parameters
    ----------
    step : {"pressure", "decision", "costs", "mix", "loads"}
        What is about to be worked out.
    threshold, sprayer, label, prices : optional
        What has been typed so far.

    Returns
    -------
    list of str
        Empty when nothing is missing.

    Examples
    --------
    >>> missing("loads")
    ['what the tank holds, in litres (sprayer: tank_l)']
    >>> missing("loads", sprayer=Sprayer(tank_l=400))
    []
    """
    one_of(step, NEEDED, "step")
    given = {"threshold": threshold, "sprayer": sprayer, "label": label, "prices": prices}
    words: list[str] = []
    for name, needed in NEEDED[step].items():
        described = {item.name: item.metadata["words"] for item in dataclasses.fields(_KINDS[name])}
        words += [f"{described[item]} ({name}: {item})" for item in needed if getattr(given[name], item, None) is None]
    return words


def require(
    step: str, *, threshold: Threshold | None = None, sprayer: Sprayer | None = None, label: Label | None = None,
    prices: Prices | None = None,
) -> None:
    """Stop, naming all that is missing, when a step can't be done with what was typed; nothing is ever assumed.

    Raises
    ------
    InputMissing
        Its ``missing`` holds the words of `missing`.

    Examples
    --------
    >>> require("loads", sprayer=Sprayer())
    Traceback (most recent call last):
    gridmap.errors.InputMissing: For the loads 1 thing has not been typed in: what the tank holds, in litres (sprayer:
    tank_l). Type it in; nothing is assumed.
    """
    words = missing(step, threshold=threshold, sprayer=sprayer, label=label, prices=prices)
    if words:
        many = "1 thing has" if len(words) == 1 else f"{len(words)} things have"
        raise InputMissing(f"for the {step} {many} not been typed in", "; ".join(words),
                           f"type {'it' if len(words) == 1 else 'them'} in; nothing is assumed", missing=words)
