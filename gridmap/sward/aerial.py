"""Cover from the air: every row's floor measured through windows of the picture, canopies left out."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import FileRefused, InputRefused
from gridmap.sward.cover import PARTS, part_inside
from gridmap.sward.greenness import BINS, DORMANT, bin_edges, greenness, histogram, needed_bands, otsu
from gridmap.sward.picture import band_numbers, into_crs_of, no_data, opened

# Bytes of a window that are read at once
_AT_ONCE: Final = 24_000_000
# A share needs no more cells than this: their binomial error is under 0.1 % even if no two of them were alike. Of a row
# that has more, every second (third, ...) cell down and across is counted.
_ENOUGH_CELLS: Final = 250_000
# A row of which less than this share lies in the picture is not measured
_LEAST_SEEN: Final = 0.5


@dataclass(frozen=True)
class AerialCover:
    """What a picture says of every row's floor.

    Parameters
    ----------
    rows : DataFrame
        The columns of the floor, cells (counted), seen (share of the floor in the picture) and what `part_inside`
        gives; NaN where too little of the row is in the picture.
    index, threshold : str, float
        What counts as green.
    by_otsu : bool
        Whether the threshold was found in the picture.
    cautions : tuple of str
        What to know before believing it.
    """

    rows: gpd.GeoDataFrame
    index: str
    threshold: float
    by_otsu: bool
    cautions: tuple[str, ...]


def measure_picture(
    path: str | os.PathLike[str], floor: gpd.GeoDataFrame, *, index: str = "excess_green",
    threshold: float | None = None, bands: Mapping[str, int] | None = None, shift_m: tuple[float, float] = (0.0, 0.0),
    misplaced_m: float = 0.0,
) -> AerialCover:
    """Measure how much of every row's floor is green in a picture from the air.

    Parameters
    ----------
    path : path
        GeoTIFF, any bands, CRS and size; it is read by windows, never whole.
    floor : GeoDataFrame
        The floor of each row (`row_floor`), projected CRS [m].
    index : {"excess_green", "excess_green_minus_red", "ndvi"}
        Which greenness.
    threshold : float, optional
        What is greater is green; found by Otsu's rule over all rows when left out.
    bands : mapping of str to int, optional
        Number of the band for red, green, blue, near_infrared, from 1, where the file does not say it.
    shift_m : (float, float)
        How far east and north [m] the picture lies off the grove (`picture_shift`): windows are moved by as much.
    misplaced_m : float
        What is left of the misalignment [m]; it goes into the error of every row.

    Returns
    -------
    AerialCover
        Green share of each row, with its error.

    Raises
    ------
    FileRefused, CRSRefused
        As `opened`; the picture does not reach the grove, or holds nothing there.
    InputRefused
        A band that is not there, an index that is not known.

    Notes
    -----
    A row's error is half the share of its floor that another place would have given if the picture lay ``misplaced_m``
    off (perimeter x distance / (pi x area), the mean over all directions), or half the change of the green share when
    the threshold moves by one class of 256 either way, whichever is greater. Of a row with over a million cells only
    every second (third, ...) down and across is counted: 250,000 cells tell a share to a thousandth.

    Examples
    --------
    >>> measure_picture("meadow.tif", gpd.GeoDataFrame({"row": []}, geometry=[], crs=32729))
    Traceback (most recent call last):
    gridmap.errors.FileRefused: meadow.tif is not there: a picture is one GeoTIFF file.
    """
    needed, name = needed_bands(index), Path(path).name
    with opened(path) as source:
        numbers = band_numbers(source, needed, bands, name)
        counts = np.zeros((len(floor), BINS), dtype=np.int64)
        one_in = np.ones(len(floor))
        for row, values, inside, empty, every in _cells(source, floor, numbers, shift_m, name):
            one_in[row] = every**2
            if empty is not None:
                inside = inside & ~empty
            colours = {colour: band[inside] for colour, band in zip(needed, values, strict=True)}
            counts[row] += histogram(greenness(colours, index), index)
        expected = floor.geometry.area.to_numpy() / _cell_area_m2(source, floor) / one_in
    if not counts.sum():
        raise FileRefused(f"{name} holds nothing where the grove is", "every cell there is empty or outside",
                          "check which picture it is")
    edges = bin_edges(index)
    if threshold is None:
        last = otsu(counts.sum(axis=0))
        limit = float(edges[last + 1])
    else:
        limit = checks.number(threshold, "threshold", least=float(edges[0]), most=float(edges[-1]))
        last = int(np.searchsorted(edges, limit, side="right")) - 2
    seen = np.minimum(counts.sum(axis=1) / np.maximum(expected, 1e-9), 1.0)
    shares = [_share(counts, min(max(last + step, -1), BINS - 1)) for step in (0, -1, 1)]
    rows = _told(floor, shares, seen, misplaced_m)
    return AerialCover(rows.assign(cells=counts.sum(axis=1)), index, limit, threshold is None, (DORMANT,))


def measure_classes(
    path: str | os.PathLike[str], floor: gpd.GeoDataFrame, classes: Mapping[int, str]
) -> gpd.GeoDataFrame:
    """Measure the parts of every row's floor in a class raster.

    Parameters
    ----------
    path : path
        GeoTIFF of whole numbers, first band; read by windows.
    floor : GeoDataFrame
        The floor of each row, projected CRS [m].
    classes : mapping of int to str
        Which part each value stands for: grass, dead_grass, litter, rock, bare. Other values are not counted.

    Returns
    -------
    GeoDataFrame
        ``floor`` with the five parts (sum to 1), grass_cover, ground_cover, standard_error (0.02: cells are counted,
        and only a checked sample tells how good the classes are), weight, method and cells.

    Raises
    ------
    InputRefused
        A part that is not known, or no class of the raster is named.

    Examples
    --------
    >>> measure_classes("classes.tif", gpd.GeoDataFrame({"row": []}, geometry=[], crs=32729), {1: "moss"})
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Class 1 is 'moss': it must be one of grass, dead_grass, litter, rock, bare.
    """
    for value, part in classes.items():
        checks.one_of(part, PARTS, f"class {value}")
    values = np.array(sorted(classes))
    column = np.array([PARTS.index(classes[value]) for value in values], dtype=np.int64)
    counts = np.zeros((len(floor), len(PARTS)))
    name = Path(path).name
    with opened(path, single_band=True) as source:
        for row, cells, inside, *_ in _cells(source, floor, [1], (0.0, 0.0), name):
            found = cells[0][inside]
            place = np.minimum(np.searchsorted(values, found), len(values) - 1)
            counts[row] += np.bincount(column[place][values[place] == found], minlength=len(PARTS))
    total = counts.sum(axis=1)
    if not total.sum():
        raise InputRefused(f"no cell of {name} on the floor has one of the classes {values.tolist()}",
                           "each class is named by its value", "check the values")
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = counts / total[:, None]
    return floor.assign(
        **{part: shares[:, number] for number, part in enumerate(PARTS)}, grass_cover=shares[:, 0] + shares[:, 1],
        ground_cover=1.0 - shares[:, 4], standard_error=0.02, weight=400.0, method="classes", cells=total.astype(int),
    )


def _cells(
    source: Any, floor: gpd.GeoDataFrame, numbers: list[int], shift_m: tuple[float, float], name: str
) -> Iterator[tuple[int, npt.NDArray[Any], npt.NDArray[np.bool_], npt.NDArray[np.bool_] | None, int]]:
    """Yield row by row: cells of the bands, which lie on the floor, which are empty, and one in how many they are."""
    from affine import Affine
    from rasterio.features import geometry_mask
    from rasterio.windows import Window

    shapes = shapely.transform(floor.geometry.to_numpy(), lambda xy: xy + np.asarray(shift_m))
    if source.crs != floor.crs:
        way = into_crs_of(source, floor.crs, name)
        shapes = shapely.transform(shapes, lambda xy: np.column_stack(way.transform(xy[:, 0], xy[:, 1])))
    grid, cell = source.transform, abs(source.transform.a * source.transform.e)
    a_row = len(numbers) * np.dtype(source.dtypes[0]).itemsize
    for row, shape in enumerate(shapes):
        west, south, east, north = shape.bounds
        left, right = max(int((west - grid.c) / grid.a), 0), min(int(np.ceil((east - grid.c) / grid.a)), source.width)
        top = max(int((north - grid.f) / grid.e), 0)
        bottom = min(int(np.ceil((south - grid.f) / grid.e)), source.height)
        if left >= right or top >= bottom:
            continue
        every = max(int(np.sqrt(shape.area / cell / _ENOUGH_CELLS)), 1)
        step = max(_AT_ONCE // ((right - left) * a_row) // every, 1) * every
        for first in range(top, bottom, step):
            window = Window(left, first, right - left, min(step, bottom - first))
            values = source.read(numbers, window=window)[:, ::every, ::every]
            # The middle of each cell that is counted is the middle of the coarser cell that stands for it
            aside = (every - 1) / 2.0
            here = Affine(grid.a * every, 0.0, grid.c + (left - aside) * grid.a,
                          0.0, grid.e * every, grid.f + (first - aside) * grid.e)
            inside = geometry_mask([shape], values.shape[1:], here, invert=True)
            yield row, values, inside, no_data(source, values), every


def _cell_area_m2(source: Any, floor: gpd.GeoDataFrame) -> float:
    """Return the ground area of one cell [m2] at the middle of the floor."""
    area = abs(source.transform.a * source.transform.e)
    if source.crs == floor.crs:
        return area
    middle = shapely.union_all(floor.geometry.to_numpy()).centroid.buffer(50.0)
    way = into_crs_of(source, floor.crs, "the picture")
    there = shapely.transform(middle, lambda xy: np.column_stack(way.transform(xy[:, 0], xy[:, 1])))
    return float(area * middle.area / there.area)


def _share(counts: npt.NDArray[np.int64], last: int) -> FloatArray:
    total = counts.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(counts[:, last + 1:].sum(axis=1) / total)


def _told(floor: gpd.GeoDataFrame, shares: list[FloatArray], seen: FloatArray, misplaced_m: float) -> gpd.GeoDataFrame:
    """Return the floor with its cover; rows that are hardly in the picture have none."""
    green, more, less = (np.where(seen >= _LEAST_SEEN, share, np.nan) for share in shares)
    table = part_inside(green, more, less, method="aerial")
    area, edge = floor.geometry.area.to_numpy(), floor.geometry.length.to_numpy()
    away = checks.number(misplaced_m, "misalignment", "m", least=0.0)
    moved = 0.5 * np.minimum(edge * away / (np.pi * np.maximum(area, 1e-9)), 1.0)
    error = np.maximum(table["standard_error"].to_numpy(), moved)
    table["standard_error"], table["weight"] = error, np.minimum(0.25 / error**2, table["weight"].max())
    table.index = floor.index
    return gpd.GeoDataFrame(pd.concat([floor, table], axis=1).assign(seen=seen), geometry="geometry", crs=floor.crs)
