"""What the grower typed, kept as typed: threshold, prices, sprayer, label, each under its name."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import Connection, select

from api.store.history import Act
from api.store.info import words
from api.store.tables import SETTING
from api.store.times import now
from gridmap.errors import InputRefused


def set_setting(act: Act, name: str, value: Mapping[str, Any]) -> None:
    """Store a setting, or change it; typed again as it was, nothing changes."""
    name = words(name, "name of the setting")
    text = to_json(dict(value), f"setting {name!r}")
    held = act.connection.execute(select(SETTING.c.uuid, SETTING.c.value).where(SETTING.c.name == name)).first()
    if held is None:
        act.insert(SETTING, [{"uuid": str(uuid.uuid4()), "name": name, "value": text, "since": now()}])
    elif held.value != text:
        act.update(SETTING, held.uuid, {"value": text, "since": now()})


def read_settings(connection: Connection) -> dict[str, dict[str, Any]]:
    """Return every setting by its name."""
    found = connection.execute(select(SETTING.c.name, SETTING.c.value).order_by(SETTING.c.name))
    return {row.name: json.loads(row.value) for row in found}


def to_json(value: object, name: str) -> str:
    """Return a value as JSON, or say what of it can't be.

    Examples
    --------
    >>> to_json({"nymphs": 2.0, "counts": "nymphs"}, "threshold")
    '{"nymphs": 2.0, "counts": "nymphs"}'
    """
    try:
        return json.dumps(value, allow_nan=False, default=_plain)
    except (TypeError, ValueError) as trouble:
        raise InputRefused(
            f"{name} can't be stored", str(trouble), "give texts, finite numbers, lists and dictionaries"
        ) from None


def _plain(value: object) -> object:
    """Return what a NumPy number or a day is in JSON."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"it holds a {type(value).__name__}")
