"""Groves made by chance, with the row and the order of every tree known: the yardstick for finding rows.

Every number a grove is drawn from is a field of `Recipe`; a seed makes it again. Nothing here comes from a real
grove. The bend is the largest angle between a row's heading and the mean bearing: an arc turns by twice as much from
end to end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Recipe:
    """What the simulated groves may look like (lengths in metres)."""

    tree_spacing_m: tuple[float, float] = (4.0, 7.0)
    row_spacing_m: tuple[float, float] = (6.0, 9.0)
    least_ratio: float = 1.15
    trees: tuple[int, int] = (100, 400)
    missing: float = 0.10
    bend_deg: tuple[float, float] = (0.0, 8.0)
    arcs: float = 0.5  # share of the groves whose rows are arcs; the others' are S-shaped
    off_line: float = 0.03
    off_line_m: tuple[float, float] = (0.5, 1.5)
    position_error_m: float = 1.0  # root mean square, both axes together
    layouts: tuple[str, ...] = ("square to the rows", "staggered", "each row its own start")


@dataclass(frozen=True)
class Grove:
    """One simulated grove: surveyed positions, and the truth about each."""

    xy: np.ndarray
    row: np.ndarray
    along_m: np.ndarray
    bearing_deg: float
    row_spacing_m: float
    tree_spacing_m: float
    layout: str
    bend_deg: float


def simulate(seed: int, recipe: Recipe | None = None) -> Grove:
    """Draw one grove: parallel bent rows inside an irregular outline, gaps, replants off the line, position error."""
    recipe = recipe or Recipe()
    rng = np.random.default_rng(seed)
    tree_spacing = rng.uniform(*recipe.tree_spacing_m)
    row_spacing = rng.uniform(max(recipe.row_spacing_m[0], recipe.least_ratio * tree_spacing), recipe.row_spacing_m[1])
    bend = rng.uniform(*recipe.bend_deg)
    layout = str(rng.choice(recipe.layouts))
    number = rng.integers(recipe.trees[0], recipe.trees[1] + 1)
    corners, length, width = _outline(rng, number / (1 - recipe.missing) * tree_spacing * row_spacing)
    line, normal = _bent_line(rng, length, bend, recipe.arcs)
    reach = int(np.ceil(width / row_spacing)) + 1
    common = rng.uniform(0, tree_spacing)
    places, rows, along = [], [], []
    for row in range(-reach, reach + 1):
        starts = {"square to the rows": common, "staggered": common + row % 2 * tree_spacing / 2}
        start = starts.get(layout, rng.uniform(0, tree_spacing))
        stations, xy = _row(line + row * row_spacing * normal, start, tree_spacing)
        places.append(xy)
        rows.append(np.full(len(xy), row))
        along.append(stations)
    xy, row, along_m = np.concatenate(places), np.concatenate(rows), np.concatenate(along)
    keep = _inside(xy, corners) & (rng.random(len(xy)) >= recipe.missing)
    xy = _surveyed(rng, xy[keep], recipe)
    bearing = rng.uniform(0, 180)
    turn = np.radians(90 - bearing)
    xy = xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + [512_000.0, 6_180_000.0]
    order = rng.permutation(len(xy))
    return Grove(xy[order], row[keep][order], along_m[keep][order], bearing, row_spacing, tree_spacing, layout, bend)


def _row(curve: np.ndarray, start: float, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the trees of one row: metres along the curve from its middle, and positions."""
    run = np.concatenate([[0.0], np.hypot(*np.diff(curve, axis=0).T).cumsum()])
    # counted from the curve's middle, so that the places of neighbouring rows stay beside each other round a bend
    middle = run[len(run) // 2]
    stations = np.arange(-np.floor(middle / spacing), np.floor((run[-1] - middle) / spacing)) * spacing + start + middle
    stations = stations[(stations >= 0) & (stations <= run[-1])]
    xy = np.column_stack([np.interp(stations, run, curve[:, 0]), np.interp(stations, run, curve[:, 1])])
    return stations - middle, xy


def _surveyed(rng: np.random.Generator, xy: np.ndarray, recipe: Recipe) -> np.ndarray:
    """Move the odd replant off the line, then add the position error to every tree."""
    moved = rng.random(len(xy)) < recipe.off_line
    way, far = rng.uniform(0, 2 * np.pi, len(xy)), rng.uniform(*recipe.off_line_m, len(xy)) * moved
    xy = xy + np.column_stack([far * np.cos(way), far * np.sin(way)])
    return xy + rng.normal(0, recipe.position_error_m / np.sqrt(2), xy.shape)


def _outline(rng: np.random.Generator, area_m2: float) -> tuple[np.ndarray, float, float]:
    """Return an irregular star-shaped outline of that area, rows along x, and how far it reaches along and across."""
    angle = np.linspace(0, 2 * np.pi, rng.integers(6, 12), endpoint=False) + rng.uniform(-0.2, 0.2)
    radius = rng.uniform(0.65, 1.15, len(angle))
    aspect = np.exp(rng.uniform(-0.5, 0.5))
    corners = np.column_stack([radius * np.cos(angle) * aspect, radius * np.sin(angle) / aspect])
    x, y = corners.T
    corners *= np.sqrt(area_m2 / (0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))))
    return corners, float(np.abs(corners[:, 0]).max()), float(np.abs(corners[:, 1]).max())


