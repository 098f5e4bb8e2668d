"""The sward: cover surveys in, the climb of the grass out, when to slash."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api import show
from api.commands.options import AcceptGoodRows, CrsOption, Grove, Json, LayerOption, Who

CoverFile = Annotated[Path, typer.Argument(metavar="FILE", show_default=False)]
Date = Annotated[str | None, typer.Option("--date", metavar="YYYY-MM-DD", help="Day of the survey.")]
Name = Annotated[str | None, typer.Option("--name", help="What you call this survey.")]
Level = Annotated[
    float | None,
    typer.Option("--level", metavar="SHARE", help="Share of the floor that counts as grassed; the typed one else."),
]
Since = Annotated[str | None, typer.Option("--since", metavar="DATE", help="Change since this survey; the first else.")]
Block = Annotated[str, typer.Option("--block", help="Which block.")]
FromRow = Annotated[int | None, typer.Option("--from-row", help="First row of the part.")]
ToRow = Annotated[int | None, typer.Option("--to-row", help="Last row of the part.")]
Day = Annotated[str, typer.Option("--date", metavar="YYYY-MM-DD", help="The day.")]
MonthDay = typer.Option(metavar="MM-DD")


@show.door
def import_cover(
    grove: Grove, file: CoverFile, date: Date = None, name: Name = None,
    method: Annotated[
        str | None, typer.Option("--method", help="points, stations, percent or daubenmire, where lines say none.")
    ] = None,
    accept_good_rows: AcceptGoodRows = False, who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Read a cover survey (CSV): block, row, maybe position, and hits, per cent or Daubenmire classes of each part.

    Parts of the floor: grass (living), dead_grass, litter (and mulch), rock, bare. Lines of several dates are several
    surveys. The same file twice is stored once.

    Example: gridmap import-cover home.gpkg cover.csv --date 2026-09-05 --method points
    """
    from api.steps.sward_record import import_cover as step

    done = step(grove, file, date=date, name=name, method=method, accept_good_rows=accept_good_rows, who=who)
    show.outcome(done, as_json=json)


@show.door
def import_grass(
    grove: Grove, file: CoverFile,
    accuracy: Annotated[
        float | None, typer.Option("--accuracy", metavar="METRES", help="How far off the edge may lie.")
    ] = None,
    edge: Annotated[bool, typer.Option("--edge", help="The file holds the edge as a line, grass below it.")] = False,
    date: Date = None, name: Name = None, crs: CrsOption = None, layer: LayerOption = None, who: Who = "grower",
    json: Json = False,
) -> None:  # fmt: skip
    """Read grass as you walked its edge or drew its outline, and measure every row in it.

    Example: gridmap import-grass home.gpkg edge.gpx --edge --accuracy 4 --date 2026-09-05
    """
    from api.steps.sward_record import import_grass as step

    done = step(grove, file, date=date, accuracy_m=accuracy, name=name, crs=crs, layer=layer, line=edge, who=who)
    show.outcome(done, as_json=json)


