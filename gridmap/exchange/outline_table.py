"""Outlines in a CSV table: one line each with its shape as well-known text, or one line for each corner."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from gridmap.crs import parse_crs
from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange import fields
from gridmap.exchange.fields import FieldProblem
from gridmap.exchange.places import coordinate_columns, point
from gridmap.exchange.rings import MOST_CORNERS, SIMPLER, check_file_corners
from gridmap.exchange.table import Table, read_table, refusal

_PLACES: Final = ("longitude", "latitude", "easting", "northing")
#: Columns that are about the table itself and not about an outline.
_OWN: Final = (*_PLACES, "wkt", "corner")


def read_outline_table(path: Path, known: Collection[str], *, name: str, crs: object = None) -> gpd.GeoDataFrame:
    r"""Read outlines from a CSV table.

    Parameters
    ----------
    path : path
        With a column wkt; or a line for each corner, with the outline's name, corner (a whole number that counts up by
        one), and longitude and latitude, or easting and northing with ``crs``.
    known : collection of str
        Columns that say something of an outline.
    name : str
        The column that names it.
    crs : optional
        CRS of the shapes; WGS 84 where the table has longitude and latitude.

    Returns
    -------
    GeoDataFrame
        The known columns that are there, as text, and geometry. ``attrs["lines"]``: the line that each began in.

    Raises
    ------
    FileRefused, CRSRefused
        The file, its columns or its CRS.
    RowsRefused
        Every line that can't be used.

    References
    ----------
    OGC 06-103r4, Simple Feature Access, part 1, clause 7 (well-known text).

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "blocks.csv"
    ...     _ = path.write_text('block,wkt\nCreek,"POLYGON ((0 0, 60 0, 60 40, 0 0))"\n')
    ...     read_outline_table(path, ["block"], name="block", crs=7855).area.tolist()
    [1200.0]
    """
    table = read_table(path, [*known, *_OWN])
    corners = "corner" in table.columns
    if not corners and "wkt" not in table.columns:
        rule = "outlines are lines with a column wkt, or lines of corners with columns corner and coordinates"
        raise FileRefused(f"file {path.name} has no column wkt and no column corner", rule)
    if corners and name not in table.columns:
        raise FileRefused(f"file {path.name} has no column {name}", "every corner names its outline")
    pair, source = coordinate_columns(table.columns, crs, path.name, needed=corners)
    if source is None:
        if crs is None:
            rule = "shapes as text need one"
            raise CRSRefused(f"file {path.name} names no CRS", rule, "name it, for instance EPSG:7855 or EPSG:4326")
        source = parse_crs(crs)
    records, shapes, lines, problems = _corners(table, name, pair) if corners and pair else _texts(table)
    if problems:
        raise refusal(table.name, sorted(problems), table.unit)
    if not records:
        raise FileRefused(f"file {path.name} has no entries", "there is nothing to take in", "export it again")
    frame = gpd.GeoDataFrame(records, geometry=shapes, crs=source)
    frame.attrs["lines"] = lines
    return frame


_Read = tuple[list[dict[str, str]], list[Any], list[int], list[tuple[int, str]]]


def _texts(table: Table) -> _Read:
    """Read a shape from each line."""
    problems = list(table.problems)
    records, shapes, lines = [], [], []
    check_file_corners(sum(cells["wkt"].count(",") for _, cells in table.rows), table.name)
    for number, cells in table.rows:
        try:
            shapes.append(_shape(cells["wkt"]))
        except FieldProblem as problem:
            problems.append((number, str(problem)))
            continue
        records.append(_facts(cells))
        lines.append(number)
    return records, shapes, lines, problems


def _shape(text: str) -> shapely.Geometry:
    corners = text.count(",") + 1
    if corners > MOST_CORNERS:
        raise FieldProblem(f"its outline has {corners:,} corners: at most {MOST_CORNERS:,} are taken; {SIMPLER}")
    if not text.strip():
        raise FieldProblem("wkt is missing")
    try:
        with np.errstate(invalid="ignore"):  # not-a-number is told below
            shape = shapely.from_wkt(text.strip())
    except (shapely.errors.GEOSException, ValueError) as trouble:
        reason = str(trouble).split(": ", 1)[-1][:100]
        raise FieldProblem(f"wkt is {text.strip()[:40]!r}: it must be a shape as well-known text ({reason})") from None
    if shape.is_empty:
        raise FieldProblem("its shape is empty: an outline needs at least three corners")
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        raise FieldProblem("a corner of its shape has no position: every coordinate must be finite")
    return shape


def _corners(table: Table, name: str, pair: tuple[str, str]) -> _Read:
    """Join the corners of each outline in the order of their numbers."""
    problems = list(table.problems)
    outlines: dict[str, dict[int, tuple[float, float]]] = {}
    facts: dict[str, tuple[int, dict[str, str]]] = {}
    check_file_corners(len(table.rows), table.name)
    for number, cells in table.rows:
        try:
            outline = str(fields.text(cells, name, needed=True))
            corner = int(fields.whole(cells, "corner", least=0, most=10_000_000, needed=True) or 0)
            place = point(cells, pair, needed=True)
            known = outlines.setdefault(outline, {})
            if corner in known:
                raise FieldProblem(f"corner {corner} of {outline} is there twice")
            known[corner] = (place.x, place.y) if place is not None else (np.nan, np.nan)
            line, said = facts.setdefault(outline, (number, {}))
            _join(said, _facts(cells), line)
        except FieldProblem as problem:
            problems.append((number, str(problem)))
    shapes = []
    for outline, corners in outlines.items():
        line, _ = facts[outline]
        missing = sorted(set(range(min(corners), max(corners) + 1)) - set(corners)) if len(corners) < 10_000 else []
        if max(corners) - min(corners) + 1 != len(corners):
            which = f" {missing[0]}" if missing else ""
            problems.append((line, f"{outline} lacks corner{which}: corners count up by one, so lines were lost"))
        elif len(corners) < 3:
            problems.append((line, f"{outline} has {len(corners)} corners: an outline has at least three"))
        elif len(corners) > MOST_CORNERS:
            problems.append((line, f"{outline} has {len(corners):,} corners: at most {MOST_CORNERS:,} are taken"))
        else:
            shapes.append(shapely.Polygon([corners[key] for key in sorted(corners)]))
    return [said for _, said in facts.values()], shapes, [line for line, _ in facts.values()], problems


def _join(said: dict[str, str], more: dict[str, str], line: int) -> None:
    """Add what this corner's line says of its outline; it may not say something else than the lines before."""
    for key, value in more.items():
        if value and said.get(key) and said[key] != value:
            raise FieldProblem(f"{key} is {value[:40]!r}, but {said[key][:40]!r} from line {line} on")
        said[key] = said.get(key) or value


def _facts(cells: dict[str, str]) -> dict[str, str]:
    return {key: value for key, value in cells.items() if key not in _OWN}
