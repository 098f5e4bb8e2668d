"""Rows found in a survey, and rows along a drawn line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import CrsOption, Grove, Json, LayerOption, Who

File = Annotated[Path, typer.Argument(metavar="FILE", show_default=False)]
Uphill = Annotated[
    float | None,
    typer.Option(
        "--uphill", metavar="DEGREES", help="Which way is uphill; the block's arrow or the DEM when left out."
    ),
]


@show.door
def find_rows(
    grove: Grove,
    file: File,
    block: Annotated[
        str | None, typer.Option("--block", help="Block of the trees, where the file does not say it.")
    ] = None,
    bearing_hint: Annotated[
        float | None, typer.Option("--bearing-hint", metavar="DEGREES", help="Roughly which way the rows run.")
    ] = None,
    uphill: Uphill = None,
    layer: LayerOption = None,
    crs: CrsOption = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Find the rows in surveyed tree positions that know none, and store every tree with its row and place.

    Gaps keep their numbers; where there are no rows to find it says so and stores nothing.

    Example: gridmap find-rows home.gpkg survey.csv --block Top --uphill 350
    """
    from api.steps.rows import find_rows as step

    result = step(
        grove,
        file,
        block=block,
        bearing_hint_deg=bearing_hint,
        uphill_bearing_deg=uphill,
        layer=layer,
        crs=crs,
        who=who,
    )
    show.outcome(result, as_json=json)


@show.door
def follow_line(
    grove: Grove,
    file: File,
    block: Annotated[str, typer.Option("--block", help="Which block.")],
    row_spacing: Annotated[
        float | None, typer.Option("--row-spacing", metavar="METRES", help="From row to row.")
    ] = None,
    tree_spacing: Annotated[
        float | None, typer.Option("--tree-spacing", metavar="METRES", help="Along the row.")
    ] = None,
    headland: Annotated[
        float | None, typer.Option("--headland", metavar="METRES", help="Free strip inside the outline.")
    ] = None,
    uphill: Uphill = None,
    layer: LayerOption = None,
    crs: CrsOption = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Lay rows parallel to one drawn line, as a contour planting has them; spacing is kept along the curve.

    Example: gridmap follow-line home.gpkg contour.geojson --block Top --row-spacing 7 --tree-spacing 5 --headland 4
    """
    from api.steps.rows import lay_contour_rows

    result = lay_contour_rows(
        grove,
        file,
        block=block,
        row_spacing_m=row_spacing,
        tree_spacing_m=tree_spacing,
        headland_m=headland,
        uphill_bearing_deg=uphill,
        layer=layer,
        crs=crs,
        who=who,
    )
    show.outcome(result, as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("find-rows", short_help="Find the rows in surveyed trees.")(find_rows)
    app.command("follow-line", short_help="Lay rows along a drawn line.")(follow_line)
