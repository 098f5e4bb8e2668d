"""A picture from the air: opened with its faults told, and read by windows, never whole."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyproj

from gridmap.crs import parse_crs
from gridmap.errors import CRSRefused, FileRefused, InputRefused

# Twelve times the largest picture that was tried; a header that claims more is taken for damaged. Own limit.
MOST_PIXELS: Final = 5_000_000_000
# Reading one cell unpacks its whole block: three bands of such a block are 200 MB
MOST_BLOCK_PIXELS: Final = 64_000_000
# GDAL's own store of blocks [MB]
CACHE_MB: Final = 64


@contextmanager
def opened(path: str | os.PathLike[str], *, single_band: bool = False) -> Iterator[Any]:
    """Open a picture or class raster for reading by windows, or say what is wrong with it.

    Parameters
    ----------
    path : path
        GeoTIFF, any number of bands, any CRS, any size up to `MOST_PIXELS`.
    single_band : bool
        Whether one band is enough (a class raster).

    Yields
    ------
    rasterio.DatasetReader
        North up, with a CRS.

    Raises
    ------
    FileRefused
        No file, no GeoTIFF, cut off, turned, one band where colours are needed, too large a header, no data at all.
    CRSRefused
        No CRS.

    Examples
    --------
    >>> with opened("meadow.tif") as picture:
    ...     pass
    Traceback (most recent call last):
    gridmap.errors.FileRefused: meadow.tif is not there: a picture is one GeoTIFF file.
    """
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioIOError

    file = Path(path)
    if not file.is_file():
        raise FileRefused(f"{file.name} is not there", "a picture is one GeoTIFF file")
    if file.stat().st_size == 0:
        raise FileRefused(f"{file.name} is empty", "a picture is one GeoTIFF file")
    with warnings.catch_warnings(), rasterio.Env(GDAL_CACHEMAX=CACHE_MB):
        # A picture without position is refused below, in words
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            source = rasterio.open(file, driver="GTiff", sharing=False)
        except RasterioIOError:
            raise FileRefused(f"{file.name} can't be read", "a picture is one GeoTIFF file, whole") from None
        with source:
            check(source, file.name, single_band=single_band)
            try:
                yield source
            except RasterioIOError:
                raise FileRefused(f"{file.name} breaks off", "its cells can't be read", "copy it again") from None


def check(source: Any, name: str, *, single_band: bool) -> None:
    """Refuse a picture that can't be laid on the ground, or holds nothing."""
    pixels = source.width * source.height
    if pixels > MOST_PIXELS:
        raise FileRefused(f"{name} says it has {pixels:,} pixels", f"at most {MOST_PIXELS:,} are taken",
                          "cut the picture to the grove")
    if source.crs is None:
        raise CRSRefused(f"{name} names no CRS", "a picture must say where it lies",
                         "export it with its coordinate system")
    turn = source.transform
    if turn.b or turn.d or turn.e >= 0 or turn.a <= 0:
        raise FileRefused(f"{name} is turned or mirrored", "a picture must be north up", "warp it north up first")
    if source.count < 2 and not single_band:
        raise FileRefused(f"{name} has one band", "greenness needs colours: red, green and blue, or near infrared",
                          "export the colours, or read it as classes")
    if source.dtypes[0].startswith("complex"):
        raise FileRefused(f"{name} holds complex numbers", "cells must be plain numbers")
    height, width = source.block_shapes[0]
    if height * width > MOST_BLOCK_PIXELS:
        raise FileRefused(f"{name} is stored in blocks of {width} x {height} pixels",
                          f"at most {MOST_BLOCK_PIXELS:,} pixels are unpacked at once", "save it in tiles")


def band_numbers(source: Any, needed: tuple[str, ...], said: Mapping[str, int] | None, name: str) -> list[int]:
    """Return which band holds each colour: as said, else as the file says, else red, green, blue in that order."""
    found = {"red": 1, "green": 2, "blue": 3}
    words = [interp.name.casefold() for interp in source.colorinterp]
    found |= {word: number for number, word in enumerate(words, 1) if word in ("red", "green", "blue")}
    for number, described in enumerate(source.descriptions, 1):
        text = (described or "").casefold().replace(" ", "_").replace("-", "_")
        if text in ("nir", "near_infrared", "near_infra_red"):
            found["near_infrared"] = number
        elif text in ("red", "green", "blue"):
            found[text] = number
    found |= dict(said or {})
    numbers = []
    for colour in needed:
        if colour not in found:
            raise InputRefused(f"{name} doesn't say which band is {colour.replace('_', ' ')}", None,
                               f"say it, for instance {colour} 4")
        if not 1 <= found[colour] <= source.count:
            raise InputRefused(f"{name} has no band {found[colour]} for {colour.replace('_', ' ')}",
                               f"it has {source.count}", "say which band it is")
        numbers.append(found[colour])
    return numbers


def into_crs_of(source: Any, crs: Any, name: str) -> pyproj.Transformer:
    """Return the way from the grove's CRS into the picture's."""
    try:
        return pyproj.Transformer.from_crs(parse_crs(crs), parse_crs(source.crs.to_wkt()), always_xy=True)
    except pyproj.exceptions.ProjError:
        raise CRSRefused(f"{name} is in a CRS that can't be reached from the grove's", None,
                         "export it in the grove's CRS") from None


def no_data(source: Any, values: npt.NDArray[Any]) -> npt.NDArray[np.bool_] | None:
    """Tell which cells of a window hold nothing, None where the file declares no such cells."""
    if source.nodata is None:
        return None
    if np.isnan(source.nodata):
        return np.asarray(np.isnan(values).all(axis=0))
    return np.asarray((values == np.asarray(source.nodata).astype(values.dtype)).all(axis=0))
