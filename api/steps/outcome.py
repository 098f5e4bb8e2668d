"""What a step of the job answers: sentences for a person, tables to read, and every figure for a program."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Outcome:
    """What a step did or worked out.

    Parameters
    ----------
    said : tuple of str
        Sentences for the grower, most important first.
    figures : mapping
        Every figure shown, names ending in their unit; what ``--json`` prints.
    tables : mapping of str to DataFrame
        Tables to read, by title.
    cautions : tuple of str
        What must be read before the hand acts.
    """

    said: tuple[str, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    def as_json(self, *, tables: bool = True) -> dict[str, Any]:
        """Return everything as plain JSON values: tables (unless left out) as lists of records, missing as null."""
        return plain(
            {
                **self.figures,
                **(
                    {"tables": {title: frame.to_dict("records") for title, frame in self.tables.items()}}
                    if self.tables and tables
                    else {}
                ),
                "said": list(self.said),
                **({"cautions": list(self.cautions)} if self.cautions else {}),
            }
        )


def plain(value: Any) -> Any:
    """Turn numpy, pandas and date values into what JSON can hold; NaN and NaT become null.

    Examples
    --------
    >>> plain({"a": np.float64("nan"), "b": np.int64(2), "c": (1.5, None)})
    {'a': None, 'b': 2, 'c': [1.5, None]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple, set)):
        return [plain(entry) for entry in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, (np.bool_, bool)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, (pd.Timestamp, dt.datetime, dt.date)):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    return value if isinstance(value, str) else str(value)
