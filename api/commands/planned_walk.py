"""The walk planned: which trees, the sheet on paper, what a phone saved, counts that belong to another block."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import Grove, Json, Walk, Who


@show.door
def plan_walk(
    grove: Grove,
    trees: Annotated[int | None, typer.Option("--trees", min=1, help="Trees to beat in the whole grove.")] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", help="Time there is, instead of trees.")] = None,
    date: Annotated[
        str | None, typer.Option("--date", metavar="YYYY-MM-DD", help="Day of the walk; today when left out.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="What you call this walk.")] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another number, other trees.")] = 0,
    gate: Annotated[
        str | None, typer.Option("--gate", metavar="NAME", help="Where it starts; the first gate when left out.")
    ] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Do not look at the last walk.")] = False,
    least_per_block: Annotated[
        int | None, typer.Option("--least-per-block", min=1, help="Fewest of a block; 3.")
    ] = None,
    edge_weight: Annotated[
        float | None, typer.Option("--edge-weight", help="How much likelier edge trees are; 1.5, or 1 for no more.")
    ] = None,
    cross_row: Annotated[
        float | None, typer.Option("--cross-row", metavar="METRES", help="What passing through a row counts for; 10.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Plan a walk: which trees to beat in every block, the shortest way round, its time, and when to stop.

    Example: gridmap plan-walk home.gpkg --trees 50 --date 2026-02-17
    """
    from api.steps.walk_plan import make_plan

    given = {
        "trees": trees, "minutes": minutes, "date": date, "name": name, "seed": seed, "gate": gate,
        "use_last_walk": not anew, "least_per_block": least_per_block, "edge_weight": edge_weight,
        "cross_row_m": cross_row,
    }  # fmt: skip
    with show.progress("Choosing trees and the way round"):
        result = make_plan(grove, given, who=who)
    show.outcome(result, as_json=json)


@show.door
def tally_sheet(
    grove: Grove,
    out: Annotated[Path, typer.Option("--out", metavar="FILE.pdf", help="Where the sheet goes.")],
    plan: Annotated[
        str | None, typer.Option("--plan", metavar="UUID", help="Which planned walk; the newest when left out.")
    ] = None,
    json: Json = False,
) -> None:
    """Print the tally sheet of a planned walk: trees in walking order, with boxes to write into.

    Example: gridmap tally-sheet home.gpkg --out tally.pdf
    """
    from api.steps.walk_plan import print_tally

    show.outcome(print_tally(grove, out, plan), as_json=json)


@show.door
def stop_lines(
    m0: Annotated[float, typer.Option("--m0", help="Mean a beat that is clearly under.")],
    m1: Annotated[float, typer.Option("--m1", help="Mean a beat that is clearly over.")],
    k: Annotated[float, typer.Option("--k", help="Size of the negative binomial.")],
    alpha: Annotated[float, typer.Option("--alpha", help="Chance of saying over at m0.")] = 0.1,
    beta: Annotated[float, typer.Option("--beta", help="Chance of saying under at m1.")] = 0.1,
    most: Annotated[int, typer.Option("--most", help="Most trees in the table.")] = 40,
    json: Json = False,
) -> None:
    """Work out the stop lines of a classic sequential plan from your own figures.

    Example: gridmap stop-lines --m0 2 --m1 4 --k 1
    """
    from api.steps.walk_plan import stop_lines_told

    show.outcome(stop_lines_told(m0, m1, k, alpha, beta, most=most), as_json=json)


@show.door
def read_phone(
    grove: Grove,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Saved by the phone (JSON).", show_default=False)],
    confirm: Annotated[bool, typer.Option("--confirm", help="Say yes to everything that is asked about.")] = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read the counts that a phone saved to a file; what is in the grove already is stored once.

    Example: gridmap read-phone home.gpkg phone.json
    """
    from api.steps.phone import read_phone as step

    show.outcome(step(grove, file, confirmed=confirm, who=who), as_json=json)


@show.door
def move_counts(
    grove: Grove,
    to_block: Annotated[str, typer.Option("--to", metavar="BLOCK", help="The block they were really made in.")],
    from_block: Annotated[str, typer.Option("--from", metavar="BLOCK", help="The block they were told to.")],
    walk: Walk = None,
    by: Annotated[
        str, typer.Option("--by", help="label: the same row and tree there; position: the nearest to the phone.")
    ] = "label",
    look: Annotated[bool, typer.Option("--look", help="Say what would be moved, and store nothing.")] = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Move the counts of a block to another block's trees, in one act that gridmap undo takes back.

    Example: gridmap move-counts home.gpkg --from Top --to Low --look
    """
    from api.steps.moving_counts import move_named_walk

    show.outcome(move_named_walk(grove, walk, to_block, from_block, by=by, look=look, who=who), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("plan-walk", short_help="Which trees to beat, and which way round.")(plan_walk)
    app.command("tally-sheet", short_help="The planned walk on paper.")(tally_sheet)
    app.command("stop-lines", short_help="A classic sequential plan.")(stop_lines)
    app.command("read-phone", short_help="Read counts that a phone saved to a file.")(read_phone)
    app.command("move-counts", short_help="Counts that belong to another block.")(move_counts)
