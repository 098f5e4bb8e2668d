"""The service: the page in a browser, on this machine or shared on the local network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show


@show.door
def serve(
    grove: Annotated[
        Path | None,
        typer.Argument(
            metavar="GROVE",
            help="The grove file (.gpkg); where none is yet, the page starts one there. grove.gpkg when left out.",
            show_default=False,
        ),
    ] = None,
    demo: Annotated[
        bool, typer.Option("--demo", help="Answer for the invented grove, made in a temporary folder.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for any that is free.")] = 8765,
) -> None:
    """Open the grove in a browser: prints the address and answers there until it is stopped.

    Example: gridmap serve home.gpkg
    """
    from api.serving import serve_here

    chosen = grove if grove is not None or demo else Path("grove.gpkg")
    serve_here(chosen, demo=demo, port=port, say=typer.echo)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("serve", short_help="Open the grove in a browser.")(serve)
