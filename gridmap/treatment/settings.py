"""What only the grower can know: threshold, sprayer, label and prices, each as it was typed in."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal, Self

from gridmap.checks import number, one_of
from gridmap.errors import InputRefused

# Only the hand-gun (tree by tree) so far; an air-blast sprayer works by alley and comes with its own runs.
METHODS: Final = ("hand_gun",)
RATE_UNITS: Final = ("mL", "L", "g", "kg")
RATE_BASES: Final = ("per_100_l", "per_ha")
END_USES: Final = ("table", "oil")
COUNTED: Final = ("nymphs", "nymphs_and_adults")
#: The unit in which a product is bought, and how many of it one unit of the label's rate is.
BOUGHT_IN: Final = {"mL": ("L", 0.001), "L": ("L", 1.0), "g": ("kg", 0.001), "kg": ("kg", 1.0)}


def _typed(words: str, unit: str = "", **limits: float | tuple[str, ...]) -> Any:
    """Make a field that is None until the grower has typed it in; ``words`` ask for it."""
    return field(default=None, metadata={"words": words, "unit": unit, **limits})


@dataclass(frozen=True)
class Typed:
    """Fields checked on the way in, and written to and read from plain values."""

    def __post_init__(self) -> None:
        for item in dataclasses.fields(self):
            value, rules = getattr(self, item.name), item.metadata
            if value is None:
                continue
            if isinstance(value, str) and not value.strip():
                object.__setattr__(self, item.name, None)
            elif "allowed" in rules:
                one_of(value, rules["allowed"], self._label(item.name))
            elif "date" in rules:
                object.__setattr__(self, item.name, _date(value, self._label(item.name)))
            elif "unit" in rules and "text" not in rules:
                limits = {key: rules[key] for key in ("over", "least", "most") if key in rules}
                object.__setattr__(self, item.name, number(value, self._label(item.name), rules["unit"], **limits))

    @classmethod
    def _label(cls, name: str) -> str:
        return f"{cls.__name__.lower()} {name}"

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Self:
        """Read from plain values (numbers, words, ISO 8601 dates); what is absent or None has not been typed."""
        known = [item.name for item in dataclasses.fields(cls)]
        unknown = [name for name in values if name not in known]
        if unknown:
            raise InputRefused(f"{cls.__name__.lower()} has no field {', '.join(map(repr, unknown))}",
                               f"its fields are {', '.join(known)}")
        return cls(**{name: value for name, value in values.items() if value is not None})

    def to_dict(self) -> dict[str, Any]:
        """Write as plain values; a date becomes its ISO 8601 form, what was not typed stays None."""
        values = dataclasses.asdict(self)
        return {name: value.isoformat() if isinstance(value, dt.date) else value for name, value in values.items()}


@dataclass(frozen=True)
class Threshold(Typed):
    """The count at which the grower wants to act.

    Parameters
    ----------
    per_beat : float
        Insects per standard beat over which a tree counts as over threshold [per beat].
    counts : {"nymphs", "nymphs_and_adults"}
        What is counted.
    standard_taps : float
        Taps of a standard beat.

    Notes
    -----
    There is no default: no action threshold is published for the olive lace bug.

    Examples
    --------
    >>> Threshold(per_beat=5, counts="nymphs", standard_taps=3).to_dict()
    {'per_beat': 5.0, 'counts': 'nymphs', 'standard_taps': 3.0}
    >>> Threshold().per_beat is None
    True
    """

    per_beat: float | None = _typed("the action threshold, in insects per standard beat", over=0)
    counts: Literal["nymphs", "nymphs_and_adults"] | None = _typed(
        "what the threshold counts: nymphs, or nymphs and adults", allowed=COUNTED)
    standard_taps: float | None = _typed("how many taps a standard beat has", least=1)


@dataclass(frozen=True)
class Sprayer(Typed):
    """The sprayer as the grower measured it.

    Parameters
    ----------
    name : str
        What the grower calls it.
    method : {"hand_gun"}
        How it works: tree by tree with a hand-gun.
    tank_l : float
        What the tank holds [L].
    flow_l_per_min : float
        Flow while spraying, from a timed catch [L/min].
    litres_per_tree : float
        Litres to run-off, measured on a few trees [L per tree].
    minutes_per_run_start : float
        Minutes to begin a run: walk there, pull the hose, open [min].
    minutes_per_refill : float
        Minutes to fill the tank again, the way there and back with it [min].
    minutes_between_trees : float, optional
        Minutes to move from one tree to the next with the gun shut [min]; left out of the cost, and said, where not
        typed.
    speed_km_per_h : float, optional
        Travel speed along the row, from a timed distance [km/h]; only for the area rate.
    litres_per_m3_box, litres_per_m3_ellipsoid : float, optional
        The grower's own wetting coefficient, measured to run-off, for a canopy taken as a box or as an ellipsoid
        [L/m3].

    Examples
    --------
    >>> Sprayer(name="trailer", method="hand_gun", tank_l="400").tank_l
    400.0
    >>> Sprayer(tank_l=0)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Sprayer tank_l is 0 L: it must be over 0 L.
    """

    name: str | None = _typed("the sprayer's name", text=("any",))
    method: str | None = _typed("how the sprayer works (hand_gun)", allowed=METHODS)
    tank_l: float | None = _typed("what the tank holds, in litres", "L", over=0)
    flow_l_per_min: float | None = _typed("the gun's flow from a timed catch, in L/min", "L/min", over=0)
    litres_per_tree: float | None = _typed("litres per tree to run-off, measured on a few trees", "L", over=0)
    minutes_per_run_start: float | None = _typed("minutes it takes to begin a run", "min", least=0)
    minutes_per_refill: float | None = _typed("minutes it takes to refill the tank", "min", least=0)
    minutes_between_trees: float | None = _typed("minutes from one tree to the next", "min", least=0)
    speed_km_per_h: float | None = _typed("travel speed from a timed distance, in km/h", "km/h", over=0)
    litres_per_m3_box: float | None = _typed("your wetting coefficient for a box canopy, in L/m3", "L/m3", over=0)
    litres_per_m3_ellipsoid: float | None = _typed(
        "your wetting coefficient for an ellipsoid canopy, in L/m3", "L/m3", over=0)


@dataclass(frozen=True)
class Label(Typed):
    """What the grower copied off label and permit. They are the law; this is only a copy.

    Parameters
    ----------
    product : str
        Name on the drum.
    rate : float
        Rate on the label, in ``rate_unit`` per 100 L of dilute spray or per hectare.
    rate_unit : {"mL", "L", "g", "kg"}
        Unit of the rate.
    rate_basis : {"per_100_l", "per_ha"}
        What the rate is for.
    concentrate_factor : float, optional
        Dilute litres over litres really sprayed; 1 is a dilute spray by definition.
    highest_concentrate_factor : float, optional
        Highest one that the label allows.
    withholding_days : float, optional
        Days from the last spray to harvest [days].
    reentry, permit, setbacks : str, optional
        In the label's own words.
    expires, typed_on : date or ISO 8601 str, optional
        Last day on which the permit allows it; when the grower typed the rate.
    states, end_uses : str, optional
        States it is for; what the crop may be for (table, oil). Lists with commas.
    batch, mode_of_action : str, optional
        Batch on the drum; mode-of-action group.
    most_per_season, most_in_a_row : float, optional
        Applications allowed in a season; in a row before another mode-of-action group.
    least_interval_days, grazing_days : float, optional
        Days between two applications; from the last one to grazing [days].
    least_water_l_per_ha : float, optional
        Least water on a hectare [L/ha].

    Examples
    --------
    >>> Label(product="INVENTED PRODUCT, not for use", rate=500, rate_unit="mL", rate_basis="per_100_l").rate_words()
    '500 mL per 100 L'
    >>> Label().rate_words()
    'no rate typed'
    """

    product: str | None = _typed("the product's name on the drum", text=("any",))
    rate: float | None = _typed("the rate on the label", over=0)
    rate_unit: str | None = _typed("the unit of the label's rate (mL, L, g or kg)", allowed=RATE_UNITS)
    rate_basis: str | None = _typed("whether the label's rate is per 100 L or per hectare", allowed=RATE_BASES)
    concentrate_factor: float = field(default=1.0, metadata={"words": "the concentrate factor", "unit": "", "least": 1})
    highest_concentrate_factor: float | None = _typed("the label's highest concentrate factor", least=1)
    withholding_days: float | None = _typed("days from the last spray to harvest", "days", least=0)
    reentry: str | None = _typed("the re-entry period", text=("any",))
    permit: str | None = _typed("the permit's number", text=("any",))
    setbacks: str | None = _typed("the label's setbacks", text=("any",))
    states: str | None = _typed("the states it is for", text=("any",))
    end_uses: str | None = _typed("the end uses it is for (table, oil)", text=("any",))
    batch: str | None = _typed("the batch on the drum", text=("any",))
    mode_of_action: str | None = _typed("the mode-of-action group", text=("any",))
    most_per_season: float | None = _typed("the most applications in a season", "applications", least=1)
    most_in_a_row: float | None = _typed("the most applications in a row of one group", "applications", least=1)
    least_interval_days: float | None = _typed("the least days between two applications", "days", least=0)
    grazing_days: float | None = _typed("days from the last spray to grazing", "days", least=0)
    least_water_l_per_ha: float | None = _typed("the least water on a hectare", "L/ha", over=0)
    expires: dt.date | None = field(default=None, metadata={"words": "when the permit expires", "date": True})
    typed_on: dt.date | None = field(default=None, metadata={"words": "when the rate was copied", "date": True})

    def __post_init__(self) -> None:
        super().__post_init__()
        for use in (part.strip() for part in (self.end_uses or "").split(",") if part.strip()):
            one_of(use, END_USES, "end use")
        highest = self.highest_concentrate_factor
        if highest is not None and self.concentrate_factor > highest:
            raise InputRefused(f"concentrate factor is {self.concentrate_factor:g}",
                               f"the label allows at most {highest:g}", "spray more water")

    def rate_words(self) -> str:
        """Say the rate as it was typed."""
        if self.rate is None or self.rate_unit is None or self.rate_basis is None:
            return "no rate typed"
        return f"{self.rate:g} {self.rate_unit} per {'100 L' if self.rate_basis == 'per_100_l' else 'hectare'}"


@dataclass(frozen=True)
class Prices(Typed):
    """The grower's own prices, and the loss in words that a grower can answer.

    Parameters
    ----------
    currency : str
        ISO 4217 code or what the grower calls it.
    labour_per_hour : float
        An hour's work [currency/h].
    product_per_unit : float
        A litre, or a kilogram, of product [currency/L or currency/kg].
    water_per_m3 : float
        A cubic metre of water; 0 where it costs nothing [currency/m3].
    crop_kg_per_tree : float
        Crop of one tree [kg].
    crop_price_per_kg : float
        What a kilogram brings [currency/kg].
    share_lost_if_left : float
        Share of that crop lost when a tree over threshold is left, 0 to 1.

    Examples
    --------
    >>> Prices(share_lost_if_left=30)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Prices share_lost_if_left is 30: it must be at most 1.
    >>> Prices().labour_per_hour is None
    True
    """

    currency: str | None = _typed("the currency", text=("any",))
    labour_per_hour: float | None = _typed("what an hour's work costs", least=0)
    product_per_unit: float | None = _typed("what a litre, or a kilogram, of the product costs", least=0)
    water_per_m3: float | None = _typed("what a cubic metre of water costs (0 where nothing)", least=0)
    crop_kg_per_tree: float | None = _typed("the crop of one tree, in kilograms", "kg", least=0)
    crop_price_per_kg: float | None = _typed("what a kilogram of crop brings", least=0)
    share_lost_if_left: float | None = _typed(
        "the share of its crop that a tree over threshold loses when it is left, 0 to 1", least=0, most=1)


def _date(value: object, name: str) -> dt.date:
    """Return a calendar day."""
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(str(value))
    except ValueError:
        raise InputRefused(f"{name} is {value!r}", "it must be a day such as 2026-11-03") from None
