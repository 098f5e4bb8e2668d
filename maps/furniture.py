"""What every plan carries: scale bar, north arrow, uphill arrow, attribution."""

from __future__ import annotations

import math

from maps import svg
from maps.style import Palette
from maps.view import View


def round_length_m(most_m: float) -> float:
    """Longest length of 1, 2 or 5 times a power of ten that is not over ``most_m`` [m].

    Examples
    --------
    >>> round_length_m(73.0), round_length_m(19.9), round_length_m(0.7)
    (50.0, 10.0, 0.5)
    """
    power = 10.0 ** math.floor(math.log10(most_m))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_m * (1 + 1e-9))


def length_words(length_m: float) -> str:
    """Name a length [m].

    Examples
    --------
    >>> length_words(50.0), length_words(2000.0), length_words(0.5)
    ('50 m', '2 km', '0.5 m')
    """
    return f"{length_m / 1000:g} km" if length_m >= 1000 else f"{length_m:g} m"


def scale_bar(view: View, x: float, y: float, palette: Palette, *, size: float) -> str:
    """Draw a scale bar with its left end at (x, y) [px], at most a fifth of the drawing long."""
    length_m = round_length_m(0.2 * view.width_px / view.px_per_m)
    length = length_m * view.px_per_m
    middle = svg.number(x + length / 2)
    path = f"M{svg.number(x)} {svg.number(y - 7)}v7h{svg.number(length)}v-7M{middle} {svg.number(y)}v-4"
    bar = svg.element("path", d=path, fill="none", stroke=palette.ink, stroke_width=2.0)
    return bar + svg.text(x + length + 8, y, length_words(length_m), size=size, fill=palette.ink, casing=palette.casing)


def north_arrow(x: float, y: float, palette: Palette, *, size: float) -> str:
    """Draw a north arrow over its letter, whose baseline is at (x, y) [px]; north is grid north."""
    tip, foot = y - size - 26, y - size - 2
    d = f"M{svg.number(x)} {svg.number(tip)}l7 {svg.number(foot - tip)}l-7 -6l-7 6Z"
    return svg.element("path", d=d, fill=palette.ink) + svg.text(
        x, y, "N", size=size, anchor="middle", weight=700, fill=palette.ink, casing=palette.casing
    )


def uphill_arrow(x: float, y: float, bearing_deg: float, palette: Palette, *, size: float) -> str:
    """Draw an arrow along the uphill bearing [degrees clockwise from grid north] over its word at (x, y) [px]."""
    middle = y - size - 14
    mark = svg.element(
        "path",
        d="M0 13V-13M-6 -6L0 -13L6 -6M-5 13H5",
        fill="none",
        stroke=palette.ink,
        stroke_width=2.2,
        transform=f"translate({svg.number(x)} {svg.number(middle)}) rotate({svg.number(bearing_deg)})",
    )
    return mark + svg.text(
        x, y, "uphill", size=size, anchor="middle", weight=700, fill=palette.ink, casing=palette.casing
    )
