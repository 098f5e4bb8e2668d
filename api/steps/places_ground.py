"""Height and metres upslope of places, kept true whenever places, heights or arrows change; numbers never do."""

from __future__ import annotations

from collections.abc import Collection

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from api.store import Grove
from gridmap.checks import FloatArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.ground import Dem, Upslope, block_upslope, metres_upslope, unpack_dem

#: About so many positions inside an outline tell which way it rises.
SAMPLES = 400
UPSLOPE_WORDS = {
    "heights": "from heights, counted from the lowest place of the grove",
    "grove arrow": "along the grove's uphill arrow",
    "block arrow": "along the uphill arrow of each block, counted from its own lowest place",
}


def kept_dem(grove: Grove) -> Dem | None:
    """Return the copy of the DEM that the grove file holds, None where none was read."""
    terrain = grove.terrain().get("dem")
    return None if terrain is None or terrain.geotiff is None else unpack_dem(terrain.geotiff)


def lay_on_ground(grove: Grove, new: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Give new places their height and metres upslope; call it inside the act that stores them, just before.

    Parameters
    ----------
    grove : Grove
        Places that are there get new figures where those change, as when the new ones lie lower than all.
    new : GeoDataFrame
        block, geometry (Point), perhaps elevation_m [m].

    Returns
    -------
    GeoDataFrame
        ``new`` with elevation_m and upslope_m.
    list of str
        What the metres upslope rest on.
    """
    carried = new["elevation_m"].to_numpy(dtype=float) if "elevation_m" in new else np.full(len(new), np.nan)
    figures, words = _lay(grove, new.assign(elevation_m=carried)[["block", "elevation_m", "geometry"]], None)
    own = figures.round(3).set_axis(new.index)
    return new.assign(elevation_m=own["elevation_m"], upslope_m=own["upslope_m"]), words


def lay_again(grove: Grove, *, heights: pd.Series[float] | None = None, moved: Collection[str] = ()) -> list[str]:
    """Work out height and metres upslope of all places anew; call it inside an act.

    Parameters
    ----------
    grove : Grove
        Its arrows and kept DEM as they are now.
    heights : Series, optional
        Heights [m] by the UUID of a place; they replace what was known, NaN leaves it.
    moved : collection of str, optional
        UUIDs of places that stand elsewhere now; their heights are read off the kept DEM again, if there is one.

    Returns
    -------
    list of str
        What the metres upslope rest on.
    """
    dem = kept_dem(grove) if moved and heights is None else None
    if dem is not None:
        held = grove.places()
        held = held[held["place"].isin(moved)]
        heights = pd.Series(dem.at(coordinates(held)), index=held["place"])
    return _lay(grove, None, heights)[1]


def _lay(
    grove: Grove, new: gpd.GeoDataFrame | None, heights: pd.Series[float] | None
) -> tuple[pd.DataFrame, list[str]]:
    """Store the figures of the places that are there; return those of the new ones."""
    held, blocks, dem = grove.places(), grove.blocks(), kept_dem(grove)
    if heights is not None:
        held["elevation_m"] = held["place"].map(heights).astype(float).fillna(held["elevation_m"])
    both = held[["block", "elevation_m", "geometry"]]
    if new is not None:
        both = pd.concat([both, new], ignore_index=True) if len(held) else new
    xy, elevation = coordinates(both), both["elevation_m"].to_numpy(dtype=float)
    if dem is not None:
        elevation = np.where(np.isfinite(elevation), elevation, dem.at(xy))
    arrows = dict(zip(blocks["block"], blocks["uphill_bearing_deg"], strict=True))
    found = metres_upslope(
        xy,
        elevation,
        both["block"].to_numpy(dtype=object),
        uphill_bearing_deg=grove.grove.uphill_bearing_deg,
        block_bearing_deg=arrows,
    )
    figures = pd.DataFrame({"elevation_m": elevation, "upslope_m": found["upslope_m"].to_numpy()})
    if len(held):
        grove.set_places(figures[: len(held)].assign(place=held["place"].to_numpy()))
    return figures[len(held) :], upslope_words(found["source"])


def upslope_words(source: pd.Series[str]) -> list[str]:
    """Say what the metres upslope rest on, the most frequent first."""
    counted = source.value_counts()
    said = [f"{number:,} places {UPSLOPE_WORDS[str(name)]}" for name, number in counted.items() if name]
    words = [f"Metres upslope: {'; '.join(said)}."] if said else []
    if counted.get("", 0):
        what = f"{counted['']:,} places have no metres upslope: nothing tells which way is uphill."
        words.append(f"{what} Draw the arrow with gridmap uphill, or read a DEM with gridmap import-dem.")
    return words


def rises(outline: BaseGeometry, dem: Dem) -> tuple[Upslope | None, float]:
    """Tell which way the ground inside an outline rises by a DEM, and which share of it has heights."""
    xy = inside(outline)
    heights = dem.at(xy)
    share = float(np.isfinite(heights).mean()) if len(xy) else 0.0
    return upslope_of(xy, heights), share


def upslope_of(xy: FloatArray, heights: FloatArray) -> Upslope | None:
    """Tell which way positions rise by their heights; None where they are too few or on a line."""
    try:
        return block_upslope(xy, heights)
    except InputMissing:
        return None


def uphill_by_dem(grove: Grove, outline: BaseGeometry) -> float | None:
    """Return the uphill bearing that the kept DEM tells for an outline [whole degrees], None where it is not sure."""
    dem = kept_dem(grove)
    found = None if dem is None else rises(outline, dem)[0]
    return float(round(found.bearing_deg)) % 360 if found is not None and found.sure else None


def inside(outline: BaseGeometry) -> FloatArray:
    """Spread about 400 positions evenly inside an outline [m]."""
    if outline.is_empty or outline.area <= 0:
        raise InputRefused("an outline has no area", "there is no ground in it")
    step = float(np.sqrt(outline.area / SAMPLES))
    west, south, east, north = outline.bounds
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step))
    keep = shapely.contains_xy(outline, x.ravel(), y.ravel())
    return np.column_stack([x.ravel()[keep], y.ravel()[keep]])


def coordinates(frame: gpd.GeoDataFrame) -> FloatArray:
    """Return the positions of a frame of points [m]."""
    return np.asarray(shapely.get_coordinates(frame.geometry.to_numpy()), dtype=np.float64).reshape(len(frame), 2)
