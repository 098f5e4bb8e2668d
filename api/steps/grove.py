"""The grove file: make one, say what it holds, copy it, read its history, take an act back."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from api.steps import opening
from api.steps.facts import missing_facts
from api.steps.outcome import Outcome
from api.steps.places_ground import kept_dem
from api.steps.terrain import ground_areas
from api.store import create_grove, open_grove
from gridmap import checks, crs
from gridmap.errors import InputRefused

INVENTED = "INVENTED DEMO GROVE. Not for use."
AREA_FIGURES = {"map ha": "map_area_ha", "ground ha": "ground_area_ha", "DEM covers %": "covered_percent"}


def new_grove(
    path: Path,
    *,
    name: str,
    at: str,
    time_zone: str,
    season_start: str,
    currency: str,
    region: str | None = None,
    crs_named: str | None = None,
    invented: bool = False,
    who: str = "grower",
) -> Outcome:
    """Start a grove file, in the projected CRS of its place unless the grower names one.

    Parameters
    ----------
    path : Path
        Where no file is yet.
    name, region, who : str
        The grower's words.
    at : str
        "longitude,latitude" [degrees], WGS 84.
    time_zone, season_start, currency : str
        IANA name; MM-DD; three letters.
    crs_named : str, optional
        "EPSG:code" of a projected CRS in metres.
    invented : bool
        Marks every output.
    """
    longitude, latitude = position(at)
    code = crs.grove_crs(crs_named) if crs_named else crs.choose_crs(longitude, latitude)
    with create_grove(
        path,
        name=name,
        crs_epsg=code,
        time_zone=time_zone,
        season_start=season_start,
        currency=currency,
        region=region,
        invented=invented,
        who=who,
    ) as grove:
        figures = {"grove": grove.grove.name, "file": str(path), "crs": f"EPSG:{code}", "datum": grove.grove.datum}
    return Outcome(
        said=(
            f"{name} is started in {path.name}. Everything in it is kept in {crs.parse_crs(code).name} (EPSG:{code}).",
            f"Next: the blocks. gridmap import-outlines {path.name} FILE",
        ),
        figures=figures,
    )


def position(text: str) -> tuple[float, float]:
    """Read "longitude,latitude" [degrees].

    Examples
    --------
    >>> position("149.1, -33.25")
    (149.1, -33.25)
    >>> position("-33.25,149.1")
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Latitude is 149.1 degrees: it must be at most 90 degrees. Give longitude first, then
    latitude.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise InputRefused(
            f"the position is {text!r}", "it must be longitude,latitude in degrees", "for instance 149.1,-33.25"
        )
    order = "give longitude first, then latitude"
    return (
        checks.number(parts[0].strip(), "longitude", "degrees", least=-180, most=180, remedy=order),
        checks.number(parts[1].strip(), "latitude", "degrees", least=-90, most=90, remedy=order),
    )


def show_grove(path: Path) -> Outcome:
    """Say what the grove file holds, and what a zone still lacks."""
    with open_grove(path, read_only=True) as grove:
        info, blocks, trees, keep_outs = grove.grove, grove.blocks(), grove.trees(), grove.keep_outs()
        walks, counts, zones, settings = grove.walks(), grove.counts(), grove.zones(), grove.settings()
        terrain, points, dem = grove.terrain(), grove.points(), kept_dem(grove)
    per_block = trees.groupby("block")
    table = pd.DataFrame(
        {
            "block": blocks["block"],
            "hectares": blocks["area_ha"].round(2),
            "rows": blocks["block"].map(per_block["row"].nunique()).fillna(0).astype(int),
            "trees": blocks["block"].map(per_block.size()).fillna(0).astype(int),
            "row m": blocks["row_spacing_m"],
            "tree m": blocks["tree_spacing_m"],
        }
    )
    beaten = counts.groupby("walk")["tree"].nunique()
    round_table = pd.DataFrame(
        {
            "walk": walks["date"].astype(str),
            "name": walks["name"],
            "trees beaten": walks["walk"].map(beaten).fillna(0).astype(int),
        }
    )
    missing = missing_facts(settings)
    said = [
        f"{info.name}: {len(blocks)} blocks, {blocks['area_ha'].sum():.2f} ha of map area, {len(trees):,} trees, "
        f"{len(keep_outs)} keep-outs, {len(walks)} walks."
    ]
    said += [INVENTED] if info.invented else []
    said += [next_step(blocks, trees, walks, missing)]
    areas = None if dem is None else ground_areas(blocks, dem)
    if areas is not None:
        table = table.merge(areas[["block", "ground ha", "DEM covers %"]], on="block")
    tables = {"Blocks": table} if len(table) else {}
    if len(round_table):
        tables["Walks"] = round_table
    if len(keep_outs):
        tables["Keep-outs"] = pd.DataFrame(keep_outs[["name", "kind", "setback_m"]]).rename(
            columns={"setback_m": "setback m"}
        )
    if len(points):
        tables["Gates and refill points"] = pd.DataFrame(points[["name", "kind"]])
    figures = {
        "grove": info.name,
        "invented": info.invented,
        "region": info.region,
        "time_zone": info.time_zone,
        "season_start": info.season_start,
        "currency": info.currency,
        "crs": f"{info.crs_authority}:{info.crs_code}",
        "blocks": len(blocks),
        "map_area_ha": float(blocks["area_ha"].sum()),
        "trees": len(trees),
        "trees_with_metres_upslope": int(trees["upslope_m"].notna().sum()),
        "ground_areas": [] if areas is None else areas.rename(columns=AREA_FIGURES).to_dict("records"),
        "heights_from": {source: held.file_name for source, held in terrain.items()},
        "points": points[["name", "kind"]].to_dict("records"),
        "keep_outs": len(keep_outs),
        "walks": len(walks),
        "counts": len(counts),
        "zones": len(zones),
        "facts": settings,
        "missing": missing,
    }
    return Outcome(said=tuple(said), figures=figures, tables=tables)