@show.door
def import_picture(
    grove: Grove, file: CoverFile, date: Date = None, name: Name = None,
    index: Annotated[
        str, typer.Option("--index", help="excess_green, excess_green_minus_red, or ndvi with near infrared.")
    ] = "excess_green",
    threshold: Annotated[
        float | None, typer.Option("--threshold", help="What is greater is green; found in the picture else.")
    ] = None,
    near_infrared: Annotated[
        int | None, typer.Option("--near-infrared", metavar="BAND", help="Band, where the file does not say.")
    ] = None,
    earlier: Annotated[
        Path | None, typer.Option("--earlier", metavar="FILE", help="An earlier picture, to align this one to.")
    ] = None,
    who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Measure every row's floor in a picture from the air (GeoTIFF of any size; it is read by windows, not kept).

    It counts what is green: dormant native grass, hay and litter are not.

    Example: gridmap import-picture home.gpkg 2026.tif --date 2026-09-05 --earlier 2022.tif
    """
    from api.steps.sward_picture import import_picture as step

    bands = None if near_infrared is None else {"near_infrared": near_infrared}
    with show.progress("Measuring the picture"):
        done = step(grove, file, date=date, name=name, index=index, threshold=threshold, bands=bands, earlier=earlier,
                    who=who)  # fmt: skip
    show.outcome(done, as_json=json)


@show.door
def import_classes(
    grove: Grove, file: CoverFile,
    classes: Annotated[
        list[str] | None, typer.Option("--class", metavar="VALUE=PART", help="Say it for each value: 1=grass 3=bare.")
    ] = None,
    date: Date = None, name: Name = None, who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Measure every row's floor in a class raster (GeoTIFF of whole numbers).

    Example: gridmap import-classes home.gpkg classes.tif --class 1=grass --class 2=bare --date 2026-09-05
    """
    from api.steps.sward_picture import import_classes as step
    from api.steps.sward_picture import named_classes

    with show.progress("Measuring the raster"):
        done = step(grove, file, named_classes(classes or []), date=date, name=name, who=who)
    show.outcome(done, as_json=json)


@show.door
def sward(
    grove: Grove, level: Level = None, since: Since = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Write picture, sheet, CSV and GeoPackage here.")
    ] = None,
    json: Json = False,
) -> None:  # fmt: skip
    """Tell how the grass climbs: the front, metres a year with limits, rows passed and to come, ground gained and lost.

    Example: gridmap sward home.gpkg --out grass
    """
    from api.steps.sward_report import tell_sward

    with show.progress("Working out the climb"):
        done = tell_sward(grove, level=level, since=since, out=out)
    show.outcome(done, as_json=json)


