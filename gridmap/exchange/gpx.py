"""GPX in: tracks and routes that were walked around a block, waypoints of trees.

Parsed here and not by GDAL, which takes a latitude that is no number for 0 and goes on.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any, Final

import shapely

from gridmap.errors import FileRefused
from gridmap.exchange.markup import child_text, children, local, markup, one_line
from gridmap.exchange.rings import CLOSING_GAP_M, Found, check_degrees, check_file_corners, closed

LAYERS: Final = {"tracks": "trk", "routes": "rte", "waypoints": "wpt"}


def read_gpx(
    content: bytes, name: str, *, kinds: str = "Polygon", layer: str | None = None, closing_gap_m: float = CLOSING_GAP_M
) -> Found:
    """Read what a phone or a receiver recorded: walks around blocks as outlines, waypoints as points.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        How a message names it.
    kinds : str
        Polygon: tracks and routes. Point: waypoints.
    layer : str, optional
        tracks, routes or waypoints alone.
    closing_gap_m : float
        How far apart the ends of a walk may be to be an outline [m].

    Raises
    ------
    FileRefused, OutlineRefused
        Not well formed, not GPX, a point without a place, a gap too wide, too many corners.

    Notes
    -----
    Heights (``ele``) are left: those of a hand-held receiver are off by more than the fall between two rows. A column
    elevation_m among the extensions is taken.

    References
    ----------
    GPX 1.1 Schema Documentation, topografix.com/GPX/1/1: WGS 84, decimal degrees.

    Examples
    --------
    >>> found = read_gpx(b'<gpx><wpt lat="-37" lon="147"><name>old tree</name></wpt></gpx>', "t.gpx", kinds="Point")
    >>> found.records, found.shapes
    ([{'name': 'old tree'}], [<POINT (147 -37)>])
    >>> read_gpx(b"<gpx/>", "walk.gpx").records
    []
    """
    check_file_corners(content.count(b"<trkpt") + content.count(b"<rtept"), name)
    root = markup(content, name)
    if local(root) != "gpx":
        raise FileRefused(f"file {name} is no GPX", f"its outermost element is {local(root)[:40]}", "export it as GPX")
    if layer is not None and layer not in LAYERS:
        raise FileRefused(f"file {name} has no layer {layer!r}", f"GPX has {', '.join(LAYERS)}")
    wanted = ["waypoints"] if kinds == "Point" else ["tracks", "routes"]
    tags = [LAYERS[key] for key in (wanted if layer is None else [layer])]
    found = Found()
    for number, entry in enumerate(children(root, *tags), start=1):
        record = _record(entry)
        word = {"trk": "track", "rte": "route", "wpt": "waypoint"}[local(entry)]
        what = f"{word} {record['name'][:40] or number}"
        if word == "waypoint":
            shape, note = shapely.Point(_place(entry, f"{what} of {name}")), None
        else:
            shape, note = closed(_pieces(entry, f"{what} of {name}"), what, most_gap_m=closing_gap_m)
        found.records.append(record)
        found.shapes.append(shape)
        found.notes += [note] if note else []
    return found


def _pieces(entry: ET.Element, what: str) -> list[list[tuple[float, float]]]:
    """Return the segments of a track, or the one line of a route."""
    lines = list(children(entry, "trkseg")) if local(entry) == "trk" else [entry]
    points = [list(children(line, "trkpt", "rtept")) for line in lines]
    return [[_place(one, f"point {n} of {what}") for n, one in enumerate(line, start=1)] for line in points]


def _place(element: ET.Element, where: str) -> tuple[float, float]:
    given = [element.get(name) for name in ("lon", "lat")]
    try:
        x, y = (float("" if text is None or "_" in text else text) for text in given)
    except ValueError:
        shown = ", ".join("nothing" if text is None else repr(text[:30]) for text in given)
        rule = "both must be numbers in degrees"
        raise FileRefused(f"{where} has lon, lat {shown}", rule, "export it again") from None
    check_degrees(x, y, where)
    return x, y


def _record(entry: ET.Element) -> dict[str, Any]:
    """Return the name and the flat extensions, such as `write_layer` writes."""
    record: dict[str, Any] = {"name": child_text(entry, "name")}
    for extensions in children(entry, "extensions"):
        for one in extensions:
            if len(one) == 0:
                record[local(one)] = one_line(one.text or "")
    return record
