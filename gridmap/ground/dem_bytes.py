"""A height grid kept small inside the grove file: thinned if need be, packed as a GeoTIFF, and read back."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gridmap import checks
from gridmap.errors import FileRefused
from gridmap.ground.dem import Dem

# 500 by 500 cells show a hill well enough for shade and contours; own limit, no source.
MOST_KEPT_CELLS: Final = 250_000
# Heights are kept to the centimetre, which is finer than any survey of a hillside.
_PER_METRE: Final = 100
_GAP: Final = -(2**31)


def thinned(dem: Dem, *, most_cells: int = MOST_KEPT_CELLS) -> Dem:
    """Make a height grid coarse enough to keep, each new cell the mean of the whole cells that it covers.

    Parameters
    ----------
    dem : Dem
        Heights [m].
    most_cells : int, optional
        As many cells may be left.

    Returns
    -------
    Dem
        The same where it is small enough; otherwise cells 2, 3, ... times as wide. A new cell without half of its
        heights is a gap.

    Examples
    --------
    >>> dem = Dem([[4.0, 4, 2, 2], [4, 4, 2, 2]], 0, 20, (10, 10), 7855)
    >>> thinned(dem, most_cells=2).elevation_m.tolist(), thinned(dem) is dem
    ([[4.0, 2.0]], True)
    """
    most = int(checks.number(most_cells, "cells to keep", least=1))
    rows, columns = dem.elevation_m.shape
    times = 1
    while math.ceil(rows / times) * math.ceil(columns / times) > most:
        times += 1
    if times == 1:
        return dem
    padded = np.full((math.ceil(rows / times) * times, math.ceil(columns / times) * times), np.nan)
    padded[:rows, :columns] = dem.elevation_m
    parts = padded.reshape(padded.shape[0] // times, times, padded.shape[1] // times, times).swapaxes(1, 2)
    known = np.isfinite(parts)
    number = known.sum(axis=(2, 3))
    total = np.where(known, parts, 0.0).sum(axis=(2, 3))
    mean = np.where(2 * number >= times * times, total / np.maximum(number, 1), np.nan)
    width, height = dem.cell_m
    return Dem(mean, dem.west_m, dem.north_m, (width * times, height * times), dem.crs, dem.notes)


def pack_dem(dem: Dem) -> bytes:
    """Pack heights as a small GeoTIFF: whole centimetres, compressed, with position, CRS, gaps and unit.

    Parameters
    ----------
    dem : Dem
        Heights [m] in the grove's CRS.

    Returns
    -------
    bytes
        A file that any GIS opens once it is written out.

    Examples
    --------
    >>> dem = Dem([[3.004, 4.0], [1.0, float("nan")]], 0, 20, (10, 10), 7855)
    >>> unpack_dem(pack_dem(dem)).elevation_m.tolist()
    [[3.0, 4.0], [1.0, nan]]
    """
    from affine import Affine
    from rasterio.io import MemoryFile

    rows, columns = dem.elevation_m.shape
    whole = np.round(np.nan_to_num(dem.elevation_m) * _PER_METRE)
    heights = np.where(np.isfinite(dem.elevation_m), whole, _GAP).astype(np.int32)
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff", width=columns, height=rows, count=1, dtype="int32", crs=f"EPSG:{dem.crs}",
            transform=Affine(*dem.transform), nodata=_GAP, compress="deflate", predictor=2, zlevel=9,
        ) as target:  # fmt: skip
            target.write(heights, 1)
            target.scales, target.units = (1 / _PER_METRE,), ("metre",)
        return bytes(memory.read())


def unpack_dem(packed: bytes) -> Dem:
    """Read heights that `pack_dem` packed.

    Raises
    ------
    FileRefused
        When it is damaged.

    Examples
    --------
    >>> unpack_dem(b"no picture")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: The heights in the grove file can't be read: they are kept as a GeoTIFF. Load the DEM
    again.
    """
    from rasterio.errors import RasterioError
    from rasterio.io import MemoryFile

    try:
        if packed[:2] not in (b"II", b"MM"):
            raise RasterioError("no TIFF")
        with MemoryFile(packed) as memory, memory.open(driver="GTiff") as source:
            if source.count != 1 or source.width * source.height > MOST_KEPT_CELLS or source.crs is None:
                raise RasterioError("not one of ours")
            raw = source.read(1, masked=True)
            heights = raw.astype(np.float64).filled(np.nan) / _PER_METRE
            t, crs = source.transform, source.crs.to_epsg()
    except RasterioError:
        raise FileRefused(
            "the heights in the grove file can't be read", "they are kept as a GeoTIFF", "load the DEM again"
        ) from None
    return Dem(heights, t.c, t.f, (t.a, -t.e), int(crs or 0))
