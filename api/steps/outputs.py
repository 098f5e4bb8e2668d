"""What leaves the grove file: the map as picture and page, the zone in every format, the run sheet, every figure."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from api.steps.facts import Facts, facts_of
from api.steps.grove import INVENTED
from api.steps.outcome import Outcome, plain
from api.steps.places_ground import coordinates, upslope_of
from api.steps.pressure import Pressure, load_grove, work_out_pressure
from api.steps.pressure_report import describe_pressure, write_pressure
from api.store import Zone, open_grove
from gridmap import __version__
from gridmap.errors import FileRefused
from gridmap.exchange import write_layer
from maps import Scene, ZoneFacts, pressure_picture, run_sheet, takeaway_map

ZONE_FORMATS = ("geojson", "gpkg", "kml", "shp.zip")
AGREEING = 0.5
CAUTION = "The label and the permit are the law; local codes and a licensed adviser come before this."


def write_outputs(path: Path, out: Path, *, walk: str | None = None) -> Outcome:
    """Write map, zone, sheet and summary into a folder, from what the grove file holds.

    The zone is the newest one of the walk, as it was kept; printing its sheet freezes it, so that what is sprayed by
    is what stays in the file.

    Parameters
    ----------
    path : Path
        Grove file.
    out : Path
        Folder; made when it is not there.
    walk : str, optional
        Date or name of a walk; the latest when left out.

    Raises
    ------
    FileRefused
        The folder can't be made or written.
    InputMissing
        There is no walk, or it is not said what it counts.
    """
    make_folder(out)
    result = work_out_pressure(load_grove(path, walk=walk))
    zone = newest_zone_of(path, result)
    files = _write_map(result, zone, out)
    if zone is not None:
        files += write_zone(result, zone, out)
        files.append(print_sheet(result, zone, out))
        _freeze(path, zone)
    described = describe_pressure(result)
    figures = {
        **described.figures,
        "zone": None
        if zone is None
        else {"zone": zone.uuid, "version": zone.version, "created": zone.created.isoformat(), **zone.summary},
        "decision": _decision(path, zone),
        "facts": facts_figures(result.grove.facts),
        "gridmap": __version__,
        "caution": CAUTION,
    }
    summary = out / "summary.json"
    summary.write_text(json.dumps(plain(figures), ensure_ascii=False, indent=2) + "\n", "utf-8")
    with open_grove(path, read_only=True) as grove:
        grove.backup(out / "grove.gpkg")
    files += [summary, out / "grove.gpkg"]
    said = list(described.said)
    said.append(
        "No zone is kept for this walk; run gridmap zone for runs, sheet and exports."
        if zone is None
        else f"{zone.name.capitalize()}, version {zone.version}: {zone.summary['trees']} trees, "
        f"{zone.summary['runs']} runs, {zone.summary['litres']:,.0f} L. It is frozen now, since its sheet is printed."
    )
    said.append(f"In {out}: {', '.join(sorted(file.name for file in files))}.")
    return Outcome(
        said=tuple(said),
        figures={**figures, "files": [file.name for file in files]},
        tables=described.tables,
        cautions=(CAUTION,),
    )


def make_folder(out: Path) -> None:
    """Make the folder that the files go into."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        probe = out / ".gridmap"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise FileRefused(f"{out} can't be written", error.strerror, "give a folder of your own") from None


def newest_zone_of(path: Path, result: Pressure) -> Zone | None:
    """Return the newest zone of the walk, None where none is kept."""
    with open_grove(path, read_only=True) as grove:
        zones = grove.zones()
        same = zones[zones["walk"] == result.grove.walk["walk"]]
        return None if same.empty else grove.zone(str(same.iloc[-1]["zone"]))


def _decision(path: Path, zone: Zone | None) -> dict[str, Any] | None:
    """Return the decision that the zone follows, as it was made."""
    if zone is None or zone.decision is None:
        return None
    with open_grove(path, read_only=True) as grove:
        return next((made["made"] for made in grove.decisions() if made["decision"] == zone.decision), None)


def _freeze(path: Path, zone: Zone) -> None:
    """Freeze a zone whose sheet was printed."""
    if not zone.frozen:
        with open_grove(path) as grove:
            grove.freeze_zone(zone.uuid, what="print the run sheet")