def _bent_line(rng: np.random.Generator, length: float, bend_deg: float, arcs: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the middle row (arc or S), its heading up to ``bend_deg`` off the mean bearing, and its normals."""
    t = np.linspace(-1.3, 1.3, 801) * length
    part = np.clip(t / length, -1, 1)
    heading = np.radians(bend_deg) * rng.choice([-1, 1]) * (part if rng.random() < arcs else np.sin(np.pi * part))
    step = np.diff(t, prepend=t[0])
    line = np.column_stack([np.cumsum(np.cos(heading) * step), np.cumsum(np.sin(heading) * step)])
    line -= line[len(t) // 2]
    return line, np.column_stack([-np.sin(heading), np.cos(heading)])


def _inside(xy: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Return which points lie inside a polygon (even-odd rule)."""
    inside = np.zeros(len(xy), bool)
    for (x1, y1), (x2, y2) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        between = (y1 > xy[:, 1]) != (y2 > xy[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            crossing = x1 + (xy[:, 1] - y1) * (x2 - x1) / (y2 - y1)
        inside ^= between & (xy[:, 0] < crossing)
    return inside


def score(grove: Grove, found: pd.DataFrame) -> tuple[int, int, int]:
    """Return how many trees are in the right row, how many neighbouring pairs in the right order, and all such pairs.

    Rows may be numbered from any start and either way, but by one shift for the whole grove: two rows merged, one row
    split or one row skipped all count against it. A pair counts only when both trees are in one row, the right way
    round.
    """
    row, position = found["row"].to_numpy(), found["position"].to_numpy()
    best = 0
    for way in (1, -1):
        shift, votes = np.unique(grove.row - way * row, return_counts=True)
        if len(shift) and votes.max() > best:
            best = int(votes.max())
    order = np.lexsort([grove.along_m, grove.row])
    first, second = order[:-1], order[1:]
    pairs = grove.row[first] == grove.row[second]
    first, second = first[pairs], second[pairs]
    step = np.where(row[first] == row[second], position[second] - position[first], 0)
    right = max(int((step > 0).sum()), int((step < 0).sum()))
    return best, right, len(first)


def scattered(seed: int, number: int, apart_m: float = 0.0, spacing_m: float = 6.0) -> np.ndarray:
    """Return trees without rows: uniform over a square, or none nearer than ``apart_m`` to another (dart throwing)."""
    rng = np.random.default_rng(seed)
    side = np.sqrt(number) * spacing_m
    if apart_m == 0:
        return rng.uniform(0, side, (number, 2))
    kept = np.empty((0, 2))
    for _ in range(400):
        for dart in rng.uniform(0, side, (200, 2)):
            if len(kept) == 0 or np.min(((kept - dart) ** 2).sum(1)) >= apart_m**2:
                kept = np.vstack([kept, dart])
            if len(kept) == number:
                return kept
    return kept
