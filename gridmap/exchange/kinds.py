"""What a file is, told from what is in it; its name may not say something else."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from gridmap.errors import FileRefused
from gridmap.exchange.files import SQLITE, refuse_known, start_of

WANTED: Final = "GeoJSON, GeoPackage, KML, GPX, a zipped Shapefile or CSV"
#: What each ending of a name promises. An ending that is not here promises nothing.
ENDINGS: Final = {
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".gpkg": "GeoPackage",
    ".kml": "KML",
    ".gpx": "GPX",
    ".zip": "zip",
    ".kmz": "zip",
    ".csv": "CSV",
    ".tsv": "CSV",
    ".txt": "CSV",
}
# OGC 12-128r18, GeoPackage Encoding Standard 1.3, requirement 2: the application id, and those of older versions.
_GEOPACKAGE_IDS: Final = (b"GPKG", b"GP10", b"GP11")
_ZIP: Final = b"PK"
_PARTS: Final = {".shp", ".shx", ".dbf", ".prj", ".cpg"}


def kind_of(path: Path) -> str:
    """Tell a map file's format: GeoJSON, GeoPackage, KML, GPX, zip or CSV.

    Parameters
    ----------
    path : path
        A file that is there and not empty.

    Raises
    ------
    FileRefused
        Another format, or one that the file's name contradicts.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "blocks.geojson"
    ...     _ = path.write_text('<gpx version="1.1"/>')
    ...     kind_of(path)
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File blocks.geojson holds GPX: its name says GeoJSON. Rename it to blocks.gpx, or
    export it again.
    """
    start, suffix = start_of(path), path.suffix.lower()
    promised = ENDINGS.get(suffix)
    if suffix in _PARTS:
        rule = "a Shapefile is several files that belong together"
        raise FileRefused(
            f"file {path.name} is one part of a Shapefile", rule, "zip .shp, .shx, .dbf, .prj and .cpg together"
        )
    if start.startswith(_ZIP) and promised not in (None, "zip"):
        refuse_known(start, path.name, promised or WANTED)
    if start.startswith(SQLITE):
        if start[68:72] not in _GEOPACKAGE_IDS:
            raise FileRefused(f"file {path.name} is a database but no GeoPackage", f"it must be {WANTED}")
        held = "GeoPackage"
    elif start.startswith(_ZIP):
        held = "zip"
    else:
        refuse_known(start, path.name, WANTED)
        held = _text_kind(start, promised, path.name)
    if promised is not None and held != promised:
        ending = ".zip" if held == "zip" else next(key for key, value in ENDINGS.items() if value == held)
        remedy = f"rename it to {path.stem}{ending}, or export it again"
        raise FileRefused(f"file {path.name} holds {held}", f"its name says {promised}", remedy)
    return held


def _text_kind(start: bytes, promised: str | None, name: str) -> str:
    """Tell the formats apart that are text by their first characters."""
    wide = start.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = start.decode("utf-16" if wide else "utf-8-sig", errors="ignore").lstrip()
    if text.startswith("<"):
        return _markup_kind(text, promised, name)
    if text.startswith(("{", "[")) and promised != "CSV":
        return "GeoJSON"
    if text.startswith("{"):
        return "GeoJSON"
    if promised in ("KML", "GPX"):
        raise FileRefused(f"file {name} is no {promised}", "it does not start with a tag", "export it again")
    if promised == "zip":
        raise FileRefused(f"file {name} is no zip archive", "it does not start like one", "export it again")
    # What can't be told is judged by its reader, whose message says what is wrong.
    return promised or "CSV"


def _markup_kind(text: str, promised: str | None, name: str) -> str:
    """Tell KML from GPX by the outermost tag; a web page is what a failed download leaves."""
    for tag in re.findall(r"<(?:[\w.-]+:)?([A-Za-z][\w.-]*)", text):
        if tag.lower() in ("kml", "gpx"):
            return str(tag.upper())
        if tag.lower() in ("html", "head", "body"):
            rule = "a download that failed leaves one behind"
            raise FileRefused(f"file {name} is a web page", rule, "sign in, and download it again")
    if promised in ("KML", "GPX"):
        return promised
    raise FileRefused(f"file {name} is XML of another kind", f"it must be {WANTED}", "export it as KML or GPX")
