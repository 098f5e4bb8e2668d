"""Draw docs/pictures/rows.svg: rows planted along a drawn line, and the same rows found in a survey with error.

Run ``python docs/pictures/rows.py`` from the top of the repository. The block and its survey are invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from gridmap.ground.alleys import alleys
from gridmap.ground.contour import generate_contour_rows
from gridmap.ground.infer import infer_rows, number_uphill

OUTLINE = shapely.Polygon([(5, 12), (60, 2), (118, 16), (122, 60), (80, 92), (30, 84), (2, 55)])
LINE = shapely.LineString([(0, 40), (30, 46), (60, 47), (90, 43), (124, 34)])
SETTING = {"row_spacing_m": 7.5, "tree_spacing_m": 5.0}
INK, PALE, ROWS, ALLEY = "#222222", "#8a8a8a", ("#1b6e8f", "#b0541d"), "#9a9a9a"


def main() -> None:
    """Plant, survey, find the rows again, and write the picture."""
    planted = generate_contour_rows(OUTLINE, LINE, **SETTING, headland_m=4, uphill_bearing_deg=0).assign(block="A")
    blocks = pd.DataFrame([{"block": "A", "row_bearing_deg": 90.0, **SETTING}])
    strips = alleys(planted, blocks)
    rng = np.random.default_rng(8)
    standing = planted[rng.random(len(planted)) > 0.1]
    survey = shapely.get_coordinates(standing.geometry) + rng.normal(0, 1.5 / np.sqrt(2), (len(standing), 2))
    found = infer_rows(survey)
    found = number_uphill(found, found.attrs["bearing_deg"], 0)
    left = [path(OUTLINE.exterior, INK, 1.2), path(LINE, INK, 0.8, "4 2")]
    left += [path(line, ALLEY, 0.4, "1 1.5") for line in strips.geometry]
    left += [dot(x, y, INK) for x, y in shapely.get_coordinates(planted.geometry)]
    right = [path(OUTLINE.exterior, INK, 1.2)]
    for number, row in found.groupby("row"):
        row = row.sort_values("position")
        xy = survey[row.index]
        colour = ROWS[number % 2]
        right.append(path(shapely.LineString(xy), colour, 0.6))
        right += [dot(*tree, colour, sure) for tree, sure in zip(xy, row["sure"], strict=True)]
        at = f'x="{xy[0, 0] - 2:.1f}" y="{95 - xy[0, 1] + 1.3:.1f}" text-anchor="end" font-size="3.6"'
        right.append(f"<text {at}>{number}</text>")
    spacing = f"rows {found.attrs['row_spacing_m']:.1f} m, trees {found.attrs['tree_spacing_m']:.1f} m"
    Path(__file__).with_suffix(".svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="1072" height="448" viewBox="-6 -6 268 112" '
        'font-family="sans-serif" fill="#222222">\n'
        "<title>Contour rows, and rows found in a survey</title>\n"
        f'<g>{"".join(left)}</g>\n<g transform="translate(134 0)">{"".join(right)}</g>\n'
        '<text x="0" y="103" font-size="4">Planted along the dashed line, alleys dotted. Invented block.</text>\n'
        f'<text x="134" y="103" font-size="4">Found in a survey 1.5 m off: {spacing}. Hollow: not sure.</text>\n'
        "</svg>\n"
    )


def path(line: shapely.LineString, colour: str, width: float, dashes: str = "") -> str:
    """Return an SVG path of a line; north is up."""
    steps = "L".join(f"{x:.1f} {95 - y:.1f}" for x, y in shapely.get_coordinates(line))
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="M{steps}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def dot(x: float, y: float, colour: str, sure: float = 1.0) -> str:
    """Return a tree, hollow where its place is not sure."""
    fill = colour if sure >= 0.9 else "#ffffff"
    return f'<circle cx="{x:.1f}" cy="{95 - y:.1f}" r="1.1" fill="{fill}" stroke="{colour}" stroke-width="0.5"/>'


if __name__ == "__main__":
    main()
