"""What must never be sprayed: water in waves, bush in arcs, houses filled, hives as three strokes, setbacks dotted."""

from __future__ import annotations

import shapely

from maps import svg
from maps.labels import Placer, text_width_px
from maps.scene import Scene
from maps.style import Palette
from maps.view import View


def draw_setbacks(scene: Scene, view: View, palette: Palette) -> str:
    """Draw the ground within each keep-out's setback [m]: dots inside a dashed edge."""
    data = _setback_data(scene, view)
    if not data:
        return ""
    return svg.element("path", d=data, fill=palette.ground) + svg.element("path", d=data, fill="url(#setback)")


def draw_setback_edges(scene: Scene, view: View, palette: Palette) -> str:
    """Draw the dashed edges of the setbacks over the trees: where one cuts a block, it must be seen there."""
    data = _setback_data(scene, view)
    if not data:
        return ""
    casing = svg.element("path", d=data, fill="none", stroke=palette.casing, stroke_width=3.0, stroke_opacity=0.6)
    return casing + svg.element(
        "path", d=data, fill="none", stroke=palette.edge, stroke_width=1.5, stroke_dasharray="7 5"
    )


def _setback_data(scene: Scene, view: View) -> str:
    reach = zip(scene.keep_outs.geometry, scene.keep_outs["setback_m"].fillna(0.0), strict=True)
    return svg.path_data([shape.buffer(setback) for shape, setback in reach if setback > 0], view.project)


def draw_keep_outs(scene: Scene, view: View, palette: Palette) -> str:
    """Draw each keep-out by its kind."""
    parts = []
    for shape, kind in zip(scene.keep_outs.geometry, scene.keep_outs["kind"], strict=True):
        data = svg.path_data([shape], view.project)
        if kind == "water":
            parts.append(svg.element("path", d=data, fill=palette.water))
            parts.append(svg.element("path", d=data, fill="url(#water)", stroke=palette.water_edge, stroke_width=1.8))
        elif kind == "bush":
            parts.append(svg.element("path", d=data, fill=palette.well))
            parts.append(svg.element("path", d=data, fill="url(#bush)", stroke=palette.edge, stroke_width=1.4))
        elif kind == "dwelling":
            parts.append(svg.element("path", d=data, fill=palette.ink))
        else:
            parts.append(svg.element("path", d=data, fill=palette.paper, stroke=palette.edge, stroke_width=1.4))
        if kind == "hive":
            x, y = view.project(shape.centroid.x, shape.centroid.y)
            d = "".join(
                f"M{svg.number(x - half)} {svg.number(y + lift)}h{svg.number(2 * half)}"
                for lift, half in ((-5, 4), (0, 6), (5, 6))
            )
            parts.append(svg.element("path", d=d, fill="none", stroke=palette.ink, stroke_width=2.6))
    return "".join(parts)


def name_keep_outs(scene: Scene, view: View, palette: Palette, placer: Placer, *, size: float) -> str:
    """Write the name of each keep-out inside it where there is room, else beside it, else not at all."""
    parts = []
    for shape, kind, name in zip(
        scene.keep_outs.geometry, scene.keep_outs["kind"], scene.keep_outs["name"], strict=True
    ):
        words = str(name) if isinstance(name, str) and name else str(kind)
        drawn = view.shape(shape)
        width, height = text_width_px(words, size) * 0.85, size * 1.2
        middle = drawn.representative_point()
        box = shapely.box(middle.x - width / 2, middle.y - height / 2, middle.x + width / 2, middle.y + height / 2)
        frame = shapely.box(0, 0, view.width_px, view.height_px)
        inside = kind != "dwelling" and drawn.contains(box) and frame.contains(box)
        place = (middle.x, middle.y) if inside else placer.beside(drawn, width, height, near=middle, gap=3.0)
        if place is not None:
            casing = (
                {"water": palette.water, "bush": palette.well}.get(kind, palette.casing) if inside else palette.casing
            )
            parts.append(
                svg.text(
                    place[0],
                    place[1] + 0.33 * size,
                    words,
                    size=size,
                    anchor="middle",
                    fill=palette.ink,
                    casing=casing,
                    serif_italic=True,
                )
            )
    return "".join(parts)
