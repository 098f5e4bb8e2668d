"""Frames of the grove as GeoJSON objects, and drawn shapes of the world as frames of the grove (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from api.steps.outcome import plain
from gridmap.crs import LONLAT, to_lonlat
from gridmap.errors import OutlineRefused

#: A hundred-millionth of a degree is a millimetre: an outline that is sent back unchanged stays where it was.
OUTLINE_DECIMALS: Final = 8
#: Figures of a map, far finer than their limits.
FIGURE_DECIMALS: Final = 4


def feature_collection(frame: gpd.GeoDataFrame, *, id_column: str | None = None, **more: Any) -> dict[str, Any]:
    """Write a frame in the grove's CRS as a FeatureCollection in longitude and latitude; ``more`` are foreign members.

    Examples
    --------
    >>> frame = gpd.GeoDataFrame({"row": [1]}, geometry=[shapely.Point(500_000, 5_900_000)], crs=7855)
    >>> feature_collection(frame)["features"][0]["geometry"]["coordinates"][0]
    147.0
    >>> feature_collection(frame.head(0))["features"]
    []
    """
    there = to_lonlat(frame)
    names = [name for name in frame.columns if name not in (frame.geometry.name, id_column)]
    records = pd.DataFrame(frame[names]).to_dict("records") if names else [{}] * len(frame)
    ids = [None] * len(frame) if id_column is None else list(frame[id_column])
    features = [
        {
            "type": "Feature",
            **({} if name is None else {"id": name}),
            "properties": plain(record),
            "geometry": geometry_json(shape),
        }
        for name, record, shape in zip(ids, records, there.geometry, strict=True)
    ]
    return {"type": "FeatureCollection", "features": features, **more}


def geometry_json(shape: BaseGeometry | None) -> dict[str, Any] | None:
    """Write a shape in longitude and latitude; outer rings run counter-clockwise (RFC 7946, section 3.1.6).

    Examples
    --------
    >>> geometry_json(shapely.Point(147.123456789, -37))
    {'type': 'Point', 'coordinates': [147.12345679, -37.0]}
    """
    if shape is None or shape.is_empty:
        return None
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        shape = shapely.orient_polygons(shape)
    rounded = shapely.transform(shape, lambda xy: np.round(xy, OUTLINE_DECIMALS))
    return json.loads(json.dumps(mapping(rounded)))


def drawn(features: Sequence[Mapping[str, Any]], kind: str = "Polygon") -> gpd.GeoDataFrame:
    """Read features (``id``, ``geometry``, ``properties``) as a frame in WGS 84, the id in the column ``id``.

    Raises
    ------
    OutlineRefused
        No geometry, another kind of it, a ring of fewer than four positions.
    """
    shapes = [_shape(feature.get("geometry"), kind, number) for number, feature in enumerate(features, start=1)]
    records = [{**(feature.get("properties") or {}), "id": feature.get("id")} for feature in features]
    return gpd.GeoDataFrame(pd.DataFrame(records), geometry=shapes, crs=LONLAT)


def _shape(geometry: Mapping[str, Any] | None, kind: str, number: int) -> BaseGeometry:
    """Return the shape of a GeoJSON geometry of one kind."""
    if not isinstance(geometry, Mapping) or geometry.get("type") != kind:
        given = geometry.get("type") if isinstance(geometry, Mapping) else "nothing"
        raise OutlineRefused(f"shape {number} is {given}", f"it must be a {kind}", "draw it again")
    try:
        shape = shapely.force_2d(shapely.geometry.shape(geometry))
    except (shapely.errors.ShapelyError, ValueError, TypeError, IndexError, AttributeError) as error:
        raise OutlineRefused(f"shape {number} can't be read", str(error)[:200], "draw it again") from None
    if shape.is_empty:
        raise OutlineRefused(f"shape {number} is empty", f"it must be a {kind}", "draw it")
    return shape


def columns(frame: pd.DataFrame, names: Sequence[str]) -> dict[str, list[Any]]:
    """Write a table by columns, missing numbers as null.

    Examples
    --------
    >>> columns(pd.DataFrame({"row": [1, 2], "upslope_m": [3.14159265, None]}), ["row", "upslope_m"])
    {'row': [1, 2], 'upslope_m': [3.1416, None]}
    """
    made: dict[str, list[Any]] = {}
    for name in names:
        values = frame[name]
        if pd.api.types.is_float_dtype(values):
            rounded = values.to_numpy(dtype=np.float64).round(FIGURE_DECIMALS)
            made[name] = [None if value != value else value for value in rounded.tolist()]
        else:
            made[name] = plain(values.tolist())
    return made


def lonlat_offer(refused: OutlineRefused, crs: Any) -> OutlineRefused:
    """Return a refusal whose mended shape is in longitude and latitude, as it was drawn."""
    shape = refused.mended
    if isinstance(shape, BaseGeometry):
        there = to_lonlat(gpd.GeoDataFrame(geometry=[shape], crs=crs)).geometry.iloc[0]
        return OutlineRefused(refused.what, refused.rule, refused.remedy, mended=geometry_json(there))
    return refused
