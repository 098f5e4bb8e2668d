"""The one key to colour: count across, how well a tree is known down, the threshold as an ink line."""

from __future__ import annotations

import math
from typing import Any, Final

from maps import hatches, svg
from maps.labels import text_width_px
from maps.scene import Scene
from maps.style import (
    DOUBTFUL_SHARE,
    KNOWLEDGE,
    KNOWLEDGE_WORDS,
    LIGHT,
    TEXT_PX,
    Palette,
    pressure_colour,
    ramp_position,
    ramp_top,
)
from maps.words import short_number

_STEPS: Final = 48


def draw_legend(
    scene: Scene, *, width_px: float, palette: Palette = LIGHT, text_px: float = TEXT_PX, patterns: bool = True
) -> str:
    """Draw the two-way legend of a pressure map.

    Parameters
    ----------
    scene : Scene
        Its threshold sets the scale.
    width_px, text_px : float
        Width and size of the text [px].
    palette : Palette
        Its colours.
    patterns : bool
        False where the page that holds it has the hatches already.

    Returns
    -------
    str
        An SVG document.
    """
    left = text_width_px("well known", text_px) + 10
    right = width_px - text_width_px("0.0", text_px)
    bar, gap = text_px * 1.35, 5.0
    top_count = ramp_top(scene.threshold, scene.tree_pressure()["median_per_beat"].dropna().tolist())
    parts = [svg.element("defs", hatches.patterns(palette))] if patterns else []
    for line, word in enumerate(KNOWLEDGE):
        y = 4 + line * (bar + gap)
        parts.append(
            svg.text(
                left - 10,
                y + bar * 0.5 + text_px * 0.35,
                KNOWLEDGE_WORDS[word],
                size=text_px,
                anchor="end",
                fill=palette.ink,
            )
        )
        parts.append(_bar(word, left, y, right - left, bar, top_count, palette))
    foot = 4 + 3 * bar + 2 * gap
    parts.extend(_ticks(scene, left, right, foot, top_count, palette, text_px))
    unit = f"{scene.counted} expected in one beat"
    parts.append(svg.text(right, foot + text_px * 3.0, unit, size=text_px, anchor="end", fill=palette.quiet))
    return svg.document(
        width_px, foot + text_px * 3.5, *parts, title=f"Legend: {unit}, and how well each tree is known"
    )


def tick_counts(top: float, threshold: float | None) -> list[float]:
    """Choose the counts that the legend names: 0, round ones, the threshold, the top, far enough apart to be read.

    Examples
    --------
    >>> tick_counts(12.0, 5.0)
    [0.0, 1.0, 2.0, 5.0, 8.0, 12.0]
    """
    fixed = [0.0, top] if threshold is None else [0.0, threshold, top]
    chosen = list(fixed)
    power = math.floor(math.log10(top))
    # Round counts from large to small; below a fifth of the ramp they would crowd the zero.
    for count in (step * 10.0**exponent for exponent in (power, power - 1, power - 2) for step in (8.0, 5.0, 2.0, 1.0)):
        places = [ramp_position(other, top) for other in chosen]
        here = ramp_position(count, top)
        if 0.2 < here < 1 and all(abs(here - place) > 0.1 for place in places):
            chosen.append(count)
    return sorted(chosen)


def _bar(word: str, left: float, y: float, width: float, height: float, top: float, palette: Palette) -> str:
    box: dict[str, Any] = {"x": left, "y": y, "width": width, "height": height}
    parts = [svg.element("rect", **box, fill=palette.paper, class_="paper-fill")]
    if word != "unknown":
        steps = (
            svg.element(
                "rect",
                x=left + width * step / _STEPS,
                y=y,
                width=width / _STEPS + 0.5 * (step < _STEPS - 1),
                height=height,
                fill=pressure_colour(top * ((step + 0.5) / _STEPS) ** 2, top),
            )
            for step in range(_STEPS)
        )
        parts.append(svg.element("g", *steps, opacity=DOUBTFUL_SHARE if word == "doubtful" else None))
    fill = "none" if word == "well_known" else f"url(#{word})"
    parts.append(svg.element("rect", **box, fill=fill, stroke=palette.edge, stroke_width=1.0, class_="edge-line"))
    return "".join(parts)


def _ticks(
    scene: Scene, left: float, right: float, foot: float, top: float, palette: Palette, size: float
) -> list[str]:
    parts = []
    for count in tick_counts(top, scene.threshold):
        x = left + (right - left) * ramp_position(count, top)
        own = count == scene.threshold
        start = 0.0 if own else foot + 2
        width = 3.0 if own else 1.5
        if own:
            parts.append(
                svg.element(
                    "line",
                    x1=x,
                    y1=start,
                    x2=x,
                    y2=foot + 8,
                    stroke=palette.casing,
                    stroke_width=6.0,
                    class_="casing-line",
                )
            )
        parts.append(
            svg.element(
                "line", x1=x, y1=start, x2=x, y2=foot + 8, stroke=palette.ink, stroke_width=width, class_="ink-line"
            )
        )
        words = short_number(count) + ("+" if count == top else "")
        parts.append(
            svg.text(
                x,
                foot + 8 + size * 1.05,
                words,
                size=size,
                anchor="middle",
                weight=700 if own else 400,
                fill=palette.ink,
            )
        )
    return parts
