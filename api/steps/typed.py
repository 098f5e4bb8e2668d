"""What the grower typed, as a form shows it: every field with its words, unit and what it may be, and its version."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from api.steps.facts import KINDS, missing_facts
from api.steps.facts import set_facts as keep_facts
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.store import Grove
from api.store.refusals import NotThere


def facts_table(where: Path) -> dict[str, Any]:
    """Return threshold, sprayer, label and prices as they were typed, and in words what is missing."""
    with open_grove(where, read_only=True) as grove:
        return plain({**{name: _values(grove, name) for name in KINDS}, "missing": missing_facts(grove.settings())})


def facts_form(where: Path, name: str) -> dict[str, Any]:
    """Return one of them with what each field asks for."""
    if name not in KINDS:
        raise NotThere(f"there are no facts called {name!r}", f"there are {', '.join(KINDS)}")
    fields = [
        {
            "field": item.name,
            "words": item.metadata.get("words", item.name),
            "unit": item.metadata.get("unit", ""),
            "allowed": list(item.metadata.get("allowed", ())),
        }
        for item in dataclasses.fields(KINDS[name])
    ]
    with open_grove(where, read_only=True) as grove:
        return plain({"name": name, **_values(grove, name), "fields": fields})


def _values(grove: Grove, name: str) -> dict[str, Any]:
    held = grove.setting(name)
    values = KINDS[name].from_dict(held).to_dict() if held else None
    return {"values": values, "version": str(grove.version("setting", name))}


def change_facts(where: Path, name: str, typed: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Keep what was typed; what is left out stays, None takes a field back."""
    if name not in KINDS:
        raise NotThere(f"there are no facts called {name!r}", f"there are {', '.join(KINDS)}")
    cleared = [field for field, value in typed.items() if value is None]
    if not cleared:
        return keep_facts(where, name, typed, who=who)
    with open_grove(where) as grove:
        held = {field: value for field, value in (grove.setting(name) or {}).items() if field not in cleared}
        given = {field: value for field, value in typed.items() if value is not None}
        values = KINDS[name].from_dict({**held, **given}).to_dict()
        grove.set_setting(name, values, who=who)
        return Outcome(said=(f"Kept for the {name}.",), figures={"missing": missing_facts(grove.settings())})
