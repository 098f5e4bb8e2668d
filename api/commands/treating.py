"""The right hour, the treatment as it happens, its record, and whether it worked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from api import show
from api.commands.options import Grove, Json, Who

Number = float | None
Treatment = Annotated[
    str | None, typer.Option("--treatment", metavar="UUID", help="Which treatment; the newest when left out.")
]


def _typed(option: str, text: str, metavar: str = "NUMBER") -> Any:
    """Make one option that may be left out."""
    return typer.Option(option, help=text, metavar=metavar)


def _pairs(given: list[str] | None, what: str) -> dict[str, str]:
    """Read NAME=VALUE arguments."""
    found = {}
    for text in given or []:
        name, equals, value = text.partition("=")
        if not equals or not name:
            raise typer.BadParameter(f"{what} is {text!r}: write NAME=VALUE")
        found[name.strip().replace("-", "_")] = value.strip()
    return found


@show.door
def import_weather(
    grove: Grove,
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", show_default=False)],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="What you call this table.")] = "weather",
    column: Annotated[
        list[str] | None, typer.Option("--column", metavar="OURS=THEIRS", help="Where the guess of a column is wrong.")
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", metavar="OURS=UNIT", help="Unit that the header does not say.")
    ] = None,
    utc: Annotated[bool, typer.Option("--utc", help="Times without an offset are UTC, not local.")] = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read the hours of a station or a forecast (CSV). Columns are guessed and shown; units are asked for.

    Example: gridmap import-weather home.gpkg station.csv --unit wind_km_per_h=m/s
    """
    from api.steps.weather import import_weather as step

    show.outcome(
        step(grove, file, name=name, columns=_pairs(column, "--column"), units=_pairs(unit, "--unit"),
             times="utc" if utc else "local", who=who),
        as_json=json,
    )


