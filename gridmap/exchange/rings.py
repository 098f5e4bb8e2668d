"""Lines that were walked or drawn around a block, closed to an outline; corners counted before they cost anything."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pyproj
import shapely

from gridmap.errors import FileRefused, OutlineRefused

#: As many as `gridmap.ground.check_outline` takes.
MOST_CORNERS: Final = 100_000
MOST_FILE_CORNERS: Final = 500_000
#: Two readings of a phone's position under trees are up to about 10 m off each (common practice, no source).
CLOSING_GAP_M: Final = 20.0
SIMPLER: Final = "simplify the outline to a corner every metre or so"
_GEOD: Final = pyproj.Geod(ellps="WGS84")


@dataclasses.dataclass
class Found:
    """Entries of a file that was parsed here, all in WGS 84 longitude/latitude.

    Parameters
    ----------
    records : list of dict
        What is said of each entry.
    shapes : list of Geometry
        Its shape.
    notes : list of str
        What the grower should know of the reading.
    """

    records: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    shapes: list[Any] = dataclasses.field(default_factory=list)
    notes: list[str] = dataclasses.field(default_factory=list)


def check_corners(corners: int, what: str, most: int = MOST_CORNERS) -> None:
    """Refuse an outline of too many corners before its shape is made.

    Examples
    --------
    >>> check_corners(1_000_000, "outline Creek")
    Traceback (most recent call last):
    gridmap.errors.OutlineRefused: Outline Creek has 1,000,000 corners: at most 100,000 are taken. Simplify the outline
    to a corner every metre or so.
    """
    if corners > most:
        raise OutlineRefused(f"{what} has {corners:,} corners", f"at most {most:,} are taken", SIMPLER)


def check_file_corners(corners: int, name: str) -> None:
    """Refuse a file of too many corners before it is parsed."""
    if corners > MOST_FILE_CORNERS:
        rule = f"at most {MOST_FILE_CORNERS:,} are read from a file, and {MOST_CORNERS:,} of one outline"
        raise OutlineRefused(f"file {name} has about {corners:,} corners", rule, SIMPLER)


def closed(
    pieces: Sequence[Sequence[tuple[float, float]]], what: str, *, most_gap_m: float = CLOSING_GAP_M
) -> tuple[shapely.Geometry, str | None]:
    """Make an outline of a line that was walked around it.

    Parameters
    ----------
    pieces : sequence of sequences of (longitude, latitude)
        One line in one or several pieces, in the order of the walk [degrees, WGS 84].
    what : str
        How a message names it.
    most_gap_m : float
        Largest distance [m] that is closed by a straight line, between its ends and between its pieces.

    Returns
    -------
    outline : Polygon, or MultiPolygon where several closed rings lie beside each other
        Rings that are closed each on their own make one outline with its holes.
    note : str or None
        How wide the closed gap was; None for a line that ends where it began.

    Raises
    ------
    OutlineRefused
        Fewer than three corners, too many, or a gap over the limit.

    Examples
    --------
    >>> walk = [(147.0, -37.0), (147.001, -37.0), (147.001, -37.001), (147.0, -37.00009)]
    >>> outline, note = closed([walk], "track Creek")
    >>> note
    'Track Creek: its ends are 10.0 m apart and were joined by a straight line.'
    >>> closed([walk], "track Creek", most_gap_m=5)
    Traceback (most recent call last):
    gridmap.errors.OutlineRefused: Track Creek has a gap of 10.0 m between its end and its start: a walk around a block
    may leave up to 5.0 m open. Walk it to the end, close it on a map, or allow a wider gap.
    """
    pieces = [list(piece) for piece in pieces if piece]
    corners = [corner for piece in pieces for corner in piece]
    check_corners(len(corners), what)
    if len(pieces) > 1 and all(len(piece) > 3 and piece[0] == piece[-1] for piece in pieces):
        return shapely.build_area(shapely.MultiLineString(pieces)), None
    if len(set(corners)) < 3:
        raise OutlineRefused(f"{what} has {len(set(corners))} different corners", "an outline has at least three")
    gaps = [("between two of its pieces", one[-1], two[0]) for one, two in itertools.pairwise(pieces)]
    gaps.append(("between its end and its start", corners[-1], corners[0]))
    closing_m = 0.0
    for where, (x1, y1), (x2, y2) in gaps:
        gap_m = float(_GEOD.inv(x1, y1, x2, y2)[2])
        if gap_m > most_gap_m:
            rule = f"a walk around a block may leave up to {most_gap_m:.1f} m open"
            remedy = "walk it to the end, close it on a map, or allow a wider gap"
            raise OutlineRefused(f"{what} has a gap of {gap_m:,.1f} m {where}", rule, remedy)
        closing_m = gap_m
    outline = shapely.Polygon(corners)
    if closing_m < 0.05:
        return outline, None
    title = what[:1].upper() + what[1:]
    return outline, f"{title}: its ends are {closing_m:.1f} m apart and were joined by a straight line."


def check_degrees(x: float, y: float, where: str) -> None:
    """Refuse a longitude and latitude that can't be: no number, out of range, swapped."""
    if np.isfinite(x) and np.isfinite(y) and abs(x) <= 180 and abs(y) <= 90:
        return
    rule = "longitude is within 180 and latitude within 90 degrees"
    if not (np.isfinite(x) and np.isfinite(y)):
        rule = "both must be finite numbers"
    swapped = abs(x) <= 90 < abs(y) <= 180
    remedy = "longitude and latitude look swapped: give longitude first" if swapped else "export it again"
    raise FileRefused(f"{where} is at longitude {x:g}, latitude {y:g}", rule, remedy)
