"""The ground under the map: very light hill shade, and contours with the height written on the index ones."""

from __future__ import annotations

import base64
import struct
import zlib
from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from gridmap.checks import FloatArray
from gridmap.ground import Dem, contour_lines, hillshade, nice_interval_m
from maps import svg
from maps.labels import Placer, text_width_px
from maps.scene import Scene
from maps.style import CONTOUR_PX, INDEX_CONTOUR_PX, Palette
from maps.view import View, extent

# A pixel of shade for so many of the drawing; it is stretched smoothly.
_SHADE_STEP_PX: Final = 4.0
# Level ground under a light at 45 degrees; what is brighter gets white, what is darker black, both thin. One picture
# then serves light and dark pages.
_LEVEL: Final = float(np.sin(np.radians(45)))
_DARKEST, _BRIGHTEST = 0.16, 0.3
# Under this rise in view there is nothing to draw: half a metre, own limit.
_LEVEL_M: Final = 0.5


def draw_relief(scene: Scene, view: View, palette: Palette) -> str:
    """Draw hill shade and contours of what the view shows; nothing where the scene has no heights."""
    dem = _seen(scene, _bounds(view))
    if dem is None:
        return ""
    columns, rows = (max(int(side / _SHADE_STEP_PX), 2) for side in (view.width_px, view.height_px))
    x, y = np.meshgrid(
        view.west_m + (np.arange(columns) + 0.5) * view.width_px / columns / view.px_per_m,
        view.north_m - (np.arange(rows) + 0.5) * view.height_px / rows / view.px_per_m,
    )
    image = svg.element(
        "image", x=0, y=0, width=view.width_px, height=view.height_px, preserveAspectRatio="none",
        href=shade_address(dem, x, y),
    )  # fmt: skip
    lines = contours(scene, _bounds(view), keep_m=0.3 / view.px_per_m)
    return image + "".join(
        svg.element("path", d=svg.path_data(lines[lines["is_index"] == index].geometry, view.project), fill="none",
                    stroke=palette.contour, stroke_width=width)
        for index, width in ((False, CONTOUR_PX), (True, INDEX_CONTOUR_PX))
    )  # fmt: skip


def label_contours(scene: Scene, view: View, palette: Palette, placer: Placer, *, size: float) -> str:
    """Write the height on each index contour once, where there is most room; left out where there is none."""
    if _seen(scene, _bounds(view)) is None:
        return ""
    lines = contours(scene, _bounds(view), keep_m=0.3 / view.px_per_m)
    frame = shapely.box(4, 4, view.width_px - 4, view.height_px - 4)
    parts = []
    for height, own in lines[lines["is_index"]].groupby("elevation_m"):
        words = height_words(float(height))
        half = np.array([text_width_px(words, size), size * 1.1]) / 2
        steps = [shapely.segmentize(view.shape(line), 24.0) for line in own.geometry]
        at = np.vstack([shapely.get_coordinates(line) for line in steps])
        boxes = shapely.box(*(at - half).T, *(at + half).T)
        blocked = shapely.union_all([*placer.hard, *placer.soft])
        free = shapely.within(boxes, frame) & ~shapely.intersects(boxes, blocked)
        if not free.any():
            continue
        room = np.minimum(shapely.distance(boxes[free], blocked), 40.0)
        x, y = at[free][int(np.argmax(room))]
        placer.hard.append(shapely.box(x - half[0], y - half[1], x + half[0], y + half[1]))
        parts.append(
            svg.text(x, y + 0.35 * size, words, size=size, anchor="middle", fill=palette.quiet, casing=palette.ground)
        )
    return "".join(parts)


def contours(scene: Scene, bounds: tuple[float, float, float, float], *, keep_m: float) -> gpd.GeoDataFrame:
    """Return the contours inside a rectangle [m], as coarse as ``keep_m`` allows.

    Parameters
    ----------
    scene : Scene
        With heights or without.
    bounds : (float, float, float, float)
        West, south, east, north [m].
    keep_m : float
        How far a line may move when it is thinned [m].

    Returns
    -------
    GeoDataFrame
        elevation_m, is_index, geometry (LineString); no line without heights or on level ground.

    Notes
    -----
    The interval fits the rise within the grove itself, so that a mountain beside it doesn't take its contours away.
    """
    dem = _seen(scene, bounds)
    nothing = gpd.GeoDataFrame({"elevation_m": [], "is_index": []}, geometry=[], crs=scene.blocks.crs)
    grove = None if dem is None else dem.within(extent(scene))
    if dem is None or grove is None:
        return nothing
    known = grove.elevation_m[np.isfinite(grove.elevation_m)]
    if known.size == 0 or np.ptp(known) < _LEVEL_M:
        return nothing
    rise = float(np.ptp(dem.elevation_m[np.isfinite(dem.elevation_m)]))
    interval = nice_interval_m(float(np.ptp(known)))
    while rise / interval > 200:
        interval *= 5
    lines = contour_lines(dem, interval_m=interval)
    cut = lines.set_geometry(lines.geometry.intersection(shapely.box(*bounds)).simplify(keep_m))
    cut = cut.explode(index_parts=False)
    return cut[(cut.geometry.geom_type == "LineString") & (cut.geometry.length > 0)].reset_index(drop=True)


def shade_address(dem: Dem, x: FloatArray, y: FloatArray) -> str:
    """Write the hill shade at a grid of map positions [m] as the address of a picture that holds itself."""
    shade = hillshade(dem.elevation_m, dem.cell_m)
    light = dem.at(np.column_stack([x.ravel(), y.ravel()]), np.asarray(shade, dtype=np.float64)).reshape(x.shape)
    off = np.nan_to_num(light - _LEVEL)
    strength = np.where(off < 0, -off / _LEVEL * _DARKEST, off / (1 - _LEVEL) * _BRIGHTEST)
    grey = np.where(off < 0, 0, 255)
    picture = np.stack([grey, np.round(255 * np.clip(strength, 0, 1))], axis=-1).astype(np.uint8)
    return "data:image/png;base64," + base64.b64encode(png(picture)).decode()


def png(picture: npt.NDArray[np.uint8]) -> bytes:
    """Write grey values with their opacity as a PNG; the same picture gives the same bytes.

    Parameters
    ----------
    picture : (rows, columns, 2) array
        Grey and opacity, 0 to 255.

    References
    ----------
    W3C (2003), Portable Network Graphics (PNG) Specification, second edition: signature (5.2), chunks (5.3), IHDR
    (11.2.2, colour type 4), filter type 0 (9.2).
    """
    rows, columns, _ = picture.shape
    header = struct.pack(">2I5B", columns, rows, 8, 4, 0, 0, 0)
    lines = np.concatenate([np.zeros((rows, 1), dtype=np.uint8), picture.reshape(rows, -1)], axis=1)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(lines.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def height_words(height_m: float) -> str:
    """Write the height of a contour.

    Examples
    --------
    >>> height_words(40.0), height_words(2.5)
    ('40 m', '2.5 m')
    """
    return f"{height_m:g} m"


def _bounds(view: View) -> tuple[float, float, float, float]:
    west, north = view.west_m, view.north_m
    return west, north - view.height_px / view.px_per_m, west + view.width_px / view.px_per_m, north


def _seen(scene: Scene, bounds: tuple[float, float, float, float]) -> Dem | None:
    """Return the heights of a rectangle, where there are enough of them to draw."""
    dem = None if scene.dem is None else scene.dem.within(bounds)
    if dem is None or min(dem.elevation_m.shape) < 4 or not np.isfinite(dem.elevation_m).any():
        return None
    return dem
