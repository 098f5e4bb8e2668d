"""Where to look next, as a page asks for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from api.steps.pressure_layer import ask_pressure
from api.steps.where_next import USUAL_NUMBER, look_figures, look_next


def look_layer(
    where: Path, *, walk: str | None = None, counts: str | None = None, n: int = USUAL_NUMBER
) -> dict[str, Any]:
    """Return the trees to beat next with their reasons, and whether it would change the decision."""
    result = ask_pressure(where, walk=walk, counts=counts)
    look = look_next(result, n=n)
    return {**look_figures(result, look), "said": list(look.words)}
