"""The ground: outlines, keep-outs, rows, trees."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import ClosingGap, CrsOption, Grove, Json, LayerOption, Who, WriteMended

File = Annotated[Path, typer.Argument(metavar="FILE", show_default=False)]


@show.door
def import_outlines(
    grove: Grove,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    closing_gap: ClosingGap = None,
    write_mended: WriteMended = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read block outlines (GeoJSON, GeoPackage, KML, zipped Shapefile, CSV, or a GPX track walked around each block).

    A column "block" or "name" names each block; row_bearing_deg, row_spacing_m, tree_spacing_m, headland_m,
    uphill_bearing_deg, canopy_height_m and canopy_width_m are taken where they are there.

    Example: gridmap import-outlines home.gpkg blocks.geojson
    """
    from api.steps.ground import import_outlines as step

    show.outcome(
        step(grove, file, layer=layer, crs=crs, closing_gap_m=closing_gap, write_mended=write_mended, who=who),
        as_json=json,
    )


@show.door
def import_keep_outs(
    grove: Grove,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    kind: Annotated[
        str | None,
        typer.Option(
            "--kind", help="water, hive, dwelling, neighbour, bush or other, where the file has no column kind."
        ),
    ] = None,
    setback: Annotated[
        float | None,
        typer.Option(
            "--setback", metavar="METRES", help="Where the file has no column setback_m. Read it off the label."
        ),
    ] = None,
    closing_gap: ClosingGap = None,
    write_mended: WriteMended = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read areas that must never be sprayed, each with its setback in metres (the formats of import-outlines).

    Example: gridmap import-keep-outs home.gpkg dam.geojson --kind water --setback 20
    """
    from api.steps.ground import import_keep_outs as step

    show.outcome(
        step(
            grove,
            file,
            layer=layer,
            crs=crs,
            kind=kind,
            setback_m=setback,
            closing_gap_m=closing_gap,
            write_mended=write_mended,
            who=who,
        ),
        as_json=json,
    )


@show.door
def make_rows(
    grove: Grove,
    block: Annotated[str | None, typer.Option("--block", help="Which block; all without trees when left out.")] = None,
    row_bearing: Annotated[
        float | None, typer.Option("--row-bearing", metavar="DEGREES", help="Clockwise from north.")
    ] = None,
    row_spacing: Annotated[
        float | None, typer.Option("--row-spacing", metavar="METRES", help="From row to row.")
    ] = None,
    tree_spacing: Annotated[
        float | None, typer.Option("--tree-spacing", metavar="METRES", help="Along the row.")
    ] = None,
    headland: Annotated[
        float | None, typer.Option("--headland", metavar="METRES", help="Free strip inside the outline.")
    ] = None,
    uphill: Annotated[
        float | None, typer.Option("--uphill", metavar="DEGREES", help="Which way is uphill, clockwise from north.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Lay straight rows and trees into a block. Row 1 is the lowest, tree 1 the left end looking uphill.

    Example: gridmap make-rows home.gpkg --block Top --row-bearing 80 --row-spacing 7 --tree-spacing 5 --headland 4
    --uphill 350
    """
    from api.steps.ground import make_rows as step

    show.outcome(
        step(
            grove,
            block=block,
            row_bearing_deg=row_bearing,
            row_spacing_m=row_spacing,
            tree_spacing_m=tree_spacing,
            headland_m=headland,
            uphill_bearing_deg=uphill,
            who=who,
        ),
        as_json=json,
    )


@show.door
def import_trees(
    grove: Grove,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    place_at: Annotated[
        str | None,
        typer.Option(
            "--place-at",
            metavar="LONGITUDE,LATITUDE",
            help="Lay a local grid (columns x_m, y_m) with its origin here, x to the east.",
        ),
    ] = None,
    block: Annotated[
        str | None, typer.Option("--block", help="Block of the trees, where the file does not say it.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read tree positions with block, row and position (CSV, GeoJSON, GeoPackage, KML, GPX, zipped Shapefile).

    A block that is not in the grove file yet is made, with an outline around its trees.

    Example: gridmap import-trees home.gpkg trees.csv --crs EPSG:7855
    """
    from api.steps.ground import import_trees as step

    show.outcome(step(grove, file, layer=layer, crs=crs, place_at=place_at, block=block, who=who), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("import-outlines", short_help="Read block outlines.")(import_outlines)
    app.command("import-keep-outs", short_help="Read what must never be sprayed.")(import_keep_outs)
    app.command("make-rows", short_help="Lay straight rows and trees into a block.")(make_rows)
    app.command("import-trees", short_help="Read tree positions.")(import_trees)
