"""The options as a page puts them side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from api.steps.outcome import plain
from api.steps.pressure_layer import ask_pressure
from api.steps.treatment import work_out_treatment
from api.steps.treatment_report import describe_options, option_figures


def weigh_options(where: Path, *, walk: str | None = None) -> dict[str, Any]:
    """Return what each way to act would cost, which is cheapest to expect, and why; nothing is stored."""
    result = work_out_treatment(ask_pressure(where, walk=walk))
    outcome = describe_options(result)
    return plain(
        {
            **option_figures(result),
            "sentence": result.comparison.sentence,
            "said": list(outcome.said),
            "cautions": list(outcome.cautions),
        }
    )
