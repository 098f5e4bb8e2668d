"""The grass in pictures: ground gained and lost on the plan, the hill profile with one line a survey, rows by years."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.errors import InputRefused
from maps import svg
from maps.fonts import typeset
from maps.style import LIGHT

COVER_STOPS: Final = ("#F1F6E6", "#D6E6BD", "#AACD8D", "#72AB62", "#3D8549", "#175C36", "#063A22")
YEAR_COLOURS: Final = ("#9CC07F", "#72A35C", "#4D8A48", "#24693A", "#0B3F24")
YEAR_DASHES: Final = ("2 4", "5 4", "9 4", "14 4", None)
GAINED, KEPT, LOST_PAPER = "#2C7342", "#C3DCA6", "#EEF3E4"
_WIDTH: Final = 980.0
# So that plan, profile, strip and tables stand on one page
_MOST_MAP: Final = 400.0
_LEFT, _RIGHT = 90.0, 20.0


def cover_colour(share: float) -> str:
    """Give the colour of a share of the floor under grass, 0 to 1.

    Examples
    --------
    >>> cover_colour(0.0), cover_colour(1.0), cover_colour(0.5)
    ('#F1F6E6', '#063A22', '#72AB62')
    """
    place = min(max(share, 0.0), 1.0) * (len(COVER_STOPS) - 1)
    low = min(int(place), len(COVER_STOPS) - 2)
    mixed = [
        round(int(COVER_STOPS[low][i : i + 2], 16) * (1 - place + low) + int(COVER_STOPS[low + 1][i : i + 2], 16)
              * (place - low)) for i in (1, 3, 5)
    ]  # fmt: skip
    return "#" + "".join(f"{value:02X}" for value in mixed)


def year_style(order: int, surveys: int) -> dict[str, Any]:
    """Give a survey's line: older ones paler, thinner and more broken, so that age is not told by colour alone.

    Examples
    --------
    >>> year_style(5, 6)["stroke_dasharray"] is None, year_style(0, 6)["stroke_width"]
    (True, 1.6)
    """
    age = 1.0 if surveys == 1 else order / (surveys - 1)
    step = min(int(age * len(YEAR_COLOURS)), len(YEAR_COLOURS) - 1)
    return {"stroke": YEAR_COLOURS[step], "stroke_width": round(1.6 + 2.0 * age, 2),
            "stroke_dasharray": YEAR_DASHES[step], "fill": "none"}  # fmt: skip


def draw_profile(rows: pd.DataFrame, front: pd.DataFrame, *, level: float, height_px: float = 260.0) -> str:
    """Draw cover against metres upslope, one line a survey, and where the last one crosses the level.

    Parameters
    ----------
    rows : DataFrame
        `row_cover` of all surveys.
    front : DataFrame
        date, front_m, low_90, high_90 of each survey, oldest first.
    level : float
        Share of the floor that counts as grassed.
    height_px : float
        Height of the drawing [px]; the width is that of the sheet.
    """
    top, bottom = 16.0, height_px - 40.0
    far = float(rows["upslope_m"].max()) * 1.04

    def x(metres: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * metres / far

    def y(share: float) -> float:
        return bottom - (bottom - top) * share

    parts = _axes(x, y, far, bottom)
    dates = front["date"].tolist()
    for order, date in enumerate(dates):
        line = rows[rows["date"] == date].groupby("upslope_m")["grass_cover"].mean().sort_index()
        smooth = line.rolling(5, center=True, min_periods=1).mean()
        points = " ".join(f"{svg.number(x(m))},{svg.number(y(c))}" for m, c in smooth.items())
        parts.append(svg.element("polyline", points=points, **year_style(order, len(dates))))
    parts.append(svg.element("line", x1=_LEFT, x2=_WIDTH - _RIGHT, y1=y(level), y2=y(level), stroke=LIGHT.ink,
                             stroke_width=1.8, stroke_dasharray="10 5"))  # fmt: skip
    parts.append(svg.text(_WIDTH - _RIGHT, y(level) - 8, f"your level, {100 * level:.0f} %", size=16, anchor="end",
                          fill=LIGHT.ink, casing=LIGHT.paper))  # fmt: skip
    for order, mark in enumerate(front.to_dict("records")):
        if math.isfinite(mark["front_m"]) and 0.0 <= mark["front_m"] <= far:
            parts += _front_mark(mark, order == len(front) - 1, x, y(level), bottom)
    return svg.document(_WIDTH, height_px, *parts, title="Hill profile: grass cover by metres upslope")


def _axes(x: Any, y: Any, far: float, bottom: float) -> list[str]:
    parts = []
    for share in (0.0, 0.5, 1.0):
        parts.append(svg.element("line", x1=_LEFT, x2=_WIDTH - _RIGHT, y1=y(share), y2=y(share), stroke=LIGHT.line,
                                 stroke_width=1.0))  # fmt: skip
        words = f"{100 * share:.0f} %"
        parts.append(svg.text(_LEFT - 10, y(share) + 5, words, size=16, anchor="end", fill=LIGHT.quiet))
    ticks = range(0, int(far) + 1, 25 if far < 160 else 50)
    return parts + [
        svg.text(x(metres), bottom + 24, f"{metres} m", size=16, anchor="middle", fill=LIGHT.quiet) for metres in ticks
    ]


def _front_mark(mark: Mapping[Any, Any], last: bool, x: Any, level_y: float, bottom: float) -> list[str]:
    """Draw where a survey crosses the level: small rings for the older ones, the last in full with its limits."""
    at = x(mark["front_m"])
    if not last:
        return [svg.element("circle", cx=at, cy=level_y, r=5, fill=LIGHT.paper, stroke=LIGHT.ink, stroke_width=1.6)]
    words = f"front {mark['date'][:4]}, {mark['front_m']:.0f} m"
    parts = [svg.element("line", x1=at, x2=at, y1=level_y, y2=bottom, stroke=LIGHT.accent, stroke_width=3.0)]
    if math.isfinite(mark["low_90"]):
        words += f" ({mark['low_90']:.0f} to {mark['high_90']:.0f})"
        parts += [
            svg.element("line", x1=x(mark[side]), x2=x(mark[side]), y1=level_y, y2=bottom, stroke=LIGHT.accent,
                        stroke_width=1.8, stroke_dasharray="6 4") for side in ("low_90", "high_90")
        ]  # fmt: skip
    parts.append(svg.element("circle", cx=at, cy=level_y, r=8, fill=LIGHT.paper, stroke=LIGHT.accent, stroke_width=3.0))
    parts.append(svg.text(at + 14, bottom - 8, words, size=16, weight=700, fill=LIGHT.accent, casing=LIGHT.paper))
    return parts


def draw_strip(rows: pd.DataFrame, front: pd.DataFrame) -> str:
    """Draw rows by years: a cell a row and survey at its metres upslope, hatched where nobody looked."""
    dates, far = front["date"].tolist(), float(rows["upslope_m"].max()) * 1.04
    places = np.sort(rows.groupby(["block", "row"])["upslope_m"].mean().to_numpy())
    high = 24.0

    def x(metres: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * metres / far

    bins = np.linspace(0.0, far, 61)
    parts = [_hatch("doubt", LIGHT.ink, 45, 6.0, 1.2)]
    for order, mark in enumerate(front.to_dict("records")):
        of_year = rows[rows["date"] == mark["date"]]
        for low, top in pairwise(bins):
            inside = of_year[of_year["upslope_m"].between(low, top, inclusive="left")]
            if not ((places >= low) & (places < top)).any():
                continue
            fill = cover_colour(float(inside["grass_cover"].mean())) if len(inside) else "url(#doubt)"
            parts.append(svg.element("rect", x=x(low), y=order * high, width=x(top) - x(low) - 1, height=high - 2,
                                     fill=fill))  # fmt: skip
        newest = order == len(dates) - 1
        parts.append(svg.text(_LEFT - 10, order * high + 17, mark["date"][:4], size=16, anchor="end",
                              weight=700 if newest else 400, fill=LIGHT.ink))  # fmt: skip
        if math.isfinite(mark["front_m"]) and 0.0 <= mark["front_m"] <= far:
            parts.append(svg.element("rect", x=x(mark["front_m"]) - 2, y=order * high - 1, width=4, height=high,
                                     fill=LIGHT.accent, stroke=LIGHT.paper, stroke_width=1))  # fmt: skip
    return svg.document(_WIDTH, len(dates) * high, *parts, title="Grass cover of the rows, year by year")


def draw_change(floor: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, fronts: gpd.GeoDataFrame) -> str:
    """Draw the floor of every row by what grass gained, kept and lost, with the front and its limits.

    Parameters
    ----------
    floor : GeoDataFrame
        `ground_changed`, the grove's CRS [m].
    blocks : GeoDataFrame
        block, geometry.
    fronts : GeoDataFrame
        kind (first, front, low_90, high_90), geometry (lines).
    """
    west, south, east, north = blocks.total_bounds
    pad = 0.03 * max(east - west, north - south)
    scale = (_WIDTH - 2) / (east - west + 2 * pad)
    height = min((north - south + 2 * pad) * scale, _MOST_MAP)
    scale = min(scale, (height - 2) / (north - south + 2 * pad))
    aside = (_WIDTH - (east - west) * scale) / 2

    def project(easting: float, northing: float) -> tuple[float, float]:
        return aside + (easting - west) * scale, (north + pad - northing) * scale

    fills = {"gained": GAINED, "grassed throughout": KEPT, "lost": "url(#lost)",
             "bare or litter throughout": LIGHT.paper, "too few looks to say": "url(#doubt)"}  # fmt: skip
    parts = [_hatch("doubt", LIGHT.ink, 45, 9.0, 1.2), _hatch("lost", LIGHT.ink, -45, 6.0, 2.4, paper=LOST_PAPER)]
    parts += [svg.element("path", d=svg.path_data([shape], project), fill=LIGHT.paper) for shape in blocks.geometry]
    parts += [
        svg.element("path", d=svg.path_data([shape], project), fill=fills[change], fill_rule="evenodd")
        for change, shape in zip(floor["change"], floor.geometry, strict=True)
    ]
    parts += [
        svg.element("path", d=svg.path_data([shape], project), fill="none", stroke=LIGHT.ink, stroke_width=1.8)
        for shape in blocks.geometry
    ]
    for kind, shape in zip(fronts["kind"], fronts.geometry, strict=True):
        drawn = svg.path_data([shape], project)
        look: dict[str, Any] = {"front": {"stroke": LIGHT.accent, "stroke_width": 4.0},
                                "first": {"stroke": LIGHT.ink, "stroke_width": 2.4, "stroke_dasharray": "2 5"}}.get(
            kind, {"stroke": LIGHT.accent, "stroke_width": 1.8, "stroke_dasharray": "6 4"})  # fmt: skip
        parts.append(svg.element("path", d=drawn, fill="none", stroke=LIGHT.paper, stroke_width=8.0))
        parts.append(svg.element("path", d=drawn, fill="none", **look))
    for name, shape in zip(blocks["block"], blocks.geometry, strict=True):
        x, y = project(shape.centroid.x, shape.bounds[3])
        parts.append(svg.text(x, max(y - 6, 16.0), name, size=16, anchor="middle", weight=700, fill=LIGHT.ink,
                              casing=LIGHT.ground))  # fmt: skip
    return svg.document(_WIDTH, height, *parts, title="Ground that grass gained, kept and lost")


def _hatch(name: str, ink: str, turn: int, apart: float, wide: float, *, paper: str | None = None) -> str:
    ground = svg.element("rect", width=apart, height=apart, fill=paper) if paper else ""
    line = svg.element("line", x1=0, x2=0, y1=0, y2=apart, stroke=ink, stroke_width=wide * 2)
    pattern = svg.element("pattern", ground + line, id=name, width=apart, height=apart,
                          patternUnits="userSpaceOnUse", patternTransform=f"rotate({turn})")  # fmt: skip
    return svg.element("defs", pattern)


def grass_sheet(data: Mapping[str, Any], pictures: Mapping[str, str], path: Path | str) -> Path:
    """Set the page of the grass as PDF, or as a PNG of it, by the ending of its name.

    Parameters
    ----------
    data : mapping
        What the page says: title, detail, grove, invented, notes (sentences), areas and blocks (lines of words).
    pictures : mapping of str
        SVG documents: change, profile, strip; a missing one is left out.
    path : Path or str
        Where it goes, .pdf or .png.

    Raises
    ------
    InputRefused
        Another ending.
    """
    target = Path(path)
    form = target.suffix.removeprefix(".")
    if form not in ("pdf", "png"):
        raise InputRefused(f"{target.name} is neither .pdf nor .png", "the page is set as one of them")
    drawn = {name: pictures.get(name, "") for name in ("change", "profile", "strip")}
    target.write_bytes(typeset("grass_sheet.typ", data, pictures=drawn, form=form, ppi=110.0))
    return target
