"""How everything that is drawn looks: colours, ramps, hatches and sizes, in this one place.

Three rules hold everywhere. Only trees carry colour. Doubt has one look, hatching at 45 degrees, and nothing else uses
it. Colour never speaks alone: hatching, numbers or words stand beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gridmap import checks


@dataclass(frozen=True, kw_only=True)
class Palette:
    """The colours of one light (day, night, print); every field is ``#rrggbb``."""

    paper: str
    ground: str
    well: str
    line: str
    edge: str
    quiet: str
    ink: str
    accent: str
    casing: str
    water: str
    water_edge: str
    contour: str


LIGHT: Final = Palette(
    paper="#FFFFFF",
    ground="#F3F5F0",
    well="#E6EAE2",
    line="#C9D0C6",
    edge="#737F76",
    quiet="#4E5A52",
    ink="#141A16",
    accent="#8B1D5D",
    casing="#FFFFFF",
    water="#DCE6EA",
    water_edge="#54707C",
    contour="#B4BDB0",
)
DARK: Final = Palette(
    paper="#161B18",
    ground="#0E1210",
    well="#232A26",
    line="#3C463F",
    edge="#86938A",
    quiet="#B4BFB7",
    ink="#EEF2ED",
    accent="#F0A3CF",
    casing="#0E1210",
    water="#1C2A31",
    water_edge="#7F9DAA",
    contour="#39433C",
)
# Full sun: every line and letter black on white, the accent darker.
SUN: Final = Palette(
    paper="#FFFFFF",
    ground="#FFFFFF",
    well="#FFFFFF",
    line="#000000",
    edge="#000000",
    quiet="#000000",
    ink="#000000",
    accent="#6A0044",
    casing="#FFFFFF",
    water="#FFFFFF",
    water_edge="#000000",
    contour="#8A8A8A",
)
# Paper from an office printer: black only, no grey that a worn drum would lose.
PRINT: Final = Palette(
    paper="#FFFFFF",
    ground="#FFFFFF",
    well="#FFFFFF",
    line="#000000",
    edge="#000000",
    quiet="#000000",
    ink="#000000",
    accent="#000000",
    casing="#FFFFFF",
    water="#FFFFFF",
    water_edge="#000000",
    contour="#000000",
)

# Ten stops of cividis: J.R. Nunez, C.R. Anderton, R.S. Renslow (2018), PLoS ONE 13(7) e0199239,
# doi:10.1371/journal.pone.0199239, made to look alike to people with and without a colour vision deficiency.
PRESSURE_STOPS: Final = (
    "#00224E",
    "#123570",
    "#3B496C",
    "#575D6D",
    "#707173",
    "#8A8678",
    "#A59C74",
    "#C3B369",
    "#E1CC55",
    "#FEE838",
)
# The top of the ramp in thresholds, so that the threshold always falls at the same place, sqrt(1 / 2.4) = 0.65.
TOP_IN_THRESHOLDS: Final = 2.4
# Share of its colour that a doubtful tree keeps; the rest is paper.
DOUBTFUL_SHARE: Final = 0.5

KNOWLEDGE: Final = ("well_known", "doubtful", "unknown")
KNOWLEDGE_WORDS: Final = {"well_known": "well known", "doubtful": "doubtful", "unknown": "unknown"}


@dataclass(frozen=True, kw_only=True)
class Hatch:
    """Parallel lines: every ``step_px`` a line ``line_px`` wide, falling to the right at 45 degrees."""

    line_px: float
    step_px: float


DOUBTFUL: Final = Hatch(line_px=1.2, step_px=9.0)
UNKNOWN: Final = Hatch(line_px=1.5, step_px=6.0)
SETBACK_DOT_PX: Final = 2.3

FONT: Final = 'Roboto, system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif'
TEXT_PX: Final = 16.0
GROUND_NAME_PX: Final = 17.0
OUTLINE_PX: Final = 1.8
CONTOUR_PX: Final = 0.8
INDEX_CONTOUR_PX: Final = 1.6


def relative_luminance(colour: str) -> float:
    """How bright a colour looks, 0 black to 1 white.

    Parameters
    ----------
    colour : str
        sRGB colour as ``#rrggbb``.

    Notes
    -----
    L = 0.2126 R + 0.7152 G + 0.0722 B with each channel c made linear: c/12.92 up to 0.04045, else
    ((c + 0.055)/1.055)^2.4.

    References
    ----------
    W3C (2023), Web Content Accessibility Guidelines 2.2, "relative luminance", https://www.w3.org/TR/WCAG22/#dfn-relative-luminance

    Examples
    --------
    >>> relative_luminance("#FFFFFF")
    1.0
    """
    red, green, blue = (_linear(channel / 255.0) for channel in _channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """How well one colour can be read on another: 1 (not at all) to 21 (black on white).

    Parameters
    ----------
    one, other : str
        sRGB colours as ``#rrggbb``; the order makes no difference.

    References
    ----------
    W3C (2023), Web Content Accessibility Guidelines 2.2, "contrast ratio", https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio

    Examples
    --------
    >>> round(contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    low, high = sorted((relative_luminance(one), relative_luminance(other)))
    return (high + 0.05) / (low + 0.05)


def mix(colour: str, paper: str, share: float) -> str:
    """Lay ``share`` [0 to 1] of a colour over paper; both ``#rrggbb``.

    Examples
    --------
    >>> mix("#000000", "#FFFFFF", 0.5)
    '#808080'
    """
    parts = (
        share * over + (1.0 - share) * under for over, under in zip(_channels(colour), _channels(paper), strict=True)
    )
    return "#" + "".join(f"{math.floor(part + 0.5):02X}" for part in parts)


def ramp_top(threshold: float | None, counts: Sequence[float] = ()) -> float:
    """Which count gets the last colour of the ramp.

    Parameters
    ----------
    threshold : float or None
        The grower's action threshold [per beat]; with it the top is 2.4 thresholds.
    counts : sequence of float
        Without a threshold: the expected counts [per beat] that are drawn; the top is the largest of them, at least 1.

    Examples
    --------
    >>> ramp_top(5.0)
    12.0
    >>> ramp_top(None, [])
    1.0
    """
    if threshold is not None:
        return TOP_IN_THRESHOLDS * checks.number(threshold, "action threshold", "a beat", over=0)
    finite = [count for count in counts if math.isfinite(count)]
    return max([1.0, *finite])


def ramp_position(count: float, top: float) -> float:
    """Where a count stands on the ramp, 0 to 1: sqrt(count / top), held at 1 above the top.

    Examples
    --------
    >>> round(ramp_position(5.0, ramp_top(5.0)), 2)
    0.65
    """
    return min(1.0, math.sqrt(max(0.0, count) / top))


def pressure_colour(count: float, top: float, stops: Sequence[str] = PRESSURE_STOPS) -> str:
    """Colour of an expected count [per beat] on a ramp that ends at ``top``.

    Examples
    --------
    >>> pressure_colour(0.0, 12.0), pressure_colour(99.0, 12.0)
    ('#00224E', '#FEE838')
    """
    place = ramp_position(count, top) * (len(stops) - 1)
    lower = min(int(place), len(stops) - 2)
    return mix(stops[lower + 1], stops[lower], place - lower)


def _channels(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