def scene_of(result: Pressure, zone: Zone | None = None) -> Scene:
    """Collect what the pictures show."""
    grove = result.grove
    return Scene(
        grove=grove.info.name,
        invented=grove.info.invented,
        blocks=grove.blocks,
        trees=grove.trees,
        keep_outs=grove.keep_outs,
        counts=grove.counts,
        pressure=result.frame,
        block_table=result.blocks,
        hot_spots=result.spots,
        walk_date=grove.walk["date"] if isinstance(grove.walk["date"], date) else None,
        threshold=grove.facts.threshold.per_beat,
        threshold_counts=result.counted,
        uphill_bearing_deg=uphill(grove.info.uphill_bearing_deg, grove.blocks, grove.trees),
        points=grove.points,
        dem=grove.dem,
        **({} if zone is None else {"runs": zone.runs, "zone": zone.geometry}),
    )


def uphill(of_grove: float | None, blocks: gpd.GeoDataFrame, trees: gpd.GeoDataFrame) -> float | None:
    """Return the one uphill bearing of a grove [degrees], None where there is none, as on a knoll.

    The grower's own arrow comes first, then what the heights of the trees tell if they are sure, then the middle
    direction of the blocks if most of them agree.
    """
    if of_grove is not None:
        return of_grove
    if trees["elevation_m"].notna().any():
        told = upslope_of(coordinates(trees), trees["elevation_m"].to_numpy(dtype=float))
        if told is not None:
            return told.bearing_deg if told.sure else None
    bearings = np.radians(blocks["uphill_bearing_deg"].dropna().to_numpy(dtype=float))
    if not len(bearings):
        return None
    east, north = np.sin(bearings).mean(), np.cos(bearings).mean()
    # Where the arrows cancel to under half of their length, no one arrow is true for the grove (as in `block_upslope`).
    return float(np.degrees(np.arctan2(east, north)) % 360) if np.hypot(east, north) >= AGREEING else None


def _write_map(result: Pressure, zone: Zone | None, out: Path) -> list[Path]:
    """Write the pressure table, picture and take-away map."""
    files = [out / "pressure.csv", out / "pressure.png", out / "pressure.html"]
    write_pressure(result, files[0])
    scene = scene_of(result, zone)
    pressure_picture(scene, files[1])
    takeaway_map(scene, files[2])
    return files


def write_zone(result: Pressure, zone: Zone, out: Path) -> list[Path]:
    """Write the zone in every format: its outline, its runs as tracks, its runs as a table."""
    info = result.grove.info
    note = f"{INVENTED} {CAUTION}" if info.invented else CAUTION
    crs = result.grove.blocks.crs
    outline = gpd.GeoDataFrame(
        {
            "zone": [zone.uuid],
            "name": [f"{info.name}, {zone.name}"],
            "version": [zone.version],
            "trees": [zone.summary["trees"]],
            "runs": [zone.summary["runs"]],
            "litres": [zone.summary["litres"]],
            "area_ha": [zone.summary["area_ha"]],
            "walk_date": [str(result.grove.walk["date"])],
            "invented": [info.invented],
        },
        geometry=[zone.geometry],
        crs=crs,
    )
    files = []
    for ending in ZONE_FORMATS:
        files.append(out / f"zone.{ending}")
        write_layer(outline, files[-1], ending, layer="zone", note=note)
    runs = zone.runs.assign(
        name=[
            f"Run {row.run}: {row.block} row {row.row}, tree {row.from_position} to {row.to_position}"
            for row in zone.runs.itertuples()
        ]
    )
    files += [out / "zone.gpx", out / "runs.csv"]
    write_layer(runs, files[-2], "gpx", layer="runs", note=note)
    plain_runs = runs.drop(columns="name").round({"length_m": 2, "litres": 2})
    write_layer(plain_runs, files[-1], "csv", note=note, wkt=True)
    return files


def print_sheet(result: Pressure, zone: Zone, out: Path) -> Path:
    """Print the run sheet from the zone as it was kept, with the facts that it was made with."""
    made_with: Facts = facts_of(zone.settings)
    local = zone.created.astimezone(ZoneInfo(result.grove.info.time_zone)).date()
    facts = ZoneFacts(
        zone=zone.uuid[:8],
        worked_out=local,
        area_ha=zone.summary["area_ha"],
        changed_by_hand=zone.summary["changed_by_hand"],
    )
    loads = zone.loads if isinstance(zone.loads, pd.DataFrame) and len(zone.loads) else None
    return run_sheet(
        scene_of(result, zone),
        out / "run-sheet.pdf",
        zone=facts,
        loads=loads,
        label=made_with.label,
        sprayer=made_with.sprayer,
    )


def facts_figures(facts: Facts) -> dict[str, Any]:
    """Return what the grower typed, as it was typed."""
    return {
        "threshold": facts.threshold.to_dict(),
        "sprayer": facts.sprayer.to_dict(),
        "label": facts.label.to_dict(),
        "prices": facts.prices.to_dict(),
    }
