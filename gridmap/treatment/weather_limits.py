"""In which weather a grower may spray: the limits off the label, and the usual ones, dated and with their source."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Final, Self

from gridmap.errors import InputRefused
from gridmap.treatment.settings import Typed, _typed

READ_ON: Final = dt.date(2026, 11, 25)


@dataclass(frozen=True)
class WeatherLimits(Typed):
    """Limits of the hour, as typed off the label in hand; `usual` has dated ones to be replaced.

    Parameters
    ----------
    least_wind_km_per_h, most_wind_km_per_h : float
        The label's restraint: not in less wind, not in more [km/h].
    careful_wind_km_per_h : float
        Good practice stays below this [km/h].
    least_depression_c, most_depression_c : float
        Wet-bulb depression that is preferred [degC].
    never_depression_c : float
        Wet-bulb depression over which spray is lost to the air [degC].
    most_temperature_c : float
        Not in hotter air [degC].
    rain_fast_hours : float
        Hours without rain that the label asks for afterwards [h].
    steady_wind_km_per_h : float
        Wind that, blowing all night, keeps air from lying in layers [km/h].

    Examples
    --------
    >>> WeatherLimits(most_wind_km_per_h=15).most_wind_km_per_h
    15.0
    >>> WeatherLimits(least_wind_km_per_h=20, most_wind_km_per_h=15)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Least wind is 20 km/h and most wind 15 km/h: the least can't be the greater one.
    """

    least_wind_km_per_h: float | None = _typed("the label's least wind, in km/h", "km/h", least=0, most=60)
    most_wind_km_per_h: float | None = _typed("the label's greatest wind, in km/h", "km/h", over=0, most=60)
    careful_wind_km_per_h: float | None = _typed("the wind from which you take care, in km/h", "km/h", over=0, most=60)
    least_depression_c: float | None = _typed("the least wet-bulb depression", "degC", least=0, most=20)
    most_depression_c: float | None = _typed("the greatest wet-bulb depression that is preferred", "degC", over=0,
                                             most=30)
    never_depression_c: float | None = _typed("the wet-bulb depression over which you never spray", "degC", over=0,
                                              most=30)
    most_temperature_c: float | None = _typed("the greatest temperature", "degC", over=0, most=50)
    rain_fast_hours: float | None = _typed("the hours without rain that the label asks for", "h", least=0, most=72)
    steady_wind_km_per_h: float | None = _typed("the night wind that keeps air mixed, in km/h", "km/h", over=0, most=60)

    def __post_init__(self) -> None:
        super().__post_init__()
        for low, high, words, unit in (
            ("least_wind_km_per_h", "most_wind_km_per_h", ("least wind", "most wind"), "km/h"),
            ("least_depression_c", "most_depression_c", ("least depression", "most depression"), "degC"),
            ("most_depression_c", "never_depression_c", ("most depression", "never-over depression"), "degC"),
        ):
            a, b = getattr(self, low), getattr(self, high)
            if a is not None and b is not None and a > b:
                raise InputRefused(f"{words[0]} is {a:g} {unit} and {words[1]} {b:g} {unit}",
                                   "the least can't be the greater one")

    @classmethod
    def usual(cls) -> Self:
        """Return the usual limits, as read on `READ_ON`; `SOURCES` says where. The label's own come first."""
        return cls(**{name: value for name, (value, _) in USUAL.items()})

    def filled(self) -> tuple[Self, tuple[str, ...]]:
        """Put the usual limit wherever none was typed; tell which were put.

        Examples
        --------
        >>> limits, usual = WeatherLimits(most_wind_km_per_h=15).filled()
        >>> limits.most_wind_km_per_h, "most_wind_km_per_h" in usual, "least_wind_km_per_h" in usual
        (15.0, False, True)
        """
        put = tuple(name for name in USUAL if getattr(self, name) is None)
        return dataclasses.replace(self, **{name: USUAL[name][0] for name in put}), put


#: The usual limits, each with where it was read. None is a law of nature: labels differ and change, and the one on the
#: drum binds. The rain-fast time has no usual value; it is the label's alone.
USUAL: Final[dict[str, tuple[float, str]]] = {
    "least_wind_km_per_h": (3.0, "label wording of 2010 (AWRI eBulletin, 24 February 2014); copy it off your label"),
    "most_wind_km_per_h": (20.0, "label wording of 2010 (AWRI eBulletin, 24 February 2014); copy it off your label"),
    "careful_wind_km_per_h": (15.0, "good practice 3 to 15 km/h, from memory"),
    "least_depression_c": (2.0, "Bureau of Meteorology guidance, as quoted in 2018"),
    "most_depression_c": (8.0, "Bureau of Meteorology guidance, as quoted in 2018"),
    "never_depression_c": (10.0, "Bureau of Meteorology guidance, as quoted in 2018"),
    "most_temperature_c": (28.0, "a general guide of weak source; an example label says 27 degC"),
    "steady_wind_km_per_h": (11.0, "IREC newsletter 197 (2017): over 11 km/h all night"),
}
