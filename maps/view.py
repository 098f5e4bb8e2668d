"""Where a place in the grove [m] falls on the drawing [px]."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from gridmap.errors import InputRefused
from maps.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Margins:
    """Room kept free of the grove [px]: for arrows above, the scale bar below, names at the sides."""

    top: float
    left: float
    bottom: float
    right: float


@dataclass(frozen=True, kw_only=True)
class View:
    """A drawing, ``width_px`` by ``height_px`` whose (0, 0) shows (``west_m``, ``north_m``) of the grove's CRS."""

    width_px: float
    height_px: float
    px_per_m: float
    west_m: float
    north_m: float

    def project(self, easting_m: float, northing_m: float) -> tuple[float, float]:
        """Bring a position [m] to the drawing [px], y downward."""
        return (easting_m - self.west_m) * self.px_per_m, (self.north_m - northing_m) * self.px_per_m

    def shape(self, geometry: BaseGeometry) -> BaseGeometry:
        """Bring a geometry [m] to the drawing [px]."""
        scale = self.px_per_m
        return shapely.transform(geometry, lambda xy: (xy - (self.west_m, self.north_m)) * (scale, -scale))


def extent(scene: Scene) -> tuple[float, float, float, float]:
    """West, south, east, north [m] of what a plan of the grove has to show: blocks, trees, runs, keep-outs near them.

    Raises
    ------
    InputRefused
        When the grove has neither blocks nor trees.
    """
    own = [*scene.blocks.geometry, *scene.trees.geometry, *scene.runs.geometry]
    own = [geometry for geometry in own if geometry is not None and not geometry.is_empty]
    if not own:
        raise InputRefused(
            f"{scene.grove} has no block and no tree", "there is nothing to draw", "draw or import a block first"
        )
    west, south, east, north = shapely.total_bounds(own)
    # A keep-out is shown as far as its setback reaches, but a long creek must not shrink the grove to a dot.
    reach = 0.3 * max(east - west, north - south, 20.0)
    window = shapely.box(west - reach, south - reach, east + reach, north + reach)
    outer: list[BaseGeometry] = [point for point in scene.points.geometry if window.contains(point)]
    outer += [
        geometry.buffer(setback).intersection(window)
        for geometry, setback in zip(scene.keep_outs.geometry, scene.keep_outs["setback_m"].fillna(0.0), strict=True)
    ]
    west, south, east, north = shapely.total_bounds([shapely.box(west, south, east, north), *outer])
    return float(west), float(south), float(east), float(north)


def fit(scene: Scene, *, width_px: float, height_px: float, margins: Margins) -> View:
    """Show the whole grove as large as the drawing allows."""
    west, south, east, north = extent(scene)
    wide, high = max(east - west, 1.0), max(north - south, 1.0)
    room_x, room_y = width_px - margins.left - margins.right, height_px - margins.top - margins.bottom
    scale = min(room_x / wide, room_y / high)
    left = margins.left + (room_x - wide * scale) / 2
    top = margins.top + (room_y - high * scale) / 2
    return View(
        width_px=width_px, height_px=height_px, px_per_m=scale, west_m=west - left / scale, north_m=north + top / scale
    )
