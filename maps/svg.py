"""Writing SVG: elements whose text and attributes are always escaped, and paths from geometries."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from shapely.geometry.base import BaseGeometry

LATIN_FONT: Final = "Roboto"
ARABIC_FONT: Final = "Noto Sans Arabic"
Project = Callable[[float, float], tuple[float, float]]
# XML 1.0 (W3C, 2008), production 2: control characters other than tab, line feed and carriage return can't stand in a
# document at all, nor can halves of a surrogate pair.
_FORBIDDEN: Final = dict.fromkeys((*range(9), 11, 12, *range(14, 32), 65534, 65535, *range(55296, 57344)))


def number(value: float) -> str:
    """Write a length in px with at most two decimals.

    Examples
    --------
    >>> number(3.0), number(-0.001), number(1.256)
    ('3', '0', '1.26')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, *inside: str, text: str | None = None, **attributes: object) -> str:
    """Write one element.

    Parameters
    ----------
    name : str
        Name of the element.
    *inside : str
        Elements already written, which are taken as they are.
    text : str, optional
        Text from a user: escaped.
    **attributes : object
        Attributes: ``_`` in a name becomes ``-``, a trailing ``_`` is dropped, None leaves it out.

    Examples
    --------
    >>> element("text", text="<b>", font_size=16)
    '<text font-size="16">&lt;b&gt;</text>'
    """
    parts = []
    for key, value in attributes.items():
        if value is None:
            continue
        shown = number(value) if isinstance(value, float) else str(value).translate(_FORBIDDEN)
        parts.append(f" {key.rstrip('_').replace('_', '-')}={quoteattr(shown)}")
    body = "".join(inside) + (escape(text.translate(_FORBIDDEN)) if text is not None else "")
    return f"<{name}{''.join(parts)}>{body}</{name}>" if body else f"<{name}{''.join(parts)}/>"


def document(width: float, height: float, *inside: str, title: str) -> str:
    """Write a whole SVG document [px] that names itself to a screen reader."""
    return element(
        "svg",
        element("title", text=title),
        *inside,
        xmlns="http://www.w3.org/2000/svg",
        width=width,
        height=height,
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
    )


def path_data(geometries: Iterable[BaseGeometry], project: Project) -> str:
    """Write polygons and lines as path data, holes included.

    Examples
    --------
    >>> from shapely.geometry import LineString
    >>> path_data([LineString([(0, 0), (5, 0)])], lambda x, y: (x, y))
    'M0 0L5 0'
    """
    parts: list[str] = []
    for geometry in geometries:
        for piece in getattr(geometry, "geoms", [geometry]):
            if piece.is_empty:
                continue
            if piece.geom_type == "Polygon":
                parts.extend(_line(ring.coords[:-1], project) + "Z" for ring in (piece.exterior, *piece.interiors))
            elif piece.geom_type == "LineString":
                parts.append(_line(piece.coords, project))
    return "".join(parts)


def _line(coordinates: Iterable[tuple[float, ...]], project: Project) -> str:
    placed = (project(point[0], point[1]) for point in coordinates)
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in placed)


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    anchor: str = "start",
    weight: int = 400,
    fill: str,
    casing: str | None = None,
    serif_italic: bool = False,
) -> str:
    """Write one line of text at (x, y) [px]: its start, middle or end; with a halo where ``casing`` is given.

    Arabic letters get the font that has them: an SVG drawn into a sheet does not look for one by itself.
    """
    family = "Libertinus Serif, serif" if serif_italic else LATIN_FONT
    shared = {
        "x": float(x),
        "y": float(y),
        "font_family": family,
        "font_size": float(size),
        "font_weight": weight,
        "font_style": "italic" if serif_italic else None,
        "text_anchor": anchor,
    }
    pieces = [
        element("tspan", text=run, font_family=ARABIC_FONT) if arabic else element("tspan", text=run)
        for arabic, run in _scripts(words)
    ]
    inside = pieces if len(pieces) > 1 or any(arabic for arabic, _ in _scripts(words)) else []
    plain = None if inside else words
    halo = ""
    if casing is not None:
        halo = element(
            "text",
            *inside,
            text=plain,
            **shared,
            fill=casing,
            stroke=casing,
            stroke_width=size * 0.3,
            stroke_linejoin="round",
        )
    return halo + element("text", *inside, text=plain, **shared, fill=fill)


def _scripts(words: str) -> list[tuple[bool, str]]:
    """Cut a text into pieces in Arabic letters and in others; a space between two Arabic words stays with them."""
    pieces: list[tuple[bool, str]] = []
    for arabic, letters in groupby(words, key=_is_arabic):
        run = "".join(letters)
        if pieces and run.isspace():
            pieces[-1] = (pieces[-1][0], pieces[-1][1] + run)
        elif pieces and pieces[-1][0] == arabic:
            pieces[-1] = (arabic, pieces[-1][1] + run)
        else:
            pieces.append((arabic, run))
    return pieces


def _is_arabic(letter: str) -> bool:
    # Unicode blocks Arabic, Arabic Supplement, Arabic Extended-A, and the two blocks of presentation forms.
    return any(
        first <= ord(letter) <= last
        for first, last in ((0x600, 0x77F), (0x8A0, 0x8FF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFF))
    )
