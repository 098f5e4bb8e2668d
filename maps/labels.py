"""Where names go: outside every outline, over no other name, left out rather than made smaller."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from gridmap.checks import FloatArray
from maps.view import View


def text_width_px(words: str, size_px: float, weight: int = 400) -> float:
    """Room that a line of text takes [px], a little generous.

    Notes
    -----
    0.56 of the size a letter (0.6 when bold), one size for East Asian wide letters, nothing for accents that stand on
    others.

    Examples
    --------
    >>> round(text_width_px("Dam Side", 10.0))
    45
    """
    each = 0.6 if weight >= 700 else 0.56
    units = 0.0
    for letter in words:
        if unicodedata.combining(letter):
            continue
        units += 1.05 if unicodedata.east_asian_width(letter) in "WF" else each
    return units * size_px


@dataclass
class Placer:
    """Finds free places on one drawing [px].

    Parameters
    ----------
    view : View
        The drawing.
    hard : list of geometry
        What a name may never lie on [px]: outlines, scale bar, arrows, names already placed.
    soft : list of geometry
        What a name should not lie on if it can be helped [px]: setbacks.
    others : list of geometry
        What else has a name [px]: a name never lies nearer to one of these than to its own.
    """

    view: View
    hard: list[BaseGeometry]
    soft: list[BaseGeometry] = field(default_factory=list)
    others: list[BaseGeometry] = field(default_factory=list)

    def beside(
        self, outline: BaseGeometry, width: float, height: float, *, near: Point | None = None, gap: float = 5.0
    ) -> tuple[float, float] | None:
        """Find a free box beside an outline and keep it from then on: its centre [px], None when nothing is free.

        Parameters
        ----------
        outline : geometry
            What is named [px].
        width, height : float
            Size of the box [px].
        near : Point, optional
            Stay close to this point [px]; without it a place above the outline is taken if one is free.
        gap : float
            Distance to the outline [px].
        """
        x, y, up = _candidates(outline, width, height, gap)
        boxes = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        far = shapely.distance(boxes, outline)
        free = shapely.within(boxes, shapely.box(2, 2, self.view.width_px - 2, self.view.height_px - 2))
        for shape in self.hard:
            free &= ~shapely.intersects(boxes, shape)
        for shape in self.others:
            if shape is not outline:
                free &= shapely.distance(boxes, shape) >= far
        if not free.any():
            return None
        x, y, up, boxes, far = x[free], y[free], up[free], boxes[free], far[free]
        cost = 1.5 * far
        for shape in self.soft:
            cost += 60.0 * shapely.area(shapely.intersection(boxes, shape)) / (width * height)
        for shape in self.hard:
            if shape is not outline:
                cost += 1.5 * np.maximum(0.0, 14.0 - shapely.distance(boxes, shape))
        if near is not None:
            cost += shapely.distance(boxes, near)
        else:
            cost += 12.0 * (1.0 - up) + 3.0 * np.abs(x - outline.centroid.x) / width
        best = int(np.argmin(cost))
        self.hard.append(boxes[best])
        return float(x[best]), float(y[best])


def _candidates(
    outline: BaseGeometry, width: float, height: float, gap: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Box centres all round an outline, near ones and some farther off, and how far up [-1 to 1] each stands."""
    parts: list[FloatArray] = []
    for distance in (gap, gap + 0.6 * height):
        # The arcs round the corners of a buffer give the directions between those of two sides.
        ring = outline.convex_hull.buffer(distance).exterior
        steps = max(48, min(160, int(ring.length / 6)))
        here = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(steps) / steps, normalized=True))
        along = np.roll(here, -1, axis=0) - np.roll(here, 1, axis=0)
        along /= np.hypot(*along.T)[:, None]
        # Outside lies to the right of a ring that runs counter-clockwise, to the left of the others.
        normal = np.column_stack((along[:, 1], -along[:, 0])) * (1.0 if ring.is_ccw else -1.0)
        # A box that touches the ring with its side, or only with its corner.
        half = np.array([width, height]) / 2
        touch = (np.abs(normal) @ half)[:, None] * normal
        parts.extend(
            np.column_stack((here + shift, -normal[:, 1])) for shift in (np.clip(1.6 * normal, -1, 1) * half, touch)
        )
    x, y, up = np.concatenate(parts).T
    clear = ~shapely.intersects(
        shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), outline.buffer(max(gap - 1.0, 0.0))
    )
    return x[clear], y[clear], up[clear]


def group_words(numbers: Sequence[int]) -> str:
    """Name a group of runs.

    Examples
    --------
    >>> group_words([1, 2, 3]), group_words([4]), group_words([4, 7])
    ('1 to 3', '4', '4, 7')
    """
    ordered = sorted(numbers)
    parts: list[str] = []
    start = previous = None
    for number in [*ordered, None]:
        if previous is not None and (number is None or number != previous + 1):
            parts.append(str(start) if start == previous else f"{start} to {previous}")
            start = number
        start = number if start is None else start
        previous = number
    return ", ".join(parts)
