"""The service: the page in a browser, on this machine or shared on the local network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import Grove, Json


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
    database: Annotated[
        str | None,
        typer.Option(
            "--database",
            metavar="URL",
            help="Answer for every grove of a shared database, each to its own devices: postgresql://user@host/database.",
        ),
    ] = None,
    share: Annotated[
        bool, typer.Option("--share", help="Let paired devices on the local network in, over https on the next port.")
    ] = False,
    role: Annotated[
        str,
        typer.Option(
            "--role", metavar="ROLE", help="With --share: what the first device may do: owner, helper, viewer."
        ),
    ] = "helper",
) -> None:
    """Open the grove in a browser: prints the address and answers there until it is stopped.

    Example: gridmap serve home.gpkg
    """
    from api.serving import serve_here, serve_shared

    chosen = grove if grove is not None or demo or database is not None else Path("grove.gpkg")
    if share:
        serve_shared(chosen, demo=demo, port=port, role=role, say=typer.echo, database=database)
        return
    serve_here(chosen, demo=demo, port=port, say=typer.echo, database=database)


@show.door
def devices(
    grove: Grove,
    invite: Annotated[
        str | None,
        typer.Option("--invite", metavar="ROLE", help="Make a code for one device: owner, helper or viewer."),
    ] = None,
    shut_out: Annotated[
        str | None, typer.Option("--shut-out", metavar="NUMBER", help="Shut a device out, by its number in the list.")
    ] = None,
    json: Json = False,
) -> None:
    """List the devices that may reach the grove when it is shared; invite one, or shut one out.

    Example: gridmap devices home.gpkg --invite helper
    """
    from api.steps import devices as steps

    if shut_out is not None:
        show.outcome(steps.shut_out(grove, shut_out), as_json=json)
    elif invite is not None:
        show.outcome(steps.invite_in_words(grove, invite), as_json=json)
    else:
        show.outcome(steps.list_devices(grove), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("serve", short_help="Open the grove in a browser.")(serve)
    app.command("devices", short_help="Which devices may reach a shared grove.")(devices)
