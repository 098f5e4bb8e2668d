"""Height, slope and aspect at every tree, and the ground's own area beside the map area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from gridmap import checks
from gridmap.errors import InputRefused
from gridmap.ground.dem import Dem
from gridmap.ground.horn import aspect_deg, horn_gradients, slope_deg
from gridmap.ground.surface import HeightSurface
from gridmap.units import ha


def terrain_from_dem(xy: npt.ArrayLike, dem: Dem) -> pd.DataFrame:
    """Give every tree its height, slope and aspect from a DEM.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the trees [m], in the grove's CRS.
    dem : Dem
        Heights in the same CRS.

    Returns
    -------
    DataFrame
        elevation_m, slope_deg, aspect_deg (bearing of the fall from grid north; NaN where level), one line per tree;
        NaN where the DEM has no height.

    Notes
    -----
    Bilinear between cell centres. Slope and aspect come from the gradients of Horn (1981), each bilinear on its own:
    angles can't be averaged across north.

    Examples
    --------
    >>> dem = Dem([[9.0, 9, 9, 9], [8, 8, 8, 8], [7, 7, 7, 7], [6, 6, 6, 6]], 0, 40, (10, 10), 7855)
    >>> terrain_from_dem([[20, 20], [90, 20]], dem).round(3).values.tolist()
    [[7.5, 5.711, 180.0], [nan, nan, nan]]
    >>> len(terrain_from_dem([], dem))
    0
    """
    places = checks.points(xy, "tree positions")
    east, north = (dem.at(places, part) for part in horn_gradients(dem.elevation_m, dem.cell_m))
    columns = {"elevation_m": dem.at(places), "slope_deg": slope_deg(east, north)}
    return pd.DataFrame({**columns, "aspect_deg": aspect_deg(east, north)})


def terrain_from_heights(xy: npt.ArrayLike, elevation_m: npt.ArrayLike) -> pd.DataFrame:
    """Give every tree the height, slope and aspect of the smooth ground through heights that the grower measured.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the trees [m], in the grove's CRS.
    elevation_m : (n,) array
        Measured heights [m]; NaN where a tree has none.

    Returns
    -------
    DataFrame
        elevation_m (of the ground, also where none was measured), slope_deg, aspect_deg, and wrong (the measured height
        was left out, being too far off), one line per tree.

    Raises
    ------
    InputMissing
        Fewer than three heights, or all on one line.

    Notes
    -----
    See `HeightSurface` for the equation and its sources. Far from any measured height the ground is a guess.

    Examples
    --------
    >>> trees = [[0, 0], [10, 0], [0, 10], [10, 10], [5, 5]]
    >>> terrain_from_heights(trees, [0, 1, 0, None, 0.5]).drop(columns="wrong").round(3).to_numpy()[3].tolist()
    [1.0, 5.711, 270.0]
    """
    places = checks.points(xy, "tree positions")
    ground = HeightSurface().fit(places, elevation_m)
    # A gradient of 1e-9, a millimetre in 1,000 km, is what floating point leaves of level ground.
    gradient = ground.gradient(places)
    east, north = np.where(np.abs(gradient) < 1e-9, 0.0, gradient).T
    columns = {"elevation_m": ground.predict(places), "slope_deg": slope_deg(east, north)}
    return pd.DataFrame({**columns, "aspect_deg": aspect_deg(east, north), "wrong": ground.wrong_})


@dataclass(frozen=True)
class GroundArea:
    """Area of an outline on the map and along the ground.

    Parameters
    ----------
    map_ha, ground_ha : float
        Map area and ground-surface area [ha].
    covered : float
        Share of the outline where the DEM tells the slope; the rest counts with the mean of that share.
    """

    map_ha: float
    ground_ha: float
    covered: float


def ground_area(outline: shapely.Geometry, dem: Dem) -> GroundArea:
    """Tell how large a block is along the ground, beside its area on the map.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        In the grove's CRS [m].
    dem : Dem
        Heights in the same CRS.

    Returns
    -------
    GroundArea
        Both areas [ha], and the share of the outline that the DEM covers.

    Raises
    ------
    InputRefused
        When the outline is empty or crosses itself, or the DEM tells no slope anywhere in it.

    Notes
    -----
    Sum over cells of the part of the cell inside the outline over cos(slope), slope by Horn (1981). Trees, rows and
    litres per tree do not change with slope. Coarse cells are gentler than the ground, and their area is smaller.

    Examples
    --------
    >>> slope = Dem([[30.0] * 5, [20.0] * 5, [10.0] * 5, [0.0] * 5, [-10.0] * 5], 0, 50, (10, 10), 7855)
    >>> area = ground_area(shapely.box(12, 12, 38, 38), slope)
    >>> round(area.ground_ha / area.map_ha, 5), area.covered
    (1.41421, 1.0)
    """
    if not isinstance(outline, (shapely.Polygon, shapely.MultiPolygon)) or outline.is_empty or not outline.is_valid:
        raise InputRefused("the outline is no sound polygon", "its area can't be told")
    east, north = horn_gradients(dem.elevation_m, dem.cell_m)
    # 1 / cos(slope) = sqrt(1 + east^2 + north^2)
    stretch = np.sqrt(1 + np.square(east) + np.square(north))
    (x, y), (width, height) = dem.centres, dem.cell_m
    west, south, right, top = outline.bounds
    columns = np.flatnonzero((x + width / 2 > west) & (x - width / 2 < right))
    rows = np.flatnonzero((y + height / 2 > south) & (y - height / 2 < top))
    part = stretch[np.ix_(rows, columns)]
    known = np.isfinite(part)
    cx, cy = (grid[known] for grid in np.meshgrid(x[columns], y[rows]))
    cells = shapely.box(cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2)
    shapely.prepare(outline)
    inside = shapely.contains_properly(outline, cells)
    map_m2 = np.where(inside, width * height, 0.0)
    map_m2[~inside] = shapely.area(shapely.intersection(cells[~inside], outline))
    total = float(map_m2.sum())
    if total <= 0:
        raise InputRefused("the DEM tells no slope inside the outline", "it must cover it", "load a DEM of the grove")
    factor = float((map_m2 * part[known]).sum()) / total
    covered = min(round(total / outline.area, 9), 1.0)
    return GroundArea(ha(outline.area), ha(outline.area * factor), covered)
