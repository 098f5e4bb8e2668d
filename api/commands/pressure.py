"""Pressure: the map's figures, where to look next, what changed, and how the model does against plainer ways."""

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

    The walk before is used too, older ones for the level; of trees in a zone that was sprayed since, earlier counts
    say nothing.

    Example: gridmap pressure home.gpkg --csv pressure.csv
    """
    from api.steps.pressure_report import map_pressure

    with show.progress("Working out chances"):
        result = map_pressure(grove, walk=walk, counts=counts, csv=csv)
    show.outcome(result, as_json=json)


@show.door
def where_next(
    grove: Grove,
    walk: Walk = None,
    counts: Counted = None,
    trees: Annotated[int, typer.Option("--trees", min=1, max=200, help="How many trees to name.")] = 20,
    json: Json = False,
) -> None:
    """Name the trees to beat next, in order of worth, and say whether more trees would change the decision.

    Example: gridmap where-next home.gpkg --trees 15
    """
    from api.steps.where_next import ask_look_next

    with show.progress("Weighing what more trees would tell"):
        result = ask_look_next(grove, walk=walk, counts=counts, n=trees)
    show.outcome(result, as_json=json)


@show.door
def change(
    grove: Grove,
    walk: Walk = None,
    counts: Counted = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write every tree's change here, as .csv or .geojson."),
    ] = None,
    json: Json = False,
) -> None:
    """Tell what changed since the walk before, per tree and per block with limits, treated trees against untreated.

    Example: gridmap change home.gpkg --out change.geojson
    """
    from api.steps.change import ask_change

    with show.progress("Comparing two walks"):
        result = ask_change(grove, walk=walk, counts=counts, out=out)
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
    app.command("where-next", short_help="Trees to beat next, and when to stop.")(where_next)
    app.command("change", short_help="What changed since the walk before.")(change)
    app.command("compare", short_help="Score the map on counts it has not seen.")(compare)
