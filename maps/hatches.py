"""Hatches as SVG patterns in screen units, so that they run on from cell to cell and don't grow with the map."""

from __future__ import annotations

from maps import svg
from maps.style import DOUBTFUL, SETBACK_DOT_PX, UNKNOWN, Hatch, Palette


def patterns(palette: Palette) -> str:
    """Write the patterns ``doubtful``, ``unknown``, ``setback``, ``water`` and ``bush`` of one palette.

    Examples
    --------
    >>> from maps.style import LIGHT
    >>> 'id="unknown"' in patterns(LIGHT)
    True
    """
    return "".join(
        (
            _lines("doubtful", DOUBTFUL, palette.ink),
            _lines("unknown", UNKNOWN, palette.ink),
            _dots(palette),
            _waves(palette),
            _arcs(palette),
        )
    )


def _pattern(name: str, width: float, height: float, *inside: str, turn: str | None = None) -> str:
    return svg.element(
        "pattern", *inside, id=name, width=width, height=height, patternUnits="userSpaceOnUse", patternTransform=turn
    )


def _lines(name: str, hatch: Hatch, ink: str) -> str:
    middle = hatch.step_px / 2
    line = svg.element(
        "line",
        x1=middle,
        y1=-1.0,
        x2=middle,
        y2=hatch.step_px + 1,
        stroke=ink,
        stroke_width=hatch.line_px,
        class_="hatch",
    )
    return _pattern(name, hatch.step_px, hatch.step_px, line, turn="rotate(-45)")


def _dots(palette: Palette) -> str:
    radius = SETBACK_DOT_PX / 2
    dots = (svg.element("circle", cx=x, cy=x, r=radius, fill=palette.edge, class_="edge-fill") for x in (2.5, 7.5))
    return _pattern("setback", 10.0, 10.0, *dots)


def _waves(palette: Palette) -> str:
    wave = svg.element(
        "path", d="M0 6q5 -4 10 0t10 0", fill="none", stroke=palette.water_edge, stroke_width=1.2, class_="wave"
    )
    return _pattern("water", 20.0, 12.0, wave)


def _arcs(palette: Palette) -> str:
    arcs = (
        svg.element(
            "path", d=f"M{x} {y}a4 4 0 0 1 7 0", fill="none", stroke=palette.edge, stroke_width=1.3, class_="edge-line"
        )
        for x, y in ((1, 7), (9, 15))
    )
    return _pattern("bush", 16.0, 16.0, *arcs)
