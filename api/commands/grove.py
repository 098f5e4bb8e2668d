"""The grove file: make one, look into it, copy it, read its history."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import Grove, Json, Who, where


@show.door
def new(
    grove: Grove,
    name: Annotated[str, typer.Option("--name", help="What you call the grove.")],
    at: Annotated[
        str, typer.Option("--at", metavar="LONGITUDE,LATITUDE", help="Where it is, to the nearest kilometre.")
    ],
    time_zone: Annotated[str, typer.Option("--time-zone", metavar="ZONE", help="For instance Australia/Sydney.")],
    season_start: Annotated[str, typer.Option("--season-start", metavar="MM-DD", help="First day of your season.")],
    currency: Annotated[str, typer.Option("--currency", metavar="ABC", help="Three letters, for instance EUR.")],
    region: Annotated[str | None, typer.Option("--region", help="State or country whose rules apply.")] = None,
    crs: Annotated[
        str | None,
        typer.Option(
            "--crs", metavar="EPSG:CODE", help="Projected CRS in metres; chosen from the place when left out."
        ),
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Start a grove file.

    Example: gridmap new home.gpkg --name "Home grove" --at 149.10,-33.25 --time-zone Australia/Sydney
    --season-start 07-01 --currency AUD
    """
    from api.steps.grove import new_grove

    show.outcome(
        new_grove(
            grove,
            name=name,
            at=at,
            time_zone=time_zone,
            season_start=season_start,
            currency=currency,
            region=region,
            crs_named=crs,
            who=who,
        ),
        as_json=json,
    )


@show.door
def look(grove: Grove, json: Json = False) -> None:
    """Say what the grove file holds and what is still missing.

    Example: gridmap show home.gpkg
    """
    from api.steps.grove import show_grove

    show.outcome(show_grove(grove), as_json=json)


@show.door
def history(
    grove: Grove,
    most: Annotated[int, typer.Option("--most", min=1, help="How many acts, newest first.")] = 20,
    json: Json = False,
) -> None:
    """List who did what and when, newest first.

    Example: gridmap history home.gpkg --most 5
    """
    from api.steps.grove import show_history

    show.outcome(show_history(grove, most=most), as_json=json)


@show.door
def undo(grove: Grove, who: Who = "grower", json: Json = False) -> None:
    """Take the last act back; the history keeps both.

    Example: gridmap undo home.gpkg
    """
    from api.steps.grove import undo_last

    show.outcome(undo_last(grove, who=who), as_json=json)


@show.door
def backup(
    grove: Grove,
    target: Annotated[Path, typer.Argument(metavar="COPY", help="Where the copy goes (.gpkg).", show_default=False)],
    json: Json = False,
) -> None:
    """Copy the grove file, safely even while it is being written.

    Example: gridmap backup home.gpkg copies/home-2026-02-03.gpkg
    """
    from api.steps.grove import back_up

    show.outcome(back_up(grove, target), as_json=json)


@show.door
def restore(
    copy: Annotated[Path, typer.Argument(metavar="COPY", help="A copy that gridmap backup made.", show_default=False)],
    target: Grove,
    json: Json = False,
) -> None:
    """Bring a grove back as it was when a copy was made; what is there now is set aside first.

    Example: gridmap restore copies/home-2026-02-03.gpkg home.gpkg
    """
    from api.steps.keeping import restore

    show.outcome(restore(copy, target), as_json=json)


@show.door
def copy(
    source: Annotated[
        Path, typer.Argument(metavar="FROM", help="A grove file, or an address.", show_default=False, parser=where)
    ],
    target: Annotated[
        Path,
        typer.Argument(
            metavar="TO", help="A new file, or postgresql://user@host/database.", show_default=False, parser=where
        ),
    ],
    json: Json = False,
) -> None:
    """Copy a grove between a file and a shared database, with its whole history.

    Example: gridmap copy home.gpkg postgresql://ann@farm.example/groves
    """
    from api.steps.keeping import copy

    show.outcome(copy(source, target), as_json=json)


@show.door
def groves(
    database: Annotated[
        Path,
        typer.Argument(metavar="DATABASE", help="postgresql://user@host/database.", show_default=False, parser=where),
    ],
    json: Json = False,
) -> None:
    """List the groves of a shared database.

    Example: gridmap groves postgresql://ann@farm.example/groves
    """
    from api.steps.keeping import list_groves

    show.outcome(list_groves(database), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("new", short_help="Start a grove file.")(new)
    app.command("show", short_help="Say what is there and what is missing.")(look)
    app.command("history", short_help="List who did what and when.")(history)
    app.command("undo", short_help="Take the last act back.")(undo)
    app.command("backup", short_help="Copy the grove to a file, safely.")(backup)
    app.command("restore", short_help="Bring a copy back; what is there is set aside.")(restore)
    app.command("copy", short_help="Move a grove between file and shared database.")(copy)
    app.command("groves", short_help="List the groves of a shared database.")(groves)
