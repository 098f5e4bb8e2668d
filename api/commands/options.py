"""Arguments and options that several subcommands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gridmap.errors import GridmapError


def where(text: str) -> Path:
    """Read where a grove is kept; an address of a database is read by the store, which takes a while to load."""
    if "://" not in text:
        return Path(text)
    from api.steps.opening import parse_where

    try:
        # Steps take either; a path is what the grower has nearly always
        return parse_where(text)  # type: ignore[return-value]
    except GridmapError as error:
        raise typer.BadParameter(str(error)) from None


Grove = Annotated[
    Path,
    typer.Argument(
        metavar="GROVE",
        help="The grove file (.gpkg), or postgresql://user@host/database#grove.",
        show_default=False,
        parser=where,
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print every figure as JSON.")]
Who = Annotated[str, typer.Option("--who", help="Who does it; kept in the history.", metavar="NAME")]
Walk = Annotated[
    str | None,
    typer.Option("--walk", metavar="DATE", help="Which walk, by its date or name; the latest when left out."),
]
CrsOption = Annotated[
    str | None,
    typer.Option("--crs", metavar="EPSG:CODE", help="CRS of the file, where it names none itself."),
]
LayerOption = Annotated[
    str | None,
    typer.Option("--layer", metavar="NAME", help="Layer of a file with several; a folder of a KML file."),
]
ClosingGap = Annotated[
    float | None,
    typer.Option(
        "--closing-gap",
        metavar="METRES",
        help="How far apart the ends of a track walked around a block may be; 20 when left out.",
    ),
]
WriteMended = Annotated[
    Path | None,
    typer.Option(
        "--write-mended",
        metavar="FILE.geojson",
        help="Where an outline crosses itself: write all of them, mended, to look at. Nothing is imported.",
    ),
]
AcceptGoodRows = Annotated[
    bool, typer.Option("--accept-good-rows", help="Store the good lines and leave the bad ones out.")
]
