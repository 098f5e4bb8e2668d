"""Names on the plan: ranks of hot spots, groups of runs, blocks, keep-outs, and the view that has room for them."""

from __future__ import annotations

import shapely

from gridmap.errors import InputRefused
from maps import points, relief, svg
from maps.keep_outs import name_keep_outs
from maps.labels import Placer, group_words, text_width_px
from maps.look import Look
from maps.scene import Scene
from maps.view import Margins, View, fit


def _corners(width_px: float, height_px: float, size: float) -> tuple[shapely.Polygon, shapely.Polygon]:
    """Where the arrows and the scale bar stand [px]."""
    return (
        shapely.box(width_px - 7.5 * size, 0, width_px, size + 54),
        shapely.box(0, height_px - size * 2.2, width_px * 0.2 + size * 5, height_px),
    )


def _views(scene: Scene, width_px: float, height_px: float, size: float) -> list[View]:
    """List ways to show the grove, clear of the corners with arrows and scale bar: large, or with room for names."""
    narrow, corner, foot, wide = 1.9 * size, 8.0 * size, 2 * size + 14, 7.0 * size
    fits = [
        fit(scene, width_px=width_px, height_px=height_px, margins=margins)
        for margins in (
            Margins(top=narrow, left=narrow, bottom=narrow, right=narrow),
            Margins(top=narrow, left=narrow, bottom=foot, right=corner),
            Margins(top=size * 2 + 34, left=narrow, bottom=foot, right=narrow),
            Margins(top=narrow, left=wide, bottom=foot, right=corner),
            Margins(top=size * 2 + 34, left=wide, bottom=foot, right=wide),
        )
    ]
    shown = [*scene.blocks.geometry, *scene.keep_outs.geometry]
    clear = [
        view
        for view in fits
        if not any(
            view.shape(shape).intersects(corner) for shape in shown for corner in _corners(width_px, height_px, size)
        )
    ]
    return clear or fits[2:]


def place_names(scene: Scene, width_px: float, height_px: float, look: Look) -> tuple[View, str, tuple[str, ...]]:
    """Choose the largest view that has a free place for every name, or for most of them."""
    best: tuple[View, str, tuple[str, ...]] | None = None
    for view in sorted(_views(scene, width_px, height_px, look.text_px), key=lambda view: -view.px_per_m):
        names, left_out = _names(scene, view, look)
        if best is None or len(left_out) < len(best[2]):
            best = view, names, left_out
        if not left_out:
            break
    if best is None:
        raise InputRefused(f"{scene.grove} can't be drawn", "no view of it fits the drawing")
    return best


def _names(scene: Scene, view: View, look: Look) -> tuple[str, tuple[str, ...]]:
    """Write ranks, groups of runs, blocks, then keep-outs: the first to come finds the best place."""
    size, palette = look.text_px, look.palette
    outlines = {
        block: view.shape(shape) for block, shape in zip(scene.blocks["block"], scene.blocks.geometry, strict=True)
    }
    others = [*outlines.values(), *map(view.shape, scene.keep_outs.geometry)]
    hard = [*others, *_corners(view.width_px, view.height_px, size)]
    if scene.attribution:
        hard.append(shapely.box(0, view.height_px - size * 2.2, view.width_px, view.height_px))
    soft = [
        view.shape(shape.buffer(setback))
        for shape, setback in zip(scene.keep_outs.geometry, scene.keep_outs["setback_m"].fillna(0.0), strict=True)
    ]
    hard.extend(points.mark_boxes(scene, view, size=size))
    placer = Placer(view, hard, soft, others)
    parts: list[str] = []
    left_out: list[str] = []
    if look.pressure:
        parts.extend(_ranks(scene, view, look, placer, outlines))
    if look.runs == "bar":
        groups, without = _groups(scene, view, look, placer, outlines)
        parts.extend(groups)
        left_out.extend(without)
    parts.append(points.name_points(scene, view, palette, placer, size=size))
    for block, outline in outlines.items():
        place = placer.beside(outline, text_width_px(block, size, 700), size * 1.15)
        if place is None:
            left_out.append(block)
            continue
        parts.append(
            svg.text(
                place[0],
                place[1] + 0.35 * size,
                block,
                size=size,
                anchor="middle",
                weight=700,
                fill=palette.ink,
                casing=palette.casing,
            )
        )
    parts.append(name_keep_outs(scene, view, palette, placer, size=size + 1))
    if look.relief:
        parts.append(relief.label_contours(scene, view, palette, placer, size=size * 0.85))
    return "".join(parts), tuple(left_out)


def _ranks(scene: Scene, view: View, look: Look, placer: Placer, outlines: dict[str, shapely.Geometry]) -> list[str]:
    parts = []
    radius = look.text_px * 0.78
    for rank, block, shape in zip(
        scene.hot_spots["hot_spot"], scene.hot_spots["block"], scene.hot_spots.geometry, strict=True
    ):
        place = placer.beside(outlines[block], 2 * radius, 2 * radius, near=view.shape(shape).centroid, gap=3.0)
        if place is None:
            continue
        parts.append(
            svg.element(
                "circle",
                cx=place[0],
                cy=place[1],
                r=radius,
                fill=look.palette.ink,
                stroke=look.palette.casing,
                stroke_width=2.0,
            )
        )
        parts.append(
            svg.text(
                place[0],
                place[1] + 0.34 * look.text_px,
                str(rank),
                size=look.text_px * 0.95,
                anchor="middle",
                weight=700,
                fill=look.palette.paper,
            )
        )
    return parts


def _groups(
    scene: Scene, view: View, look: Look, placer: Placer, outlines: dict[str, shapely.Geometry]
) -> tuple[list[str], list[str]]:
    parts: list[str] = []
    left_out = []
    first = True
    for block, own in scene.runs.groupby("block", sort=False):
        words = ("runs " if first and len(own) > 1 else "run " if first else "") + group_words(
            own["run"].astype(int).tolist()
        )
        first = False
        near = view.shape(own.geometry.union_all()).centroid
        place = placer.beside(outlines[block], text_width_px(words, look.text_px, 700), look.text_px * 1.15, near=near)
        if place is None:
            left_out.append(words)
            continue
        parts.append(
            svg.text(
                place[0],
                place[1] + 0.35 * look.text_px,
                words,
                size=look.text_px,
                anchor="middle",
                weight=700,
                fill=look.palette.accent,
                casing=look.palette.casing,
            )
        )
    return parts, left_out
