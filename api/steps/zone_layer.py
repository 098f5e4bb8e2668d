"""Zones as a page shows and edits them: every edit is a new version, and the second of two windows is told."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from api.steps import treatment as treating
from api.steps.geojson import columns, feature_collection, geometry_json
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.pressure_layer import ask_pressure
from api.store import Grove, Zone
from api.store.refusals import Conflict, NotThere
from gridmap import treatment
from gridmap.crs import to_lonlat

HAND = ("add", "drop")


def zone_list(where: Path) -> list[dict[str, Any]]:
    """Return every version of every zone, oldest first."""
    with open_grove(where, read_only=True) as grove:
        zones, versions = grove.zones(), grove.versions("zone")
    newest = _newest(zones)
    return plain(
        [
            {
                "zone": row["zone"],
                "name": row["name"],
                "version_number": row["version"],
                "frozen": row["frozen"],
                "walk": row["walk"],
                "created": row["created"],
                "area_ha": row["area_ha"],
                "newest": row["zone"] in newest,
                "version": str(versions.get(row["zone"], 0)),
            }
            for row in zones.drop(columns="geometry").to_dict("records")
        ]
    )


def _newest(zones: pd.DataFrame) -> set[str]:
    """Return the newest zone of every walk."""
    return set(zones.groupby("walk", sort=False, dropna=False).tail(1)["zone"]) if len(zones) else set()


def zone_layer(where: Path, zone: str) -> dict[str, Any]:
    """Return one version of a zone: its outline, runs, trees, loads, and what it was made with."""
    with open_grove(where, read_only=True) as grove:
        zones, versions = grove.zones(), grove.versions("zone")
        if zone not in set(zones["zone"]):
            raise NotThere(f"there is no zone {zone}")
        kept, crs = grove.zone(zone), grove.crs
    outline = to_lonlat(gpd.GeoDataFrame(geometry=[kept.geometry], crs=crs)).geometry.iloc[0]
    settings = kept.settings
    return plain(
        {
            "zone": kept.uuid,
            "name": kept.name,
            "version_number": kept.version,
            "replaces": kept.replaces,
            "frozen": kept.frozen,
            "newest": kept.uuid in _newest(zones),
            "walk": kept.walk,
            "created": kept.created,
            "outline": {"type": "Feature", "properties": {"name": kept.name}, "geometry": geometry_json(outline)},
            "runs": feature_collection(kept.runs.drop(columns="zone")),
            "trees": {"columns": columns(kept.trees, ["tree", "run", "why"])},
            "loads": kept.loads.to_dict("records"),
            "summary": kept.summary,
            "margin_along_m": settings.get("margin_along_m", 0.0),
            "margin_across_m": settings.get("margin_across_m", 0.0),
            **{side: list(settings.get(side, [])) for side in HAND},
            "cautions": list(treatment.cautions("zone")),
            "version": str(versions.get(kept.uuid, 0)),
        }
    )


def add_zone(
    where: Path,
    zone: str,
    *,
    replaces: str | None,
    walk: str | None = None,
    margin_along_m: float = 0.0,
    margin_across_m: float = 0.0,
    add: Sequence[str] = (),
    drop: Sequence[str] = (),
    who: str = "grower",
) -> Outcome:
    """Make a zone under the UUID its maker gave it, as the newest of its walk; sent again, it is made once.

    Raises
    ------
    Conflict
        Another zone is the newest of this walk than the one that ``replaces`` names.
    """
    with open_grove(where, read_only=True) as grove:
        if zone in set(grove.zones()["zone"]):
            held = grove.zone(zone)
            if held.replaces != replaces or _asked(held) != (margin_along_m, margin_across_m, list(add), list(drop)):
                raise Conflict(f"zone {zone} is stored already, made otherwise", "what is sent again must be the same")
            return Outcome(figures={"zone": zone, "new": False})
    ask_pressure(where, walk=walk)
    done = treating.make_zone(
        where,
        walk=walk,
        margin_along_m=margin_along_m,
        margin_across_m=margin_across_m,
        add=add,
        drop=drop,
        zone=zone,
        replaces=replaces,
        who=who,
    )
    return Outcome(said=done.said, figures={"zone": done.figures.get("zone"), "new": True}, cautions=done.cautions)


def _asked(zone: Zone) -> tuple[float, float, list[str], list[str]]:
    settings = zone.settings
    return (
        float(settings.get("margin_along_m", 0.0)),
        float(settings.get("margin_across_m", 0.0)),
        list(settings.get("add", [])),
        list(settings.get("drop", [])),
    )


def edit_zone(
    where: Path, zone: str, new: str, *, add: Sequence[str] = (), drop: Sequence[str] = (), who: str = "grower"
) -> Outcome:
    """Add trees and runs to a zone by hand, or drop them: a new version under the UUID ``new``, the old one stays.

    What is named again the other way round goes by the later word.
    """
    with open_grove(where, read_only=True) as grove:
        held = _held(grove, zone)
    along, across, added, dropped = _asked(held)
    added = [*(item for item in added if item not in drop and item not in add), *add]
    dropped = [*(item for item in dropped if item not in add and item not in drop), *drop]
    return add_zone(
        where,
        new,
        replaces=zone,
        walk=held.walk,
        margin_along_m=along,
        margin_across_m=across,
        add=added,
        drop=dropped,
        who=who,
    )


def mix_zone(where: Path, zone: str) -> Outcome:
    """Work the mix of the newest zone out from what is typed now; a frozen zone stays as it was."""
    with open_grove(where, read_only=True) as grove:
        _held(grove, zone)
        if grove.zone().uuid != zone:
            raise Conflict(f"zone {zone} is not the newest", "only the newest is mixed anew", "look at the newest")
    return treating.work_out_mix(where)


def freeze_zone(where: Path, zone: str, *, who: str = "grower") -> Outcome:
    """Freeze a zone before its sheet is printed: what is sprayed by is what stays in the file."""
    with open_grove(where) as grove:
        if not _held(grove, zone).frozen:
            grove.freeze_zone(zone, who=who, what="print the run sheet")
    return Outcome(said=("Frozen: a change makes a new version.",))


def _held(grove: Grove, zone: str) -> Zone:
    if zone not in set(grove.zones()["zone"]):
        raise NotThere(f"there is no zone {zone}")
    return grove.zone(zone)
