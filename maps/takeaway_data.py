"""The take-away map's geometry, small: whole ten-millionths of a degree from one origin."""

from __future__ import annotations

import json
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from gridmap.checks import FloatArray
from gridmap.ground import cells
from maps.plan import row_spacings_m
from maps.scene import Scene
from maps.style import DOUBTFUL_SHARE, KNOWLEDGE, pressure_colour, ramp_top
from maps.view import extent

# A ten-millionth of a degree of latitude is 1.1 cm.
_PER_DEGREE: Final = 1e7
# Where a rank stands outside its block's outline [m].
_BESIDE_M: Final = 4.0


class _Lonlat:
    """Brings shapes in the grove's CRS to WGS 84, counted from the south-west corner."""

    def __init__(self, scene: Scene) -> None:
        self.crs = scene.blocks.crs
        self.bounds = gpd.GeoSeries([shapely.box(*extent(scene))], crs=self.crs).to_crs(4326).total_bounds
        self.origin = np.round(self.bounds[:2], 7)

    def shapes(self, geometries: list[BaseGeometry]) -> list[BaseGeometry]:
        if not geometries:
            return []
        return list(gpd.GeoSeries(geometries, crs=self.crs).to_crs(4326))

    def rings(self, geometries: list[BaseGeometry]) -> list[list[Any]]:
        """Each geometry's rings; the parts of a MultiPolygon lie side by side, so its rings can stand in one list."""
        made = []
        for geometry in self.shapes(geometries):
            parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
            rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
            made.append([self.whole(shapely.get_coordinates(ring)[:-1]).tolist() for ring in rings])
        return made

    def points(self, geometries: list[BaseGeometry]) -> list[list[int]]:
        return [self.whole(shapely.get_coordinates(shape))[0].tolist() for shape in self.shapes(geometries)]

    def whole(self, lonlat: FloatArray) -> Any:
        return np.round((lonlat - self.origin) * _PER_DEGREE).astype(int)


def scene_json(scene: Scene) -> tuple[str, list[float]]:
    """Write what the page draws, and the middle of it as latitude and longitude.

    Returns
    -------
    str, list of float
        JSON that may stand inside a script element: ``<`` is written as an escape.
    """
    lonlat = _Lonlat(scene)
    west, south, east, north = lonlat.bounds
    colours, trees = _trees(scene, lonlat)
    reach = zip(scene.keep_outs.geometry, scene.keep_outs["setback_m"].fillna(0.0), strict=True)
    setbacks = [shape.buffer(far) for shape, far in reach if far > 0]
    data = {
        "origin": [float(lonlat.origin[1]), float(lonlat.origin[0])], "bounds": [south, west, north, east],
        "doubtfulShare": DOUBTFUL_SHARE, "colours": colours, "trees": trees, "attribution": scene.attribution,
        "blocks": _blocks(scene, lonlat),
        "keepOuts": _keep_outs(scene, lonlat),
        "setbacks": lonlat.rings(setbacks), "beaten": lonlat.points(list(scene.beaten_trees().geometry)),
        "runs": lonlat.rings(_frames(scene)), "hotSpots": _hot_spots(scene, lonlat),
    }  # fmt: skip
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c"), [(south + north) / 2, (west + east) / 2]


def _trees(scene: Scene, lonlat: _Lonlat) -> tuple[list[str], list[Any]]:
    """Colours that occur, and for each tree its corners, the number of its colour and how well it is known."""
    table = scene.tree_pressure()
    if table.empty:
        return [], []
    top = ramp_top(scene.threshold, table["mean_per_beat"].dropna().tolist())
    shapes = np.array(lonlat.shapes(list(cells(table, scene.blocks).geometry)))
    corners = lonlat.whole(shapely.get_coordinates(shapes)).reshape(len(table), 5, 2)[:, :4].reshape(len(table), 8)
    words = ["" if known == "unknown" else pressure_colour(count, top)
             for count, known in zip(table["mean_per_beat"], table["knowledge"], strict=True)]  # fmt: skip
    colours = sorted(set(words))
    number = {colour: index for index, colour in enumerate(colours)}
    known = [KNOWLEDGE.index(word) for word in table["knowledge"]]
    return colours, [
        [place, number[word], how] for place, word, how in zip(corners.tolist(), words, known, strict=True)
    ]


def _named(lonlat: _Lonlat, names: Any, shapes: list[BaseGeometry], places: list[BaseGeometry]) -> list[dict[str, Any]]:
    rings, points = lonlat.rings(shapes), lonlat.points(places)
    return [{"name": str(name), "shape": ring, "at": at} for name, ring, at in zip(names, rings, points, strict=True)]


def _blocks(scene: Scene, lonlat: _Lonlat) -> list[dict[str, Any]]:
    """Outline and name of each block; the name stands over the northernmost corner, or under the southernmost one."""
    shapes = list(scene.blocks.geometry)
    corners = [shapely.get_coordinates(shape) for shape in shapes]
    named = _named(lonlat, scene.blocks["block"], shapes, [Point(xy[np.argmax(xy[:, 1])]) for xy in corners])
    under = lonlat.points([Point(xy[np.argmin(xy[:, 1])]) for xy in corners])
    return [{**one, "under": at} for one, at in zip(named, under, strict=True)]


def _keep_outs(scene: Scene, lonlat: _Lonlat) -> list[dict[str, Any]]:
    """Outline, kind and name of each keep-out."""
    kinds, shapes = list(scene.keep_outs["kind"]), list(scene.keep_outs.geometry)
    places = [_name_place(shape, kind) for shape, kind in zip(shapes, kinds, strict=True)]
    named = _named(lonlat, scene.keep_outs["name"].fillna(scene.keep_outs["kind"]), shapes, places)
    return [{**one, "kind": str(kind)} for one, kind in zip(named, kinds, strict=True)]


def _name_place(shape: BaseGeometry, kind: str) -> Point:
    """Where a keep-out's name stands: in water and bush, below what is small or black."""
    if kind in ("water", "bush"):
        return shape.representative_point()
    west, south, east, _ = shape.bounds
    return Point((west + east) / 2, south)


def _frames(scene: Scene) -> list[BaseGeometry]:
    if scene.runs.empty:
        return []
    spacing = scene.runs["block"].map(row_spacings_m(scene)).to_numpy(float)
    return list(shapely.buffer(scene.runs.geometry.to_numpy(), spacing * 0.45, cap_style="flat", join_style="mitre"))


def _hot_spots(scene: Scene, lonlat: _Lonlat) -> list[dict[str, Any]]:
    """Rank of each hot spot, and a place outside its block's outline, as near to it as can be."""
    outlines = dict(zip(scene.blocks["block"], scene.blocks.geometry, strict=True))
    places: list[BaseGeometry] = []
    for block, shape in zip(scene.hot_spots["block"], scene.hot_spots.geometry, strict=True):
        ring = outlines[block].buffer(_BESIDE_M).exterior
        places.append(ring.interpolate(ring.project(shape.centroid)))
    return [
        {"rank": int(rank), "at": at}
        for rank, at in zip(scene.hot_spots["hot_spot"], lonlat.points(places), strict=True)
    ]
