"""The plan: one drawer for the picture of a walk and for the map on a run sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from gridmap.ground import ACROSS, cells
from maps import furniture, hatches, points, relief, svg
from maps.keep_outs import draw_keep_outs, draw_setback_edges, draw_setbacks
from maps.look import PRESSURE_LOOK, Look
from maps.names import place_names
from maps.scene import Scene
from maps.style import DOUBTFUL_SHARE, OUTLINE_PX, TEXT_PX, Palette, mix, pressure_colour, ramp_top
from maps.view import View


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A drawn plan: the SVG, its view, and the names for which no place was free (the tables have them anyway)."""

    svg: str
    view: View
    left_out: tuple[str, ...]


def draw_plan(scene: Scene, *, width_px: float, height_px: float, look: Look = PRESSURE_LOOK) -> Plan:
    """Draw the grove seen from above.

    Parameters
    ----------
    scene : Scene
        What to draw.
    width_px, height_px : float
        Size of the drawing [px].
    look : Look, optional
        What to show, and how.

    Returns
    -------
    Plan
        The same scene gives the same bytes.

    Notes
    -----
    Order: hill shade, contours, setbacks, keep-outs, paper of the blocks, cells, hatch, outlines, runs, edges of the
    setbacks, beaten trees, gates and refill points, names. The edges come again over the trees, so that a setback that
    cuts a block can be seen in it.
    """
    size = look.text_px
    palette = look.palette
    view, names, left_out = place_names(scene, width_px, height_px, look)
    parts = [
        svg.element("defs", hatches.patterns(palette)),
        svg.element("rect", width=width_px, height=height_px, fill=palette.ground),
        relief.draw_relief(scene, view, palette) if look.relief else "",
        draw_setbacks(scene, view, palette),
        draw_keep_outs(scene, view, palette),
        svg.element("path", d=svg.path_data(scene.blocks.geometry, view.project), fill=palette.paper),
        _cells(scene, view, palette) if look.pressure else _rows(scene, view, palette),
        svg.element(
            "path",
            d=svg.path_data(scene.blocks.geometry, view.project),
            fill="none",
            stroke=palette.ink,
            stroke_width=OUTLINE_PX * size / TEXT_PX,
            stroke_linejoin="round",
        ),
        _run_frames(scene, view, look) if look.runs == "frame" else _run_bars(scene, view, palette),
        draw_setback_edges(scene, view, palette),
        _beaten(scene, view, look) if look.pressure else "",
        points.draw_points(scene, view, palette, size=size),
        names,
        _furniture(scene, view, look),
    ]
    title = f"Plan of {scene.grove}"
    return Plan(svg=svg.document(width_px, height_px, *parts, title=title), view=view, left_out=left_out)


def _cells(scene: Scene, view: View, palette: Palette) -> str:
    trees = scene.tree_pressure()
    shapes = cells(trees, scene.blocks).geometry.to_numpy()
    top = ramp_top(scene.threshold, trees["median_per_beat"].dropna().tolist())
    parts = []
    for shape, count, knowledge in zip(shapes, trees["median_per_beat"], trees["knowledge"], strict=True):
        if knowledge == "unknown":
            continue
        colour = pressure_colour(count, top)
        if knowledge == "doubtful":
            colour = mix(colour, palette.paper, DOUBTFUL_SHARE)
        # The thin line of its own colour closes the seam that two cells side by side would show.
        parts.append(
            svg.element("path", d=svg.path_data([shape], view.project), fill=colour, stroke=colour, stroke_width=0.4)
        )
    for word in ("doubtful", "unknown"):
        chosen = shapes[(trees["knowledge"] == word).to_numpy()]
        if len(chosen):
            parts.append(svg.element("path", d=svg.path_data(chosen, view.project), fill=f"url(#{word})"))
    return "".join(parts)


def row_spacings_m(scene: Scene) -> dict[str, float]:
    """Row spacing of each block with trees [m], as said or else as the trees tell."""
    firsts = scene.trees.drop_duplicates("block").index
    corners = shapely.get_coordinates(cells(scene.trees, scene.blocks).loc[firsts].geometry.to_numpy()).reshape(
        -1, 5, 2
    )
    # The second side of a cell runs across the row.
    across = np.hypot(*(corners[:, 2] - corners[:, 1]).T)
    return dict(zip(scene.trees["block"].loc[firsts], across / ACROSS, strict=True))


def _rows(scene: Scene, view: View, palette: Palette) -> str:
    ordered = scene.trees.sort_values(["block", "row", "position"])
    lines = [
        shapely.LineString(shapely.get_coordinates(own.geometry.to_numpy()))
        for _, own in ordered.groupby(["block", "row"], sort=True)
        if len(own) > 1
    ]
    points = [view.project(x, y) for x, y in shapely.get_coordinates(ordered.geometry.to_numpy())]
    # A dot is a line of no length with round ends: a hundredth of the bytes of a circle.
    dots = "".join(f"M{svg.number(x)} {svg.number(y)}h0" for x, y in points)
    return svg.element(
        "path", d=svg.path_data(lines, view.project), fill="none", stroke=palette.ink, stroke_width=0.5
    ) + svg.element("path", d=dots, fill="none", stroke=palette.ink, stroke_width=1.9, stroke_linecap="round")


def _beaten(scene: Scene, view: View, look: Look) -> str:
    radius = 4.0 * look.text_px / TEXT_PX
    return "".join(
        svg.element("circle", cx=x, cy=y, r=radius, fill="#FFFFFF", stroke="#141A16", stroke_width=radius * 0.45)
        for x, y in (view.project(*xy) for xy in shapely.get_coordinates(scene.beaten_trees().geometry.to_numpy()))
    )


def _run_frames(scene: Scene, view: View, look: Look) -> str:
    if scene.runs.empty:
        return ""
    spacing = scene.runs["block"].map(row_spacings_m(scene)).to_numpy(float)
    frames = shapely.buffer(scene.runs.geometry.to_numpy(), spacing * 0.45, cap_style="flat", join_style="mitre")
    data = svg.path_data(frames, view.project)
    scale = look.text_px / TEXT_PX
    return "".join(
        svg.element("path", d=data, fill="none", stroke=colour, stroke_width=width * scale)
        for colour, width in ((look.palette.casing, 5.0), (look.palette.accent, 2.4))
    )


def _run_bars(scene: Scene, view: View, palette: Palette) -> str:
    if scene.runs.empty:
        return ""
    spacing = float(scene.runs["block"].map(row_spacings_m(scene)).median())
    width = min(9.0, max(1.6, 0.62 * spacing * view.px_per_m))
    return svg.element(
        "path",
        d=svg.path_data(scene.runs.geometry, view.project),
        fill="none",
        stroke=palette.accent,
        stroke_width=width,
    )


def _furniture(scene: Scene, view: View, look: Look) -> str:
    size, palette = look.text_px, look.palette
    base = size + 42
    parts = [
        furniture.north_arrow(view.width_px - size * 1.6, base, palette, size=size),
        furniture.scale_bar(view, size, view.height_px - size * 0.9, palette, size=size),
    ]
    if scene.uphill_bearing_deg is not None:
        parts.append(
            furniture.uphill_arrow(view.width_px - size * 5.2, base, scene.uphill_bearing_deg, palette, size=size)
        )
    if scene.attribution:
        parts.append(
            svg.text(
                view.width_px - size,
                view.height_px - size * 0.9,
                scene.attribution,
                size=size,
                anchor="end",
                fill=palette.quiet,
                casing=palette.casing,
            )
        )
    return "".join(parts)
