"""Trees and blocks that change: surveyed again, replanted, retired, redrawn, split, merged, renumbered."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import CrsOption, Grove, Json, LayerOption, Who

File = Annotated[Path, typer.Argument(metavar="FILE", show_default=False)]
Block = Annotated[str, typer.Argument(metavar="BLOCK", help="Name of the block.", show_default=False)]
Trees = Annotated[
    list[str],
    typer.Option("--tree", metavar="BLOCK/ROW/POSITION", help="Which tree or gap; say it again for further ones."),
]
On = Annotated[str, typer.Option("--on", metavar="YYYY-MM-DD", help="The day.")]


@show.door
def resurvey(
    grove: Grove,
    file: File,
    block: Annotated[str | None, typer.Option("--block", help="Look at this block alone.")] = None,
    limit: Annotated[
        float | None,
        typer.Option(
            "--limit-m",
            metavar="METRES",
            help="A point further from a tree is not that tree; twice the tree spacing when left out.",
        ),
    ] = None,
    layer: LayerOption = None,
    crs: CrsOption = None,
    no_shift: Annotated[
        bool, typer.Option("--no-shift", help="Take the survey where it lies, without looking for a common shift.")
    ] = False,
    take_off_shift: Annotated[
        bool, typer.Option("--take-off-shift", help="Store positions without the common shift of the survey.")
    ] = False,
    accept: Annotated[bool, typer.Option("--accept", help="Store the new positions.")] = False,
    retire_unseen: Annotated[
        bool, typer.Option("--retire-unseen", help="Trees that were not seen are gone; with --accept.")
    ] = False,
    plant_gaps: Annotated[
        bool, typer.Option("--plant-gaps", help="Gaps in which a tree was seen have a new plant; with --accept.")
    ] = False,
    on: Annotated[str | None, typer.Option("--on", metavar="YYYY-MM-DD", help="Day of the survey; else today.")] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Match surveyed tree positions with the trees that are known, one to one, and say what would change.

    Nothing is stored without --accept; with it, positions change and labels, plants and counts stay.

    Example: gridmap resurvey home.gpkg survey.csv --crs EPSG:7855
    """
    from api.steps.resurvey import resurvey as step

    with show.progress("matching trees"):
        result = step(
            grove,
            file,
            block=block,
            limit_m=limit,
            layer=layer,
            crs=crs,
            no_shift=no_shift,
            take_off_shift=take_off_shift,
            accept=accept,
            retire_unseen=retire_unseen,
            plant_gaps=plant_gaps,
            on=on,
            who=who,
        )
    show.outcome(result, as_json=json)


@show.door
def replant(
    grove: Grove,
    trees: Trees,
    on: On,
    canopy_height: Annotated[
        float | None, typer.Option("--canopy-height", metavar="METRES", help="Of the new tree.")
    ] = None,
    canopy_width: Annotated[
        float | None, typer.Option("--canopy-width", metavar="METRES", help="Of the new tree.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Set a new plant into an old place; the old one is gone from that day and keeps its counts.

    Example: gridmap replant home.gpkg --tree Top/3/14 --on 2026-06-20 --canopy-height 0.8 --canopy-width 0.5
    """
    from api.steps.plants import replant as step

    show.outcome(
        step(grove, trees=trees, on=on, canopy_height_m=canopy_height, canopy_width_m=canopy_width, who=who),
        as_json=json,
    )


@show.door
def retire(grove: Grove, trees: Trees, on: On, who: Who = "grower", json: Json = False) -> None:
    """Let a tree be gone from a day on: the gap keeps its number, the counts stay.

    Example: gridmap retire home.gpkg --tree Top/3/14 --tree Top/3/15 --on 2026-06-20
    """
    from api.steps.plants import retire as step

    show.outcome(step(grove, trees=trees, on=on, who=who), as_json=json)


@show.door
def label(
    grove: Grove,
    tree: Annotated[str, typer.Argument(metavar="BLOCK/ROW/POSITION", show_default=False)],
    json: Json = False,
) -> None:
    """Say what a label names or ever named: what the place is called now, and which plants stood there.

    Example: gridmap label home.gpkg Top/3/14
    """
    from api.steps.plants import show_label

    show.outcome(show_label(grove, tree), as_json=json)


@show.door
def redraw(
    grove: Grove,
    block: Block,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    only_outline: Annotated[bool, typer.Option("--no-new-trees", help="New ground gets no rows and trees.")] = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Give a block a new outline. Trees inside stay who they are, trees outside are retired, new ground gets rows.

    Example: gridmap redraw home.gpkg Top top-again.geojson
    """
    from api.steps.redraw import redraw as step

    show.outcome(step(grove, block, file, layer=layer, crs=crs, new_places=not only_outline, who=who), as_json=json)


@show.door
def split(
    grove: Grove,
    block: Block,
    file: File,
    layer: LayerOption = None,
    crs: CrsOption = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Make blocks of one by the outlines of a file, each with its name; rows and positions keep their numbers.

    Example: gridmap split home.gpkg Top two-parts.geojson
    """
    from api.steps.regroup import split as step

    show.outcome(step(grove, block, file, layer=layer, crs=crs, who=who), as_json=json)


@show.door
def merge(
    grove: Grove,
    first: Annotated[str, typer.Argument(metavar="A", help="Its rows keep their numbers.", show_default=False)],
    second: Annotated[str, typer.Argument(metavar="B", help="Its rows are counted on.", show_default=False)],
    name: Annotated[str, typer.Option("--name", help="Name of the block that they become.")],
    outline: Annotated[
        Path | None, typer.Option("--outline", metavar="FILE", help="Outline of both, where they don't touch.")
    ] = None,
    layer: LayerOption = None,
    crs: CrsOption = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Make one block of two; the rows of the second get the numbers after the last row of the first.

    Example: gridmap merge home.gpkg Top Bottom --name Hill
    """
    from api.steps.regroup import merge as step

    show.outcome(
        step(grove, first, second, name=name, outline_file=outline, layer=layer, crs=crs, who=who), as_json=json
    )


@show.door
def renumber(
    grove: Grove,
    block: Block,
    uphill: Annotated[
        float | None, typer.Option("--uphill", metavar="DEGREES", help="Which way is uphill, clockwise from north.")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Give rows new numbers, row 1 the lowest, tree 1 the left end. Free until the first count in the block.

    Example: gridmap renumber home.gpkg Top --uphill 350
    """
    from api.steps.redraw import renumber as step

    show.outcome(step(grove, block, uphill_bearing_deg=uphill, who=who), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("resurvey", short_help="Match a new survey with the known trees.")(resurvey)
    app.command("replant", short_help="Set a new plant into an old place.")(replant)
    app.command("retire", short_help="Let a tree be gone; the gap keeps its number.")(retire)
    app.command("label", short_help="Say what a label names, or once named.")(label)
    app.command("redraw", short_help="Give a block a new outline.")(redraw)
    app.command("split", short_help="Make two blocks of one.")(split)
    app.command("merge", short_help="Make one block of two.")(merge)
    app.command("renumber", short_help="Number rows anew, before the first count.")(renumber)
