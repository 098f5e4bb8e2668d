"""KML in: outlines and points of every folder, heights left behind.

Parsed here and not by GDAL, which takes a corner that is no number for longitude 0 and goes on.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from typing import Any, Final

import shapely

from gridmap.errors import FileRefused
from gridmap.exchange.markup import child_text, children, local, markup, one_line
from gridmap.exchange.rings import CLOSING_GAP_M, Found, check_corners, check_degrees, check_file_corners, closed

_FOLDERS: Final = ("Document", "Folder")
# Not-a-number and infinity are let through to the message that names them.
_NUMBER: Final = r"[+-]?(?:(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d{1,3})?|nan|inf(?:inity)?)"
_CORNER: Final = re.compile(rf"({_NUMBER}),({_NUMBER})(?:,(?:{_NUMBER})?)?", re.ASCII | re.IGNORECASE)


def read_kml(
    content: bytes, name: str, *, kinds: str = "Polygon", layer: str | None = None, closing_gap_m: float = CLOSING_GAP_M
) -> Found:
    """Read the outlines or the points of a KML file.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        How a message names it.
    kinds : str
        Polygon or Point: what is looked for. Lines count as outlines only where there is no polygon.
    layer : str, optional
        Only the folder of this name, and what is inside it.
    closing_gap_m : float
        How far apart the ends of such a line may be [m].

    Raises
    ------
    FileRefused, OutlineRefused
        Not well formed, not KML, a corner that is none, a gap too wide, too many corners.

    References
    ----------
    OGC 12-007r2, KML 2.3: coordinates are longitude, latitude, altitude in WGS 84 (clause 6.2); altitude is dropped.

    Examples
    --------
    >>> text = "<kml><Placemark><name>A</name><Point><coordinates>147,-37,310</coordinates></Point></Placemark></kml>"
    >>> found = read_kml(text.encode(), "trees.kml", kinds="Point")
    >>> found.records, found.shapes
    ([{'name': 'A'}], [<POINT (147 -37)>])
    >>> read_kml(b"<kml></kml>", "trees.kml").records
    []
    """
    root = markup(content, name)
    if local(root) != "kml":
        raise FileRefused(f"file {name} is no KML", f"its outermost element is {local(root)[:40]}", "export it as KML")
    marks = list(_placemarks(root, None if layer is None else layer.strip(), inside=layer is None))
    if layer is not None and not marks:
        folders = [child_text(one, "name") for one in root.iter() if local(one) in _FOLDERS]
        rule = f"it has {', '.join(filter(None, folders)) or 'none with a name'}"
        raise FileRefused(f"file {name} has no folder {layer!r} with entries", rule)
    if not marks and any(local(one) == "NetworkLink" for one in root.iter()):
        rule = "nothing is fetched from elsewhere"
        raise FileRefused(f"file {name} holds a link instead of shapes", rule, "open the link, and save what it shows")
    return _chosen(marks, name, kinds, closing_gap_m)


def _placemarks(element: ET.Element, layer: str | None, *, inside: bool) -> Iterator[ET.Element]:
    for child in element:
        if local(child) == "Placemark" and inside:
            yield child
        elif local(child) in _FOLDERS:
            yield from _placemarks(child, layer, inside=inside or child_text(child, "name") == layer)


def _chosen(marks: list[ET.Element], name: str, kinds: str, closing_gap_m: float) -> Found:
    """Take the entries of the kind that is looked for; say which were left."""
    wanted: tuple[str, ...] = ("Polygon",) if kinds == "Polygon" else ("Point",)
    held = {kind for mark in marks for kind in _kinds_of(mark)}
    if kinds == "Polygon" and "Polygon" not in held:
        wanted = ("LineString", "LinearRing")
    found, left, corners = Found(), [], 0
    for number, mark in enumerate(marks, start=1):
        record = _record(mark)
        title = f"entry {number} ({record['name'][:40]})" if record.get("name") else f"entry {number}"
        parts = [part for part in mark.iter() if local(part) in wanted]
        if not parts:
            left.append(title)
            continue
        lines = [_line(ring, f"{title} of {name}") for shape in parts for ring in _rings(shape)]
        corners += sum(map(len, lines))
        check_file_corners(corners, name)
        found.records.append(record)
        made, note = _shape(parts, lines, wanted[0], title, closing_gap_m)
        found.shapes.append(made)
        found.notes += [note] if note else []
    if left and found.shapes:
        more = f" and {len(left) - 5} more" if len(left) > 5 else ""
        found.notes.append(f"Left out, since it is no {wanted[0]}: {', '.join(left[:5])}{more}.")
    return found


def _kinds_of(mark: ET.Element) -> set[str]:
    return {local(part) for part in mark.iter()} & {"Polygon", "LineString", "LinearRing", "Point"}


def _rings(part: ET.Element) -> list[ET.Element]:
    """Return what holds the coordinates: the part itself, or the rings of a polygon, the outer one first."""
    if local(part) != "Polygon":
        return [part]
    bounds = sorted(children(part, "outerBoundaryIs", "innerBoundaryIs"), key=lambda one: local(one)[0], reverse=True)
    return [ring for bound in bounds for ring in children(bound, "LinearRing")]


def _shape(
    parts: list[ET.Element], lines: list[list[tuple[float, float]]], wanted: str, title: str, closing_gap_m: float
) -> tuple[Any, str | None]:
    if wanted == "Point":
        points = [shapely.Point(line[0]) for line in lines if line]
        return (points[0] if len(points) == 1 else shapely.MultiPoint(points)), None
    if wanted != "Polygon":
        return closed(lines, f"line of {title}", most_gap_m=closing_gap_m)
    polygons, rest = [], iter(lines)
    for part in parts:
        outer, *inner = [next(rest) for _ in _rings(part)] or [[]]
        for ring in (outer, *inner):
            check_corners(len(ring), title)
            if len(set(ring)) < 3:
                what = f"{title} has a ring of {len(set(ring))} different corners"
                raise FileRefused(what, "a ring has at least three", "draw it again")
        polygons.append(shapely.Polygon(outer, inner))
    return (polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)), None


def _line(part: ET.Element, where: str) -> list[tuple[float, float]]:
    """Read "longitude,latitude[,altitude] ..." strictly; a blank inside a corner would make two of it."""
    words = "".join(next(children(part, "coordinates"), part).itertext()).split()
    check_corners(len(words), where)
    corners = []
    for number, word in enumerate(words, start=1):
        found = _CORNER.fullmatch(word)
        if not found:
            rule = "it must be longitude,latitude in degrees without blanks"
            raise FileRefused(f"corner {number} of {where} is {word[:40]!r}", rule, "export it again")
        x, y = float(found[1]), float(found[2])
        check_degrees(x, y, f"corner {number} of {where}")
        corners.append((x, y))
    return corners


def _record(mark: ET.Element) -> dict[str, Any]:
    """Return the name, and the data of either kind (clause 9.2: Data with a value, SchemaData with SimpleData)."""
    record: dict[str, Any] = {}
    for data in children(mark, "ExtendedData"):
        for one in data.iter():
            if local(one) == "SimpleData":
                record[one.get("name", "")] = one_line("".join(one.itertext()))
            elif local(one) == "Data":
                record[one.get("name", "")] = child_text(one, "value")
    record.pop("", None)
    if not any(key.casefold() == "name" for key in record):
        record["name"] = child_text(mark, "name")
    return record
