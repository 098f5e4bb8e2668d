"""The take-away map's geometry, small: whole ten-millionths of a degree from one origin."""

from __future__ import annotations

import json
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from gridmap.checks import FloatArray
from gridmap.ground import cells
from maps.plan import row_spacings_m
from maps.relief import contours, height_words, shade_address
from maps.scene import Scene
from maps.style import DOUBTFUL_SHARE, KNOWLEDGE, pressure_colour, ramp_top
from maps.view import extent

# A ten-millionth of a degree of latitude is 1.1 cm.
_PER_DEGREE: Final = 1e7
# Around the grove ground is drawn as far as this share of its longer side, in so many steps of shade.
_AROUND, _SHADE_STEPS = 0.3, 240
# A contour may move so far when it is thinned [m].
_KEEP_M: Final = 0.3
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
        "relief": _relief(scene, lonlat), "points": _points(scene, lonlat),
    }  # fmt: skip
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c"), [(south + north) / 2, (west + east) / 2]


def _trees(scene: Scene, lonlat: _Lonlat) -> tuple[list[str], list[Any]]:
    """Colours that occur, and for each tree its corners, the number of its colour and how well it is known."""
    table = scene.tree_pressure()
    if table.empty:
        return [], []
    top = ramp_top(scene.threshold, table["median_per_beat"].dropna().tolist())
    shapes = np.array(lonlat.shapes(list(cells(table, scene.blocks).geometry)))
    corners = lonlat.whole(shapely.get_coordinates(shapes)).reshape(len(table), 5, 2)[:, :4].reshape(len(table), 8)
    words = ["" if known == "unknown" else pressure_colour(count, top)
             for count, known in zip(table["median_per_beat"], table["knowledge"], strict=True)]  # fmt: skip
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


def _points(scene: Scene, lonlat: _Lonlat) -> list[dict[str, Any]]:
    """Name, kind and place of gates, refill points and other points."""
    places = lonlat.points(list(scene.points.geometry))
    return [
        {"name": str(name), "kind": str(kind), "at": at}
        for name, kind, at in zip(scene.points["name"], scene.points["kind"], places, strict=True)
    ]


def _relief(scene: Scene, lonlat: _Lonlat) -> dict[str, Any] | None:
    """Hill shade as a picture with its corners [degrees], contours, and where their heights are written."""
    west, south, east, north = extent(scene)
    reach = _AROUND * max(east - west, north - south)
    bounds = (west - reach, south - reach, east + reach, north + reach)
    dem = None if scene.dem is None else scene.dem.within(bounds)
    if dem is None or min(dem.elevation_m.shape) < 4 or not np.isfinite(dem.elevation_m).any():
        return None
    degrees = gpd.GeoSeries([shapely.box(*bounds)], crs=scene.blocks.crs).to_crs(4326).total_bounds
    steps = (np.arange(_SHADE_STEPS) + 0.5) / _SHADE_STEPS
    wide, high = degrees[2] - degrees[0], degrees[3] - degrees[1]
    lon, lat = np.meshgrid(degrees[0] + steps * wide, degrees[3] - steps * high)
    back = pyproj.Transformer.from_crs(4326, scene.blocks.crs, always_xy=True)
    lines = contours(scene, bounds, keep_m=_KEEP_M)
    drawn = [lonlat.whole(shapely.get_coordinates(line)).tolist() for line in lonlat.shapes(list(lines.geometry))]
    index = lines["is_index"].tolist()
    return {
        "image": shade_address(dem, *back.transform(lon, lat)),
        "bounds": [[degrees[1], degrees[0]], [degrees[3], degrees[2]]],
        "contours": [[bool(heavy), line] for heavy, line in zip(index, drawn, strict=True)],
        "heights": _heights(scene, lines, lonlat),
    }


def _heights(scene: Scene, lines: gpd.GeoDataFrame, lonlat: _Lonlat) -> list[dict[str, Any]]:
    """Where the height of each index contour stands: on the line, as far from blocks and keep-outs as it goes."""
    taken = shapely.union_all([*scene.blocks.geometry, *scene.keep_outs.geometry])
    frame = shapely.box(*extent(scene))
    words, places = [], []
    for height, own in lines[lines["is_index"]].groupby("elevation_m"):
        at = shapely.get_coordinates(shapely.segmentize(own.geometry.to_numpy(), 10.0))
        at = at[shapely.contains_xy(frame, at)]
        if len(at):
            room = shapely.distance(shapely.points(at), taken)
            words.append(height_words(float(height)))
            places.append(Point(at[int(np.argmax(np.minimum(room, 30.0)))]))
    return [{"words": text, "at": at} for text, at in zip(words, lonlat.points(places), strict=True)]