def next_step(blocks: pd.DataFrame, trees: pd.DataFrame, walks: pd.DataFrame, missing: list[str]) -> str:
    """Say the one thing to do next."""
    if not len(blocks):
        return "Nothing is drawn yet. Next: gridmap import-outlines."
    if not len(trees):
        return "There are no trees yet. Next: gridmap make-rows, or gridmap import-trees."
    if not len(walks):
        return "There is no walk yet. Beat some trees in every block, then: gridmap import-counts."
    if missing:
        return "For a zone and a mix this is not typed in yet: " + "; ".join(missing) + "."
    return "Everything is there for a zone. Next: gridmap options, gridmap zone, gridmap outputs."


def show_history(path: Path, *, most: int = 20) -> Outcome:
    """List the last acts, newest first, in the grove's local time; what another program edited is among them."""
    with opening.open_grove(path, read_only=True) as grove:
        acts, zone = grove.acts(most), ZoneInfo(grove.grove.time_zone)
    local = pd.to_datetime(acts["at"], utc=True).dt.tz_convert(zone)
    table = pd.DataFrame(
        {"when": local.dt.strftime("%Y-%m-%d %H:%M"), "who": acts["who"], "what": acts["what"], "entries": acts["rows"]}
    )
    return Outcome(
        said=(f"The last {len(acts)} acts, newest first.",),
        figures={"acts": acts.to_dict("records")},
        tables={"History": table},
    )


def is_undo(what: str) -> bool:
    """Whether an act takes another back; what takes an undo back does the act again.

    >>> is_undo("undo: draw block Top"), is_undo("undo: undo: draw block Top")
    (True, False)
    """
    depth = 0
    while what.startswith("undo: "):
        what, depth = what.removeprefix("undo: "), depth + 1
    return depth % 2 == 1


def taken_back(whats: list[str]) -> list[bool]:
    """Say of each act, newest first, whether it is taken back now.

    >>> taken_back(["undo: draw Low", "draw Top", "draw Low"])
    [False, False, True]
    >>> taken_back(["undo: undo: draw Low", "undo: draw Low", "draw Low"])
    [False, True, False]
    """
    waiting: list[str] = []
    told = []
    for what in whats:
        told.append(what in waiting)
        if told[-1]:
            waiting.remove(what)
        elif what.startswith("undo: "):
            waiting.append(what.removeprefix("undo: "))
    return told


def undo_last(path: Path, *, who: str = "grower") -> Outcome:
    """Take back the newest act that is not an undo or undone already."""
    with open_grove(path) as grove:
        acts = grove.acts(None)
        for act, undone in zip(acts.to_dict("records"), taken_back(list(acts["what"])), strict=True):
            if undone or is_undo(act["what"]):
                continue
            if act["what"] == "new grove":
                break
            grove.undo(act["act"], who=who)
            return Outcome(
                said=(f"Taken back: {act['what']} ({entries(act['rows'])}). The history keeps both.",),
                figures={"undone": act["what"], "act": act["act"], "entries": act["rows"]},
            )
    raise InputRefused("there is nothing to take back", "the grove is as it was made")


def entries(number: int) -> str:
    """Say how many entries an act changed."""
    return "1 entry" if number == 1 else f"{number:,} entries"


def back_up(path: Path, target: Path) -> Outcome:
    """Copy the grove to a file while it may be in use; the copy is checked before it gets its name."""
    with open_grove(path, read_only=True) as grove:
        copy = grove.backup(target)
    size = copy.stat().st_size
    return Outcome(
        said=(f"Copied to {copy} ({size / 1e6:.1f} MB); the copy was checked.",),
        figures={"copy": str(copy), "size_bytes": size},
    )