@show.door
def set_weather_limits(
    grove: Grove,
    least_wind: Annotated[Number, _typed("--least-wind", "The label's least wind.", "KM-PER-HOUR")] = None,
    most_wind: Annotated[Number, _typed("--most-wind", "The label's greatest wind.", "KM-PER-HOUR")] = None,
    careful_wind: Annotated[Number, _typed("--careful-wind", "From here you take care.", "KM-PER-HOUR")] = None,
    least_depression: Annotated[Number, _typed("--least-depression", "Wet-bulb depression, least.", "DEGREES")] = None,
    most_depression: Annotated[Number, _typed("--most-depression", "Wet-bulb depression, most.", "DEGREES")] = None,
    never_depression: Annotated[Number, _typed("--never-depression", "Over this you never spray.", "DEGREES")] = None,
    most_temperature: Annotated[Number, _typed("--most-temperature", "The greatest temperature.", "DEGREES")] = None,
    rain_fast: Annotated[Number, _typed("--rain-fast", "Hours without rain that the label asks for.", "HOURS")] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Type in the weather limits off your label. Where you type none, usual ones stand in and say so.

    Example: gridmap set-weather-limits home.gpkg --least-wind 3 --most-wind 15 --rain-fast 6
    """
    from api.steps.weather import set_weather_limits as step

    typed = {"least_wind_km_per_h": least_wind, "most_wind_km_per_h": most_wind, "careful_wind_km_per_h": careful_wind,
             "least_depression_c": least_depression, "most_depression_c": most_depression,
             "never_depression_c": never_depression, "most_temperature_c": most_temperature,
             "rain_fast_hours": rain_fast}
    show.outcome(step(grove, typed, who=who), as_json=json)


@show.door
def note_flowering(
    grove: Grove,
    flowering: Annotated[
        str | None, typer.Argument(metavar="WHAT", help="none, trees, sward, both or unknown.", show_default=False)
    ] = None,
    bees_not_flying: Annotated[
        str | None,
        typer.Option("--bees-not-flying", metavar="TIME", help="When you looked and saw none: 2026-11-03T18:30."),
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Note what flowers, in the trees or in the sward, or that no bee was flying when you looked.

    Example: gridmap note-flowering home.gpkg sward
    """
    from api.steps.weather import note_flowering as step

    show.outcome(step(grove, flowering, bees_not_flying_at=bees_not_flying, who=who), as_json=json)


@show.door
def spray_hours(
    grove: Grove,
    day: Annotated[str | None, typer.Option("--day", metavar="YYYY-MM-DD", help="First day of the table.")] = None,
    hours: Annotated[int, typer.Option("--hours", min=1, max=336, help="How many hours.")] = 48,
    name: Annotated[str | None, typer.Option("--name", metavar="NAME", help="Weather table; the latest read.")] = None,
    json: Json = False,
) -> None:
    """Judge each hour: good, careful or no, with its reasons in words.

    Example: gridmap spray-hours home.gpkg --day 2026-11-03
    """
    from api.steps.weather import spray_hours as step

    show.outcome(step(grove, name=name, day=day, hours=hours), as_json=json)


@show.door
def check_trees(
    grove: Grove,
    n: Annotated[int | None, typer.Option("--trees", min=1, help="How many; as the power asks when left out.")] = None,
    hoped: Annotated[float, typer.Option("--hoped", metavar="PERCENT", help="Fall that you hope for.")] = 80.0,
    power: Annotated[float, typer.Option("--power", metavar="CHANCE", help="Chance of proving it.")] = 0.8,
    look: Annotated[bool, typer.Option("--look", help="Only look: nothing is kept.")] = False,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Name the trees of the newest zone to leave unsprayed, so that the treatment can be proved.

    Example: gridmap check-trees home.gpkg --hoped 80
    """
    from api.steps.efficacy import propose_checks

    show.outcome(propose_checks(grove, n=n, hoped_percent=hoped, power=power, keep=not look, who=who), as_json=json)


@show.door
def start_treatment(
    grove: Grove,
    profile: Annotated[
        str | None,
        typer.Option("--profile", metavar="REGION", help="Whose law the record follows; asked once. See --profiles."),
    ] = None,
    zone: Annotated[str | None, typer.Option("--zone", metavar="UUID", help="Which zone; the newest.")] = None,
    name: Annotated[str | None, typer.Option("--name", metavar="NAME", help="What you call it.")] = None,
    day: Annotated[str | None, typer.Option("--day", metavar="YYYY-MM-DD", help="Local day; today.")] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Begin a treatment of a zone: zone and label are kept as they stand, and the label's terms are judged.

    Example: gridmap start-treatment home.gpkg --profile au-vic
    """
    from api.steps.treating import start_treatment as step

    show.outcome(step(grove, zone=zone, name=name, profile=profile, on=day, who=who), as_json=json)


@show.door
def record_facts(
    grove: Grove,
    values: Annotated[list[str], typer.Argument(metavar="NAME=VALUE", show_default=False)],
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Type in what stands in every record, and what the label's terms are judged by.

    Names: profile, state, end_use (table or oil), address, crop, crop_code, applicator_name, applicator_contact,
    applicator_licence, employer, sprayed_for, occupier; harvest.BLOCK and grazing.BLOCK with the planned day.

    Example: gridmap record-facts home.gpkg state=Vic end_use=oil "harvest.Top=2027-05-01"
    """
    from api.steps.treating import set_record_facts

    given = {}
    for text in values:
        name, equals, value = text.partition("=")
        if not equals:
            raise typer.BadParameter(f"a value is {text!r}: write NAME=VALUE")
        given[name.strip()] = value.strip()
    show.outcome(set_record_facts(grove, given, who=who), as_json=json)


@show.door
def record(
    grove: Grove,
    kind: Annotated[
        str | None,
        typer.Argument(
            metavar="KIND", show_default=False,
            help="start, wind, run, load, stop, resume, finish, leftover, field, note or correction; none to look.",
        ),
    ] = None,
    values: Annotated[list[str] | None, typer.Argument(metavar="NAME=VALUE", show_default=False)] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When it happened; now when left out.")] = None,
    corrects: Annotated[str | None, typer.Option("--corrects", metavar="UUID", help="Entry that is corrected.")] = None,
    treatment: Treatment = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Write down what happens while spraying, or look at the record: what is missing, how long is left, what is undone.

    Nothing that was written is changed: a correction is a new entry that names the old one.

    Example: gridmap record home.gpkg run run=3 litres=55
    """
    from api.steps.record_input import read_values
    from api.steps.treating import show_record, write_down

    if kind is None:
        show.outcome(show_record(grove, treatment_uuid=treatment), as_json=json)
        return
    content = read_values(_pairs(values, "a value"))
    show.outcome(
        write_down(grove, kind, content, treatment_uuid=treatment, at=at, corrects=corrects, who=who), as_json=json
    )


@show.door
def efficacy(
    grove: Grove,
    before: Annotated[str | None, typer.Option("--before", metavar="DATE", help="Walk before.")] = None,
    after: Annotated[str | None, typer.Option("--after", metavar="DATE", help="Walk after.")] = None,
    treatment: Treatment = None,
    json: Json = False,
) -> None:
    """Compare counts before and after, sprayed trees against check trees, with limits.

    Example: gridmap efficacy home.gpkg
    """
    from api.steps.efficacy import efficacy as step

    show.outcome(step(grove, treatment_uuid=treatment, before=before, after=after), as_json=json)


@show.door
def when_again(
    grove: Grove,
    interval: Annotated[Number, _typed("--interval", "Your own interval.", "DAYS")] = None,
    calendar: Annotated[
        Path | None, typer.Option("--calendar", metavar="FILE.ics", help="Write the dates to a calendar file.")
    ] = None,
    treatment: Treatment = None,
    json: Json = False,
) -> None:
    """Tell when to beat again and when the label allows a second spray. The count decides.

    Example: gridmap when-again home.gpkg --interval 12 --calendar again.ics
    """
    from api.steps.efficacy import when_again as step

    show.outcome(step(grove, treatment_uuid=treatment, interval_days=interval, calendar=calendar), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("import-weather", short_help="Read hours of a station or a forecast.")(import_weather)
    app.command("set-weather-limits", short_help="Type in the label's weather limits.")(set_weather_limits)
    app.command("note-flowering", short_help="Note what flowers, or that no bee flies.")(note_flowering)
    app.command("spray-hours", short_help="Good, careful or no, hour by hour.")(spray_hours)
    app.command("check-trees", short_help="Trees to leave unsprayed.")(check_trees)
    app.command("start-treatment", short_help="Begin a treatment of a zone.")(start_treatment)
    app.command("record-facts", short_help="What stands in every record.")(record_facts)
    app.command("record", short_help="Write down what happens; look at the record.")(record)
    app.command("efficacy", short_help="Did it work?")(efficacy)
    app.command("when-again", short_help="When to beat, and to spray, again.")(when_again)
