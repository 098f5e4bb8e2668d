"""What a pressure map says of itself: the finding, block table, hot spots, and every tree's figures."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from api.steps.change import change_columns
from api.steps.grove import INVENTED
from api.steps.outcome import Outcome
from api.steps.pressure import Pressure, load_grove, work_out_pressure
from api.steps.stage import stage_by_block, stage_table
from api.steps.visits import counted_numbers
from gridmap.exchange import write_layer
from gridmap.words import date_words

#: Decimals of a figure in a table for a spreadsheet: far finer than its limits.
FIGURES = 4


def map_pressure(path: Path, *, walk: str | None = None, counts: str | None = None, csv: Path | None = None) -> Outcome:
    """Work out the map of a walk and say what it found; with ``csv``, write every tree's figures too."""
    result = work_out_pressure(load_grove(path, walk=walk), counts=counts)
    if csv is not None:
        write_pressure(result, csv)
    outcome = describe_pressure(result)
    if csv is None:
        return outcome
    return Outcome(
        said=(*outcome.said, f"Every tree's figures are in {csv}."), figures=outcome.figures, tables=outcome.tables
    )


def describe_pressure(result: Pressure) -> Outcome:
    """Say what the map shows: the finding, the block table, the hot spots, where nothing is known."""
    grove, threshold = result.grove, result.grove.facts.threshold
    said = [INVENTED] if grove.info.invented else []
    said.append(finding(result))
    unknown = [block for block in grove.blocks["block"] if block not in result.walked]
    if unknown:
        said.append(f"Not walked, so unknown: {', '.join(unknown)}. Look there.")
    if threshold.per_beat is None:
        said.append("No action threshold is typed in, so there is no chance over it. It is yours: none is published.")
    said += result.used.words()
    table, stage = result.blocks, result.joint.once("stage", lambda: stage_by_block(result))
    known = table["walked"]
    shown = pd.DataFrame(
        {
            "block": table["block"],
            "trees": table["trees"],
            "beaten": table["beaten"],
            "count a beat (80 % limits)": [
                f"{row.median_per_beat:.1f} ({row.low_80:.1f} to {row.high_80:.1f})" if row.walked else "too few to say"
                for row in table.itertuples()
            ],
        }
    )
    if threshold.per_beat is not None:
        shown["trees over (80 % limits)"] = [
            f"{row.trees_over:.0f} ({row.trees_over_low_80:.0f} to {row.trees_over_high_80:.0f})" if row.walked else "?"
            for row in table.itertuples()
        ]
    tables = {f"Blocks, {result.counted.replace('_', ' ')} in a beat of {result.model.standard_taps:g} taps": shown}
    if len(result.spots):
        tables["Hot spots: neighbouring trees, each more likely over than not"] = pd.DataFrame(
            {
                "rank": result.spots["hot_spot"],
                "block": result.spots["block"],
                "rows": [
                    f"{a} to {b}" if a != b else f"{a}"
                    for a, b in zip(result.spots["from_row"], result.spots["to_row"], strict=True)
                ],
                "trees": result.spots["trees"],
                "trees over": result.spots["trees_over"].round(1),
                "count a beat": result.spots["median_per_beat"].round(1),
            }
        )
    if any(line["share"] is not None for line in stage):
        tables["Stage: sheets with nymphs that show wing buds"] = stage_table(stage)
    figures = {
        "grove": grove.info.name,
        "invented": grove.info.invented,
        "walk": str(grove.walk["date"]),
        "counted": result.counted,
        "standard_taps": result.model.standard_taps,
        "threshold_per_beat": threshold.per_beat,
        "trees": len(grove.trees),
        "trees_beaten": int(grove.counts["tree"].nunique()),
        "blocks_walked": list(result.walked),
        "blocks_unknown": unknown,
        "blocks": _known_figures(table),
        "stage": stage,
        **result.used.figures(),
        "hot_spots": pd.DataFrame(result.spots.drop(columns="geometry")).to_dict("records"),
        "trees_over_in_walked_blocks": float(table.loc[known, "trees_over"].sum())
        if threshold.per_beat is not None
        else None,
        "trees_well_known": int((result.frame["knowledge"] == "well_known").sum()),
        "trees_doubtful": int((result.frame["knowledge"] == "doubtful").sum()),
        "trees_unknown": int((result.frame["knowledge"] == "unknown").sum()),
    }
    return Outcome(said=tuple(said), figures=figures, tables=tables)


def _known_figures(table: pd.DataFrame) -> list[dict[Any, Any]]:
    """Return the block table without figures for blocks that were not walked: those only tell of the others."""
    told = table.copy()
    figures = [name for name in told.columns if name not in ("block", "trees", "beaten", "walked")]
    told[figures] = told[figures].where(told["walked"])
    return told.to_dict("records")


def finding(result: Pressure) -> str:
    """Say in one sentence what the walk found."""
    date = result.grove.walk["date"]
    day = date_words(date) if isinstance(date, dt.date) else str(date)
    beaten = result.grove.counts["tree"].nunique()
    head = f"Walk of {day}, {beaten} of {len(result.grove.trees):,} trees beaten:"
    numbers = counted_numbers(result.grove.counts, result.counted)
    if not numbers.any():
        worst = float(result.frame.loc[result.frame["knowledge"] != "unknown", "high_90"].max())
        bound = f"; a tree may still hold up to {worst:.1f} a beat (90 % limit)" if np.isfinite(worst) else ""
        return f"{head} nothing fell{bound}."
    threshold, spots = result.grove.facts.threshold.per_beat, len(result.spots)
    if threshold is None:
        return f"{head} {numbers.sum():,.0f} {result.counted.replace('_', ' ')} in all."
    if not spots:
        return f"{head} no place is more likely over your threshold than not."
    places = "one place is" if spots == 1 else f"{spots} places are"
    return f"{head} {places} likely over your threshold of {threshold:g}."


def write_pressure(result: Pressure, path: Path) -> None:
    """Write every tree's figures as CSV, change since the walk before too, with label, longitude and latitude."""
    trees = result.grove.trees[["tree", "block", "row", "position", "geometry"]]
    note = INVENTED if result.grove.info.invented else None
    figures = result.frame.merge(change_columns(result), on="tree", validate="one_to_one").round(FIGURES)
    write_layer(trees.merge(figures, on="tree", validate="one_to_one"), path, "csv", note=note)
