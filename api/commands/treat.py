"""Treatment: what only the grower knows, then options, zone and mix."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from api import show
from api.commands.options import Grove, Json, Walk, Who

Number = float | None


def _field(option: str, text: str, metavar: str = "NUMBER") -> Any:
    """Make one option of a command that takes the grower's own figures; all may be left out and told later."""
    return typer.Option(option, help=text, metavar=metavar)


@show.door
def set_threshold(
    grove: Grove,
    per_beat: Annotated[
        float, typer.Argument(metavar="COUNT", help="Your action threshold for one standard beat.", show_default=False)
    ],
    counts: Annotated[str, typer.Option("--counts", help="What it counts: nymphs or nymphs_and_adults.")],
    taps: Annotated[int, typer.Option("--taps", min=1, help="Taps of one standard beat.")],
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Type in your action threshold. It is yours: none is published for olive lace bug.

    Example: gridmap set-threshold home.gpkg 5 --counts nymphs_and_adults --taps 3
    """
    from api.steps.facts import set_facts

    show.outcome(
        set_facts(grove, "threshold", {"per_beat": per_beat, "counts": counts, "standard_taps": taps}, who=who),
        as_json=json,
    )


@show.door
def set_sprayer(
    grove: Grove,
    name: Annotated[str | None, _field("--name", "What you call it.", "NAME")] = None,
    method: Annotated[str | None, _field("--method", "How it works: hand_gun.", "METHOD")] = None,
    tank: Annotated[Number, _field("--tank", "What the tank holds.", "LITRES")] = None,
    flow: Annotated[Number, _field("--flow", "Flow of the gun, from a timed catch.", "L-PER-MINUTE")] = None,
    litres_per_tree: Annotated[
        Number, _field("--litres-per-tree", "Measured on a few trees, to run-off.", "LITRES")
    ] = None,
    run_start: Annotated[Number, _field("--run-start", "To begin a run: walk there, pull the hose.", "MINUTES")] = None,
    between_trees: Annotated[
        Number, _field("--between-trees", "From one tree to the next, gun shut.", "MINUTES")
    ] = None,
    refill: Annotated[Number, _field("--refill", "To fill the tank and come back with it.", "MINUTES")] = None,
    speed: Annotated[
        Number, _field("--speed", "Travel speed by timed distance, for the area rate.", "KM-PER-HOUR")
    ] = None,
    wetting_box: Annotated[
        Number, _field("--wetting-box", "Your wetting coefficient, canopy as a box.", "L-PER-M3")
    ] = None,
    wetting_ellipsoid: Annotated[
        Number, _field("--wetting-ellipsoid", "The same, canopy as an ellipsoid.", "L-PER-M3")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Type in what you measured on your sprayer. What you leave out keeps what you typed before.

    Example: gridmap set-sprayer home.gpkg --name "Hand-gun" --method hand_gun --tank 200 --flow 6 --litres-per-tree 3.2
    --run-start 2 --refill 20
    """
    from api.steps.facts import set_facts

    typed = {
        "name": name,
        "method": method,
        "tank_l": tank,
        "flow_l_per_min": flow,
        "litres_per_tree": litres_per_tree,
        "minutes_per_run_start": run_start,
        "minutes_between_trees": between_trees,
        "minutes_per_refill": refill,
        "speed_km_per_h": speed,
        "litres_per_m3_box": wetting_box,
        "litres_per_m3_ellipsoid": wetting_ellipsoid,
    }
    show.outcome(set_facts(grove, "sprayer", typed, who=who), as_json=json)


@show.door
def set_label(
    grove: Grove,
    product: Annotated[str | None, _field("--product", "Full name on the drum.", "NAME")] = None,
    rate: Annotated[Number, _field("--rate", "The rate on the label.")] = None,
    unit: Annotated[str | None, _field("--unit", "mL, L, g or kg.", "UNIT")] = None,
    basis: Annotated[str | None, _field("--basis", "per_100_l or per_ha.", "BASIS")] = None,
    concentrate_factor: Annotated[
        Number, _field("--concentrate-factor", "Dilute litres over litres sprayed.", "FACTOR")
    ] = None,
    highest_factor: Annotated[
        Number, _field("--highest-concentrate-factor", "The most the label allows.", "FACTOR")
    ] = None,
    withholding: Annotated[Number, _field("--withholding", "Last spray to harvest.", "DAYS")] = None,
    reentry: Annotated[str | None, _field("--reentry", "Re-entry, in the label's words.", "WORDS")] = None,
    setbacks: Annotated[str | None, _field("--setbacks", "Setbacks, in the label's words.", "WORDS")] = None,
    permit: Annotated[str | None, _field("--permit", "Permit, where one is needed.", "NUMBER")] = None,
    expires: Annotated[str | None, _field("--expires", "Last day of the permit.", "YYYY-MM-DD")] = None,
    states: Annotated[str | None, _field("--states", "States it is for, with commas.", "WORDS")] = None,
    end_uses: Annotated[str | None, _field("--end-uses", "What the crop may be for: table, oil.", "WORDS")] = None,
    batch: Annotated[str | None, _field("--batch", "Batch on the drum.", "WORDS")] = None,
    mode_of_action: Annotated[str | None, _field("--mode-of-action", "Its group.", "GROUP")] = None,
    most_per_season: Annotated[Number, _field("--most-per-season", "Applications in a season.", "NUMBER")] = None,
    most_in_a_row: Annotated[Number, _field("--most-in-a-row", "In a row of one group.", "NUMBER")] = None,
    least_interval: Annotated[Number, _field("--least-interval", "Between two applications.", "DAYS")] = None,
    grazing: Annotated[Number, _field("--grazing", "Last spray to grazing.", "DAYS")] = None,
    least_water: Annotated[Number, _field("--least-water", "Least water on a hectare.", "L-PER-HA")] = None,
    typed_on: Annotated[
        str | None, _field("--typed-on", "Day you read the label; today when left out.", "YYYY-MM-DD")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Copy the facts off the label in your hand. The label and the permit are the law; gridmap proposes no rate.

    Example: gridmap set-label home.gpkg --product "as on the drum" --rate NUMBER --unit mL --basis per_100_l
    """
    from api.steps.facts import set_facts

    typed = {
        "product": product,
        "rate": rate,
        "rate_unit": unit,
        "rate_basis": basis,
        "concentrate_factor": concentrate_factor,
        "highest_concentrate_factor": highest_factor,
        "withholding_days": withholding,
        "reentry": reentry,
        "setbacks": setbacks,
        "permit": permit,
        "expires": expires,
        "typed_on": typed_on,
        "states": states,
        "end_uses": end_uses,
        "batch": batch,
        "mode_of_action": mode_of_action,
        "most_per_season": most_per_season,
        "most_in_a_row": most_in_a_row,
        "least_interval_days": least_interval,
        "grazing_days": grazing,
        "least_water_l_per_ha": least_water,
    }
    show.outcome(set_facts(grove, "label", typed, who=who), as_json=json)


@show.door
def set_prices(
    grove: Grove,
    labour: Annotated[Number, _field("--labour", "What an hour's work costs.", "PER-HOUR")] = None,
    product: Annotated[Number, _field("--product", "What a litre or kilogram of product costs.", "PER-UNIT")] = None,
    water: Annotated[Number, _field("--water", "What a cubic metre of water costs; 0 where nothing.", "PER-M3")] = None,
    crop: Annotated[Number, _field("--crop", "Crop of one tree.", "KG")] = None,
    crop_price: Annotated[Number, _field("--crop-price", "What a kilogram brings.", "PER-KG")] = None,
    share_lost: Annotated[
        Number, _field("--share-lost", "Share of its crop that a tree over threshold loses when left, 0 to 1.", "SHARE")
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Type in your prices, in the grove's currency. They turn a chance into a decision.

    Example: gridmap set-prices home.gpkg --labour 35 --product 48 --water 2 --crop 14 --crop-price 1.1 --share-lost 0.3
    """
    from api.steps.facts import set_facts

    typed = {
        "labour_per_hour": labour,
        "product_per_unit": product,
        "water_per_m3": water,
        "crop_kg_per_tree": crop,
        "crop_price_per_kg": crop_price,
        "share_lost_if_left": share_lost,
    }
    show.outcome(set_facts(grove, "prices", typed, who=who), as_json=json)


@show.door
def import_facts(
    grove: Grove,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="JSON.", show_default=False)],
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Read threshold, sprayer, label and prices from one file, as `gridmap show --json` writes them.

    Example: gridmap import-facts home.gpkg grower.json
    """
    from api.steps.facts import import_facts as step

    show.outcome(step(grove, file, who=who), as_json=json)


@show.door
def options(grove: Grove, walk: Walk = None, json: Json = False) -> None:
    """Put side by side what nothing, a spot, whole blocks and everything would cost, and how sure that is.

    Example: gridmap options home.gpkg
    """
    from api.steps.treatment import work_out_options

    with show.progress("Weighing the four ways to act"):
        result = work_out_options(grove, walk=walk)
    show.outcome(result, as_json=json)


@show.door
def zone(
    grove: Grove,
    walk: Walk = None,
    margin_along: Annotated[
        float, typer.Option("--margin-along", metavar="METRES", help="Spread margin along the rows.")
    ] = 0.0,
    margin_across: Annotated[
        float, typer.Option("--margin-across", metavar="METRES", help="Spread margin across the rows.")
    ] = 0.0,
    add: Annotated[
        list[str] | None,
        typer.Option("--add", metavar="BLOCK/ROW[/FROM-TO]", help="Add trees by hand; may be given again."),
    ] = None,
    drop: Annotated[
        list[str] | None,
        typer.Option("--drop", metavar="BLOCK/ROW[/FROM-TO]", help="Drop trees by hand; may be given again."),
    ] = None,
    who: Who = "grower",
    json: Json = False,
) -> None:
    """Choose the trees worth spraying as whole runs of row, clear of every setback, and keep the zone in the file.

    Example: gridmap zone home.gpkg --margin-along 5 --drop "Top/3/1-4"
    """
    from api.steps.treatment import make_zone

    with show.progress("Working out runs"):
        result = make_zone(
            grove,
            walk=walk,
            margin_along_m=margin_along,
            margin_across_m=margin_across,
            add=add or [],
            drop=drop or [],
            who=who,
        )
    show.outcome(result, as_json=json)


@show.door
def mix(grove: Grove, json: Json = False) -> None:
    """Work out litres, product and tank loads for the newest zone.

    Example: gridmap mix home.gpkg
    """
    from api.steps.treatment import work_out_mix

    show.outcome(work_out_mix(grove), as_json=json)


def register(app: typer.Typer) -> None:
    """Add these subcommands."""
    app.command("set-threshold", short_help="Type in your action threshold.")(set_threshold)
    app.command("set-sprayer", short_help="Type in what your sprayer does.")(set_sprayer)
    app.command("set-label", short_help="Copy the facts off your label.")(set_label)
    app.command("set-prices", short_help="Type in your prices.")(set_prices)
    app.command("import-facts", short_help="Read all of these from one file.")(import_facts)
    app.command("options", short_help="What each way to act would cost.")(options)
    app.command("zone", short_help="Choose the trees and runs to spray.")(zone)
    app.command("mix", short_help="Litres, product and tank loads.")(mix)
