"""Pressure: the map's figures, and how the model does against plainer ways."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import AcceptGoodRows, Grove, Json, Walk

Counted = Annotated[
    str | None, typer.Option("--counts", help="nymphs or nymphs_and_adults; your threshold says it when left out.")
]


@show.door
def pressure(
    grove: Grove,
    walk: Walk = None,
    counts: Counted = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write every tree's figures here.")] = None,
    json: Json = False,
) -> None:
    """Work out, for every tree, the count to expect, its limits and the chance that it is over your threshold.

    Example: gridmap pressure home.gpkg --csv pressure.csv
    """
    from api.steps.pressure_report import map_pressure

    with show.progress("Working out chances"):
        result = map_pressure(grove, walk=walk, counts=counts, csv=csv)
    show.outcome(result, as_json=json)


@show.door
def compare(
    grove: Grove,
    held_out: Annotated[
        Path, typer.Argument(metavar="FILE", help="Counts that the map has not seen (CSV).", show_default=False)
    ],
    walk: Walk = None,
    counts: Counted = None,
    accept_good_rows: AcceptGoodRows = False,
    json: Json = False,
) -> None:
    """Score the map on counts it has not seen, beside the block mean and inverse distance.

    The score is the mean natural logarithm of the probability given to what was counted: nearer to zero is better.

    Example: gridmap compare home.gpkg the-other-trees.csv
    """
    from api.steps.compare import compare_on_counts

    with show.progress("Comparing"):
        result = compare_on_counts(grove, held_out, walk=walk, counts=counts, accept_good_rows=accept_good_rows)
    show.outcome(result, as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("pressure", short_help="Count to expect and chance over, per tree.")(pressure)
    app.command("compare", short_help="Score the map on counts it has not seen.")(compare)
