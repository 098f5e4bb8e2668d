"""How much ground: map areas of blocks in hectares."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from gridmap import checks
from gridmap.errors import CRSRefused
from gridmap.units import M2_PER_HA


def map_areas_ha(shapes: gpd.GeoSeries) -> pd.Series[float]:
    """Give the map area of every shape in hectares.

    Parameters
    ----------
    shapes : GeoSeries of Polygon
        The grove's projected CRS [m]; holes are taken off.

    Returns
    -------
    Series
        Map area [ha], 0 for an empty or missing shape; indexed like ``shapes``.

    Raises
    ------
    CRSRefused
        When the shapes are in degrees.

    Notes
    -----
    Area of the plane polygon in the projected CRS. Within a UTM zone it differs from the area on the ellipsoid by the
    square of the point scale: -0.08 % in the middle of the zone, at most +0.2 % at its edge on the equator. Slope is
    not in it: trees, rows and litres per tree do not change with slope.

    References
    ----------
    Snyder (1987), Map Projections: A Working Manual, U.S. Geological Survey Professional Paper 1395, pages 57-58: the
    scale of UTM on its central meridian is 0.9996.

    Examples
    --------
    >>> import shapely
    >>> map_areas_ha(gpd.GeoSeries([shapely.box(0, 0, 200, 100), None], crs=7855)).tolist()
    [2.0, 0.0]
    """
    if shapes.crs is not None and not shapes.crs.is_projected:
        raise CRSRefused(
            "the shapes are in degrees", "areas need the grove's projected CRS", "bring them in by to_grove"
        )
    return (shapes.area / M2_PER_HA).fillna(0.0)


def block_areas(blocks: gpd.GeoDataFrame) -> pd.DataFrame:
    """Tell the size of every block.

    Parameters
    ----------
    blocks : GeoDataFrame
        Columns block, geometry; the grove's projected CRS [m].

    Returns
    -------
    DataFrame
        block, area_ha (map area), perimeter_m; in the order of ``blocks``, empty without any.

    Examples
    --------
    >>> import shapely
    >>> blocks = gpd.GeoDataFrame({"block": ["Creek"]}, geometry=[shapely.box(0, 0, 200, 100)], crs=7855)
    >>> block_areas(blocks).to_dict("records")
    [{'block': 'Creek', 'area_ha': 2.0, 'perimeter_m': 600.0}]
    """
    checks.columns(blocks, ["block", "geometry"], "blocks")
    area_ha = map_areas_ha(blocks.geometry)
    perimeter_m = blocks.geometry.length.fillna(0.0)
    return pd.DataFrame({"block": blocks["block"], "area_ha": area_ha, "perimeter_m": perimeter_m})