@show.door
def set_sward(
    grove: Grove,
    level: Annotated[float | None, typer.Option("--level", help="Share of the floor that counts as grassed.")] = None,
    shed_enough: Annotated[
        float | None, typer.Option("--shed-enough", help="Share of seed heads that must have shed before you slash.")
    ] = None,
    mulch: Annotated[
        float | None, typer.Option("--mulch", metavar="METRES", help="Radius of the mulch around each trunk.")
    ] = None,
    fire_from: Annotated[str | None, MonthDay] = None, fire_to: Annotated[str | None, MonthDay] = None,
    nets_from: Annotated[str | None, MonthDay] = None, nets_to: Annotated[str | None, MonthDay] = None,
    flowering_from: Annotated[str | None, MonthDay] = None, flowering_to: Annotated[str | None, MonthDay] = None,
    snakes_from: Annotated[str | None, MonthDay] = None, snakes_to: Annotated[str | None, MonthDay] = None,
    stones: Annotated[bool | None, typer.Option("--stones/--no-stones", help="Stones under the blade.")] = None,
    who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Say what only you know of the sward; nothing is assumed.

    Example: gridmap set-sward home.gpkg --level 0.6 --shed-enough 0.8 --fire-from 11-15 --fire-to 03-31
    """
    from api.steps.slashing import set_sward as step

    typed = {
        "level": level, "shed_enough": shed_enough, "mulch_m": mulch, "fire_from": fire_from, "fire_to": fire_to,
        "nets_from": nets_from, "nets_to": nets_to, "flowering_from": flowering_from, "flowering_to": flowering_to,
        "snakes_from": snakes_from, "snakes_to": snakes_to, "stones": stones,
    }  # fmt: skip
    given = {field: value for field, value in typed.items() if value is not None}
    show.outcome(step(grove, given, who=who), as_json=json)


@show.door
def check_seed(
    grove: Grove, date: Day, block: Block,
    heads: Annotated[int, typer.Option("--heads", help="Seed heads looked at.")],
    shed: Annotated[int, typer.Option("--shed", help="Of them, how many shed when rubbed.")],
    grass: Annotated[str | None, typer.Option("--grass", help="Its name; leave it out when unsure.")] = None,
    from_row: FromRow = None, to_row: ToRow = None, who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Keep a seed-head check of one grass in one part of the grove.

    Example: gridmap check-seed home.gpkg --date 2026-01-12 --block Top --grass "Poa sieberiana" --heads 40 --shed 34
    """
    from api.steps.slashing import add_seed_checks

    check = {"date": date, "block": block, "from_row": from_row, "to_row": to_row, "grass": grass, "heads": heads,
             "shed": shed}  # fmt: skip
    show.outcome(add_seed_checks(grove, [check], who=who), as_json=json)


@show.door
def import_seed_checks(grove: Grove, file: CoverFile, who: Who = "grower", json: Json = False) -> None:
    """Read seed-head checks (CSV): date, block, heads, shed; maybe from_row, to_row, grass.

    Example: gridmap import-seed-checks home.gpkg seed.csv
    """
    from api.steps.slashing import import_seed_checks as step

    show.outcome(step(grove, file, who=who), as_json=json)


@show.door
def slashing(
    grove: Grove,
    on: Annotated[str | None, typer.Option("--on", metavar="YYYY-MM-DD", help="The day; today when left out.")] = None,
    json: Json = False,
) -> None:
    """Tell when to slash without losing the seed, part by part, and what speaks against the day.

    Example: gridmap slashing home.gpkg --on 2026-01-12
    """
    from api.steps.slashing import tell_slashing

    show.outcome(tell_slashing(grove, on=on), as_json=json)


@show.door
def log_slash(
    grove: Grove, date: Day, block: Block, from_row: FromRow = None, to_row: ToRow = None,
    height: Annotated[float | None, typer.Option("--height", metavar="CM", help="Height of the cut.")] = None,
    refuge: Annotated[
        bool, typer.Option("--refuge", help="Every other row was left, the other way round than last time.")
    ] = False,
    who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Log a slash of one part of the grove.

    Example: gridmap log-slash home.gpkg --date 2026-02-01 --block Top --height 12 --refuge
    """
    from api.steps.slashing import log_slash as step

    slash = {"date": date, "block": block, "from_row": from_row, "to_row": to_row, "height_cm": height,
             "refuge": refuge}  # fmt: skip
    show.outcome(step(grove, slash, who=who), as_json=json)


@show.door
def pin_grass(
    grove: Grove, patch: Annotated[str, typer.Option("--patch", help="What you call the patch.")],
    longitude: Annotated[float, typer.Option("--longitude")], latitude: Annotated[float, typer.Option("--latitude")],
    date: Day, area: Annotated[float, typer.Option("--area", metavar="M2", help="Area paced round; 0 when gone.")],
    grass: Annotated[str | None, typer.Option("--grass", help="Its name.")] = None,
    climbs: Annotated[bool, typer.Option("--climbs", help="It climbs into trees.")] = False,
    who: Who = "grower", json: Json = False,
) -> None:  # fmt: skip
    """Pin a running grass, to follow whether it grows or shrinks.

    Example: gridmap pin-grass home.gpkg --patch gate --longitude 149.1 --latitude -33.2 --date 2026-02-01 --area 14
    """
    from api.steps.slashing import pin_running

    seen = {"patch": patch, "grass": grass, "date": date, "area_m2": area, "climbs": climbs, "longitude": longitude,
            "latitude": latitude}  # fmt: skip
    show.outcome(pin_running(grove, seen, who=who), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("set-sward", short_help="What only you know of the sward.")(set_sward)
    app.command("import-cover", short_help="Read a cover survey.")(import_cover)
    app.command("import-grass", short_help="Read grass as walked or drawn.")(import_grass)
    app.command("import-picture", short_help="Measure the rows in a picture from the air.")(import_picture)
    app.command("import-classes", short_help="Measure the rows in a class raster.")(import_classes)
    app.command("sward", short_help="How the grass climbs.")(sward)
    app.command("check-seed", short_help="Keep a seed-head check.")(check_seed)
    app.command("import-seed-checks", short_help="Read seed-head checks.")(import_seed_checks)
    app.command("slashing", short_help="When to slash.")(slashing)
    app.command("log-slash", short_help="Log a slash.")(log_slash)
    app.command("pin-grass", short_help="Pin a running grass.")(pin_grass)
