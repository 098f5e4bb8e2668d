"""The command line: one subcommand for each step of the job.

Exit status 0 when it worked, 1 when what was given can't be used (one clear line on standard error), 2 when the command
was typed wrong. Heavy libraries are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import os
import sys

import typer

import gridmap
from api.commands import (
    ground,
    grove,
    outputs,
    planned_walk,
    plants,
    pressure,
    rows,
    serve,
    sward,
    terrain,
    treat,
    treating,
    walk,
)

HELP = """Grove mapping and spot treatment.

From beat-sheet counts to a heat map with its doubt, a zone, litres and a run sheet.

Start with: gridmap demo --out demo-out (an invented grove), or: gridmap new home.gpkg --help

The label and the permit are the law. gridmap knows no product and no rate that you did not type in.
"""

app = typer.Typer(
    name="gridmap",
    help=HELP,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 110},
)


def _version(asked: bool) -> None:
    """Print the version and stop."""
    if asked:
        typer.echo(f"gridmap {gridmap.__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: bool = typer.Option(False, "--version", help="Print the version.", callback=_version, is_eager=True),
) -> None:
    """Take the options that stand before the subcommand."""


ROOMS = (grove, ground, rows, plants, terrain, planned_walk, walk, pressure, treat, treating, sward, outputs, serve)
for room in ROOMS:
    room.register(app)


def main() -> None:
    """Run the command line; what nobody foresaw is told in one line too, never as a traceback."""
    try:
        app()
    except Exception as error:
        if os.environ.get("GRIDMAP_TRACEBACK"):
            raise
        typer.echo(
            f"gridmap: this should not have happened ({type(error).__name__}: {error}). "
            "What was not finished is not in the file. Set GRIDMAP_TRACEBACK=1 and run it again for the whole story.",
            err=True,
        )
        sys.exit(1)


if __name__ == "__main__":
    main()
