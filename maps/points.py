"""Gates, refill points and other points: a mark of our own strokes, and the name beside it."""

from __future__ import annotations

from typing import Final

import shapely

from maps import svg
from maps.labels import Placer, text_width_px
from maps.scene import Scene
from maps.style import TEXT_PX, Palette
from maps.view import View

#: Strokes about (0, 0), 16 px wide: two posts with rails, a drop, a ring.
MARKS: Final = {
    "gate": "M-8 8V-8M8 8V-8M-8 -4H8M-8 4H8",
    "refill": "M0 -9C5 -3 7 0 7 3A7 7 0 0 1 -7 3C-7 0 -5 -3 0 -9Z",
    "other": "M6 0A6 6 0 0 1 -6 0A6 6 0 0 1 6 0Z",
}
_HALF_PX: Final = 10.0
STROKE_PX: Final = 2.2
CASING_PX: Final = 6.0


def draw_points(scene: Scene, view: View, palette: Palette, *, size: float) -> str:
    """Draw the mark of each point, with a casing so that it reads on whatever lies below."""
    scale = size / TEXT_PX
    parts = []
    for shape, kind in zip(scene.points.geometry, scene.points["kind"], strict=True):
        x, y = view.project(shape.x, shape.y)
        place = f"translate({svg.number(x)} {svg.number(y)}) scale({svg.number(scale)})"
        for colour, width in ((palette.casing, CASING_PX), (palette.ink, STROKE_PX)):
            fill = palette.casing if kind != "gate" else "none"
            parts.append(
                svg.element("path", d=MARKS[kind], fill=fill, stroke=colour, stroke_width=width, transform=place,
                            stroke_linejoin="round")
            )  # fmt: skip
    return "".join(parts)


def mark_boxes(scene: Scene, view: View, *, size: float) -> list[shapely.Polygon]:
    """Where the marks stand [px]: no name may lie on one."""
    half = _HALF_PX * size / TEXT_PX
    placed = (view.project(shape.x, shape.y) for shape in scene.points.geometry)
    return [shapely.box(x - half, y - half, x + half, y + half) for x, y in placed]


def name_points(scene: Scene, view: View, palette: Palette, placer: Placer, *, size: float) -> str:
    """Write the name of each point beside its mark, or leave it out where no place is free."""
    parts = []
    for box, name in zip(mark_boxes(scene, view, size=size), scene.points["name"], strict=True):
        words = str(name)
        place = placer.beside(box, text_width_px(words, size), size * 1.15, near=box.centroid, gap=2.0)
        if place is not None:
            parts.append(
                svg.text(
                    place[0],
                    place[1] + 0.35 * size,
                    words,
                    size=size,
                    anchor="middle",
                    fill=palette.ink,
                    casing=palette.casing,
                )
            )
    return "".join(parts)
