"""Terrain: heights, the uphill arrow, gates and refill points."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.ground import File
from api.commands.options import CrsOption, Grove, Json, LayerOption, Who


@show.door
def import_dem(
    grove: Grove,
    file: File,
    vertical_unit: Annotated[
        str | None,
        typer.Option("--vertical-unit", help="metre, foot or us_survey_foot, where the file doesn't say it."),
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read heights from a DEM (GeoTIFF in any CRS; only the part around the grove is read).

    Every place gets its height and its metres upslope. Rows keep their numbers and your uphill arrows stay; where the
    heights say otherwise, it is told.

    Example: gridmap import-dem home.gpkg hill.tif --vertical-unit metre
    """
    from api.steps.terrain import import_dem as step

    with show.progress("Reading heights"):
        outcome = step(grove, file, vertical_unit=vertical_unit, who=who)
    show.outcome(outcome, as_json=json)


@show.door
def import_heights(
    grove: Grove,
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Left out: heights that imported trees carry.")
    ] = None,
    layer: LayerOption = None,
    crs: CrsOption = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read heights measured at trees (CSV, GeoJSON, GeoPackage): elevation_m with block, row, position or coordinates.

    A smooth ground is laid through them, plainly wrong ones are left out and named.

    Example: gridmap import-heights home.gpkg heights.csv
    """
    from api.steps.tree_heights import import_heights as step

    show.outcome(step(grove, file, layer=layer, crs=crs, who=who), as_json=json)


@show.door
def uphill(
    grove: Grove,
    bearing: Annotated[
        float, typer.Argument(metavar="BEARING", help="Degrees clockwise from north.", show_default=False)
    ],
    block: Annotated[str | None, typer.Option("--block", help="Of this block alone.")] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Say which way is uphill, for the grove or for one block. Rows keep their numbers.

    Example: gridmap uphill home.gpkg 350
    """
    from api.steps.terrain import set_uphill as step

    show.outcome(step(grove, bearing, block=block, who=who), as_json=json)


@show.door
def import_points(
    grove: Grove,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="gate, refill or other, where the file has no column kind.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read gates, refill points and other points, with columns kind and name.

    Example: gridmap import-points home.gpkg gates.geojson --kind gate
    """
    from api.steps.terrain import import_points as step

    show.outcome(step(grove, file, layer=layer, crs=crs, kind=kind, who=who), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("import-dem", short_help="Read heights from a DEM (GeoTIFF).")(import_dem)
    app.command("import-heights", short_help="Read heights measured at trees.")(import_heights)
    app.command("uphill", short_help="Say which way is uphill.")(uphill)
    app.command("import-points", short_help="Read gates and refill points.")(import_points)
