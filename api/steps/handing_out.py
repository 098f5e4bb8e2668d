"""Files as the service hands them out, each written anew into a folder that lives as long as the answer."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from api.steps.change import write_change
from api.steps.opening import open_grove
from api.steps.outputs import newest_zone_of, print_sheet, scene_of, write_zone
from api.steps.pressure_layer import ask_pressure
from api.steps.pressure_report import write_pressure
from api.store import Zone
from api.store.refusals import Conflict, NotThere
from maps import pressure_picture, takeaway_map

#: Formats of a zone: the file's name, and what a browser is told it is.
ZONE_FORMATS: Final = {
    "geojson": ("zone.geojson", "application/geo+json"),
    "gpkg": ("zone.gpkg", "application/geopackage+sqlite3"),
    "kml": ("zone.kml", "application/vnd.google-earth.kml+xml"),
    "shp.zip": ("zone.shp.zip", "application/zip"),
    "gpx": ("zone.gpx", "application/gpx+xml"),
    "csv": ("runs.csv", "text/csv"),
}
PRESSURE_FORMATS: Final = {"png": "image/png", "html": "text/html", "csv": "text/csv"}
CHANGE_FORMATS: Final = {"csv": "text/csv", "geojson": "application/geo+json"}


def hand_out_pressure(where: Path, ending: str, out: Path, *, walk: str | None = None) -> Path:
    """Write a walk's map as a picture, a page or a table (png, html, csv) into a folder; return the file."""
    result = ask_pressure(where, walk=walk)
    file = out / f"pressure.{ending}"
    if ending == "csv":
        write_pressure(result, file)
        return file
    scene = scene_of(result, newest_zone_of(where, result))
    (pressure_picture if ending == "png" else takeaway_map)(scene, file)
    return file


def hand_out_change(where: Path, ending: str, out: Path, *, walk: str | None = None) -> Path:
    """Write every tree's change since the walk before (csv, geojson) into a folder; return the file."""
    file = out / f"change.{ending}"
    write_change(ask_pressure(where, walk=walk), file)
    return file


def hand_out_zone(where: Path, zone: str, ending: str, out: Path) -> Path:
    """Write a zone in one of `ZONE_FORMATS` into a folder; return the file."""
    kept = _zone(where, zone)
    write_zone(ask_pressure(where, walk=kept.walk), kept, out)
    return out / ZONE_FORMATS[ending][0]


def hand_out_sheet(where: Path, zone: str, out: Path) -> Path:
    """Print the run sheet of a frozen zone into a folder; return the file."""
    kept = _zone(where, zone)
    if not kept.frozen:
        raise Conflict(
            f"{kept.name}, version {kept.version}, is not frozen",
            "what is sprayed by must be what stays in the grove",
            "freeze it, then print",
        )
    return print_sheet(ask_pressure(where, walk=kept.walk), kept, out)


def hand_out_grove(where: Path, out: Path) -> Path:
    """Copy the grove, checked, into a folder; return the copy."""
    with open_grove(where, read_only=True) as grove:
        return grove.backup(out / "copy.gpkg")


def _zone(where: Path, zone: str) -> Zone:
    with open_grove(where, read_only=True) as grove:
        if zone not in set(grove.zones()["zone"]):
            raise NotThere(f"there is no zone {zone}")
        return grove.zone(zone)
