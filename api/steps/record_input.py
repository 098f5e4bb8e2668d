"""What a grower writes into a record from a command line or a form, brought to its kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gridmap.checks import number
from gridmap.errors import InputRefused
from gridmap.treatment import FIELDS

_NUMBERS: Final = {
    "run": ("run", "", 1.0, 100_000.0), "position": ("tree", "", 0.0, 100_000.0),
    "to_position": ("last tree", "", 0.0, 100_000.0), "load": ("load", "", 1.0, 100_000.0),
    "litres": ("litres", "L", 0.0, 1_000_000.0), "mix_l": ("mix", "L", 0.0, 1_000_000.0),
    "wind_km_per_h": ("wind", "km/h", 0.0, 150.0), "temperature_c": ("temperature", "degC", -30.0, 55.0),
    "humidity_pct": ("humidity", "percent", 0.0, 100.0), "rain_mm": ("rain", "mm", 0.0, 500.0),
}
_WORDS: Final = ("wind_from", "reason", "words", "told", "field", "value", "disposal")
_MOST_LETTERS = 2000


def read_values(given: Mapping[str, Any]) -> dict[str, Any]:
    """Bring what was written to numbers and words.

    Parameters
    ----------
    given : mapping
        Name to what was written: run, position, to_position, load, litres, mix_l, wind_km_per_h, wind_from,
        temperature_c, humidity_pct, rain_mm, reason, words, told, disposal; field and value together.

    Examples
    --------
    >>> read_values({"run": "3", "litres": "55,5"})
    {'run': 3, 'litres': 55.5}
    >>> read_values({"smell": "bad"})
    Traceback (most recent call last):
    gridmap.errors.InputRefused: 'smell' is no part of a record: write run, position, to_position, ...
    """
    found: dict[str, Any] = {}
    for name, value in given.items():
        if name in _NUMBERS:
            words, unit, least, most = _NUMBERS[name]
            text = value.replace(",", ".") if isinstance(value, str) else value
            read = number(text, words, unit, least=least, most=most)
            found[name] = int(read) if name in ("run", "position", "to_position", "load") else read
            if name in ("run", "position", "to_position", "load") and found[name] != read:
                raise InputRefused(f"{words} is {value}", "it must be a whole number")
        elif name in _WORDS:
            if not isinstance(value, str) or len(value) > _MOST_LETTERS:
                raise InputRefused(f"{name} is no text, or over {_MOST_LETTERS} letters", "it must be words")
            found[name] = value.strip()
        else:
            raise InputRefused(f"{name!r} is no part of a record", f"write {', '.join((*_NUMBERS, *_WORDS))}")
    if ("field" in found) != ("value" in found):
        raise InputRefused("a field of the record comes without its value, or a value without its field",
                           "write both", "for instance field=applicator_name value=NAME")
    if found.get("field") is not None and found["field"] not in FIELDS:
        raise InputRefused(f"field is {found['field']!r}", f"it must be one of {', '.join(FIELDS)}")
    return found
