"""What only the grower knows: threshold, sprayer, label, prices. Kept as typed, checked, never assumed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from api.steps.outcome import Outcome
from api.store import Grove, open_grove
from gridmap.errors import FileRefused, InputRefused
from gridmap.treatment import Label, Prices, Sprayer, Threshold, missing

KINDS: dict[str, type[Threshold | Sprayer | Label | Prices]] = {
    "threshold": Threshold,
    "sprayer": Sprayer,
    "label": Label,
    "prices": Prices,
}
MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Facts:
    """The grower's own figures; a part that was never typed is empty, not guessed."""

    threshold: Threshold
    sprayer: Sprayer
    label: Label
    prices: Prices


def facts_of(settings: Mapping[str, Mapping[str, Any]]) -> Facts:
    """Read the facts out of the grove's settings."""
    return Facts(**{name: kind.from_dict(settings.get(name, {})) for name, kind in KINDS.items()})  # type: ignore[arg-type]


def missing_facts(settings: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Name in words what a zone and its mix still lack."""
    facts = facts_of(settings)
    return missing("decision", threshold=facts.threshold, sprayer=facts.sprayer, label=facts.label, prices=facts.prices)


def set_facts(path: Path, name: str, typed: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Keep what the grower typed; what was left out stays as it was.

    Parameters
    ----------
    path : Path
        Grove file.
    name : {"threshold", "sprayer", "label", "prices"}
        Which part.
    typed : mapping
        Fields of `gridmap.treatment.Threshold`, `Sprayer`, `Label` or `Prices`; None is left out.
    who : str
        For the history.
    """
    given = {field: value for field, value in typed.items() if value is not None}
    if not given:
        raise InputRefused(
            f"nothing was typed for the {name}", "at least one figure must be given", "see --help for their names"
        )
    with open_grove(path) as grove:
        values = _merged(grove, name, given)
        grove.set_setting(name, values, who=who)
        lacks = missing_facts(grove.settings())
    shown = ", ".join(f"{field} {value}" for field, value in values.items() if value is not None)
    said = [f"Kept for the {name}: {shown}."]
    if name == "threshold":
        said.append("This number is yours. None is published for olive lace bug.")
    if name == "label":
        said.append("The label and the permit are the law; this is only a copy of them.")
    return Outcome(said=tuple(said), figures={name: values, "missing": lacks})


def import_facts(path: Path, file: Path, *, who: str = "grower") -> Outcome:
    """Read threshold, sprayer, label and prices from a JSON file; other parts of the file are passed over."""
    content = _read_json(file)
    content = content.get("facts", content)
    parts = {name: content[name] for name in KINDS if isinstance(content.get(name), dict) and content[name]}
    if not parts:
        raise FileRefused(
            f"{file.name} holds none of {', '.join(KINDS)}",
            "at least one must be there",
            "write it like the output of gridmap show --json",
        )
    with open_grove(path) as grove:
        merged = {name: _merged(grove, name, values) for name, values in parts.items()}
        with grove.act("import facts", who=who):
            for name, values in merged.items():
                grove.set_setting(name, values, who=who)
        lacks = missing_facts(grove.settings())
    return Outcome(said=(f"Kept from {file.name}: {', '.join(parts)}.",), figures={**merged, "missing": lacks})


def _merged(grove: Grove, name: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Lay what is typed now over what was typed before, and check the whole."""
    held = grove.setting(name) or {}
    if name == "label" and any(
        given.get(field, held.get(field)) != held.get(field) for field in ("rate", "rate_unit", "rate_basis")
    ):
        today = datetime.now(ZoneInfo(grove.grove.time_zone)).date().isoformat()
        given = {"typed_on": today, **given}
    if name == "prices":
        given = {"currency": grove.grove.currency, **given}
    return KINDS[name].from_dict({**held, **given}).to_dict()


def _read_json(file: Path) -> dict[str, Any]:
    """Read a small JSON object."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise FileRefused(f"{file.name} has {file.stat().st_size:,} bytes", f"at most {MOST_BYTES:,} are read")
        content = json.loads(file.read_text("utf-8"))
    except OSError as error:
        raise FileRefused(f"{file} can't be read", error.strerror) from None
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        raise FileRefused(f"{file.name} is no JSON", str(error).split(": ")[0]) from None
    if not isinstance(content, dict):
        raise FileRefused(f"{file.name} holds no JSON object", "it must be written { ... }")
    return content
