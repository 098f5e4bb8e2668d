"""How well the map foresees counts that it has not seen, beside plainer ways."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from api.steps.outcome import Outcome
from api.steps.pressure import load_grove, what_is_counted
from api.steps.visits import coordinates, counted_numbers
from api.steps.walk import snap_limit_m
from gridmap import pressure
from gridmap.errors import RowsRefused
from gridmap.exchange import read_counts, resolve_trees

WORDS = {"pressure_model": "this map", "block_mean": "block mean", "inverse_distance": "inverse distance"}


def compare_on_counts(
    path: Path,
    held_out: Path,
    *,
    walk: str | None = None,
    counts: str | None = None,
    accept_good_rows: bool = False,
) -> Outcome:
    """Fit to a stored walk and score counts that were held out of it; nothing is stored.

    Parameters
    ----------
    path, held_out : Path
        Grove file; CSV of counts that the grove file does not hold.
    walk, counts : str, optional
        As in `map_pressure`.
    accept_good_rows : bool
        Leave bad lines out instead of refusing the file.
    """
    grove = load_grove(path, walk=walk)
    counted = what_is_counted(grove.facts, counts)
    read, problems = read_counts(held_out, time_zone=grove.info.time_zone)
    found = resolve_trees(read, grove.plants, limit_m=snap_limit_m(grove.plants))
    problems = sorted([*problems, *found.problems])
    if problems and not accept_good_rows:
        raise RowsRefused(
            f"{len(problems)} lines of {held_out.name} can't be used",
            None,
            "mend them, or say --accept-good-rows",
            problems,
        )
    place = grove.plants[["tree", "block", "geometry"]]
    seen = grove.counts.merge(place, on="tree")
    unseen = pd.DataFrame(found.rows[["tree", "taps", "nymphs", "adults"]]).merge(place, on="tree")
    standard = grove.facts.threshold.standard_taps or 3
    scores = pressure.compare(
        coordinates(seen),
        counted_numbers(seen, counted),
        coordinates(unseen),
        counted_numbers(unseen, counted),
        taps=seen["taps"].to_numpy(),
        held_taps=unseen["taps"].to_numpy(),
        block=seen["block"].to_numpy(),
        held_block=unseen["block"].to_numpy(),
        suspected=(seen["reason"] == "suspected").to_numpy(),
        standard_taps=standard,
    )
    model = float(scores.loc[scores["method"] == "pressure_model", "log_score_per_count"].iloc[0])
    table = pd.DataFrame(
        {
            "way": scores["method"].map(WORDS),
            "log score a count": scores["log_score_per_count"].round(4),
            "this map ahead by": scores["model_ahead"].round(4),
            "standard error": scores["standard_error"].round(4),
        }
    )
    said = (
        f"Fitted to {len(seen)} counts, scored on {len(unseen)} held out: this map {model:.3f}.",
        "The score is the mean natural log of the probability given to what was counted; nearer to zero is better.",
    )
    return Outcome(
        said=said,
        tables={"Scores": table},
        figures={
            "counted": counted,
            "fitted_counts": len(seen),
            "held_out_counts": len(unseen),
            "scores": scores.to_dict("records"),
        },
    )
