"""What leaves: map, picture, sheet, exports; and the demo grove, which goes the whole way."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import Grove, Json, Walk

Out = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the files go; made when it is not there.")]


@show.door
def outputs(grove: Grove, out: Out, walk: Walk = None, json: Json = False) -> None:
    """Write the pressure map, the zone in every format, the run sheet and a summary, from what the grove file holds.

    Example: gridmap outputs home.gpkg --out today
    """
    from api.steps.outputs import write_outputs

    with show.progress("Drawing and writing"):
        result = write_outputs(grove, out, walk=walk)
    show.outcome(result, as_json=json)


@show.door
def demo(out: Out, json: Json = False) -> None:
    """Go the whole way with an invented grove: file, walks, map, zone, litres, sheet.

    Example: gridmap demo --out demo-out
    """
    from api.steps.demo import run_demo

    with show.progress("Making the invented demo grove"):
        result = run_demo(out)
    show.outcome(result, as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("outputs", short_help="Write map, sheet and exports.")(outputs)
    app.command("demo", short_help="Go the whole way with an invented grove.")(demo)
