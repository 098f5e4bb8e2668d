"""The walk: counts in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import AcceptGoodRows, Grove, Json, Who


@show.door
def import_counts(
    grove: Grove,
    file: Annotated[Path, typer.Argument(metavar="FILE", show_default=False)],
    walk: Annotated[str | None, typer.Option("--walk", metavar="NAME", help="What you call this walk.")] = None,
    date: Annotated[
        str | None,
        typer.Option("--date", metavar="YYYY-MM-DD", help="Day of the walk, where the lines carry no time."),
    ] = None,
    crs: Annotated[
        str | None,
        typer.Option(
            "--crs", metavar="EPSG:CODE", help="CRS of easting and northing, where trees are named by position."
        ),
    ] = None,
    snap: Annotated[
        float | None,
        typer.Option(
            "--snap",
            metavar="METRES",
            help="How far a position may lie from its tree; half the tree spacing when left out.",
        ),
    ] = None,
    accept_good_rows: AcceptGoodRows = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read the counts of one walk (CSV).

    A line names its tree by block, row and position, by the tree's uuid, or by coordinates; then taps, nymphs, adults,
    and where you have them wing_buds (none, some, most), reason (planned, extra, suspected), time, observer and columns
    for beneficials. The same line twice is stored once. With a bad line nothing is stored, unless you say
    --accept-good-rows.

    Example: gridmap import-counts home.gpkg walk.csv --date 2026-02-03
    """
    from api.steps.walk import import_counts as step

    show.outcome(
        step(grove, file, walk=walk, date=date, crs=crs, snap_m=snap, accept_good_rows=accept_good_rows, who=who),
        as_json=json,
    )


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("import-counts", short_help="Read the counts of one walk.")(import_counts)
