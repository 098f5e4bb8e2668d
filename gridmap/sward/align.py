"""How far two pictures of the same ground lie apart, before any change between them is believed."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gridmap.checks import FloatArray
from gridmap.errors import FileRefused, InputRefused
from gridmap.sward.picture import opened

# Side of the windows that are compared [cells], and how many across and down
WINDOW: Final = 384
_ACROSS: Final = 3
# Fineness of the last search [parts of a cell]
_FINE: Final = 50


@dataclass(frozen=True)
class Shift:
    """How the later picture lies against the earlier one.

    Parameters
    ----------
    east_m, north_m : float
        How far the later picture's features lie off the earlier's [m].
    left_m : float
        What is left after the shift is taken off: root mean square of what the windows differ from it [m].
    windows : int
        How many windows agreed to be compared.
    cell_m : float
        Size of the cells that were compared [m].
    """

    east_m: float
    north_m: float
    left_m: float
    windows: int
    cell_m: float


def phase_shift(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[float, float]:
    """Tell how many cells down and right the second picture's features lie from the first's.

    Parameters
    ----------
    first, second : array_like of shape (h, w)
        The same ground, same cells.

    Returns
    -------
    tuple of float
        Cells down and right, to a fiftieth of a cell.

    Raises
    ------
    InputRefused
        Shapes that differ, or a picture of one tone.

    Notes
    -----
    The peak of the phase correlation of both pictures, tapered at their edges, found among whole cells and then by
    evaluating the Fourier sum on a fine grid around it.

    References
    ----------
    Kuglin, C. D. and Hines, D. C. (1975) The phase correlation image alignment method. Proc. IEEE Int. Conf.
    Cybernetics and Society, 163-165 (from memory).
    Guizar-Sicairos, M., Thurman, S. T. and Fienup, J. R. (2008) Efficient subpixel image registration algorithms.
    Opt. Lett. 33:156-158. doi:10.1364/OL.33.000156.

    Examples
    --------
    >>> picture = np.random.default_rng(0).random((64, 64))
    >>> phase_shift(picture, np.roll(picture, (3, -2), (0, 1)))
    (3.0, -2.0)
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 2:
        raise InputRefused(f"pictures have shapes {a.shape} and {b.shape}", "both must show the same cells")
    if np.ptp(a) == 0.0 or np.ptp(b) == 0.0:
        raise InputRefused("a picture is of one tone", "there is nothing in it to align by")
    taper = np.outer(np.hanning(a.shape[0]), np.hanning(a.shape[1]))
    cross = np.fft.fft2((b - b.mean()) * taper) * np.conj(np.fft.fft2((a - a.mean()) * taper))
    cross /= np.maximum(np.abs(cross), 1e-12 * np.abs(cross).max())
    # The finest detail holds mostly noise and what resampling made of it
    fy, fx = np.meshgrid(np.fft.fftfreq(a.shape[0]), np.fft.fftfreq(a.shape[1]), indexing="ij")
    cross *= np.exp(-((fy**2 + fx**2) / (2.0 * 0.18**2)))
    peak = np.unravel_index(int(np.argmax(np.fft.ifft2(cross).real)), a.shape)
    down, right = (int(at) - size if at > size // 2 else int(at) for at, size in zip(peak, a.shape, strict=True))
    return _finer(cross, down, right)


def _finer(cross: npt.NDArray[np.complex128], down: int, right: int) -> tuple[float, float]:
    """Return the peak on a grid of fiftieths of a cell, one cell around the whole-cell peak."""
    steps = np.arange(-_FINE, _FINE + 1) / _FINE
    fy, fx = np.fft.fftfreq(cross.shape[0]), np.fft.fftfreq(cross.shape[1])
    rows = np.exp(2j * np.pi * np.outer(down + steps, fy))
    columns = np.exp(2j * np.pi * np.outer(fx, right + steps))
    value = (rows @ cross @ columns).real
    at_row, at_column = np.unravel_index(int(np.argmax(value)), value.shape)
    return float(down + steps[at_row]), float(right + steps[at_column])


def picture_shift(
    earlier: str | os.PathLike[str], later: str | os.PathLike[str], bounds: npt.ArrayLike, crs: object
) -> Shift:
    """Tell how far a later picture lies off an earlier one, and what is left when that is taken off.

    Parameters
    ----------
    earlier, later : path
        GeoTIFFs of the same ground; cells, bands and CRS may differ.
    bounds : (4,) array
        West, south, east, north [m] of the ground to compare, in ``crs``.
    crs : CRS
        The grove's.

    Returns
    -------
    Shift
        Median over nine windows, and what they differ from it. Compared in cells of the coarser picture.

    Raises
    ------
    FileRefused, CRSRefused
        As `opened`; the pictures have too little ground in common.

    Examples
    --------
    >>> picture_shift("2019.tif", "2025.tif", [0, 0, 100, 100], 32729)
    Traceback (most recent call last):
    gridmap.errors.FileRefused: 2019.tif is not there: a picture is one GeoTIFF file.
    """
    with opened(earlier) as old, opened(later) as new:
        west, south, east, north = (float(side) for side in np.asarray(bounds, dtype=np.float64))
        cell = max(_cell_m(old, crs, (west, south, east, north)), _cell_m(new, crs, (west, south, east, north)))
        side = min(WINDOW, int(min(east - west, north - south) / cell))
        if side < 32:
            raise FileRefused(f"{Path(later).name} shows {side} cells of the grove", "32 at least are needed to align",
                              "take a finer picture")
        found = []
        for down in np.linspace(north - side * cell, south, _ACROSS):
            for right in np.linspace(west, east - side * cell, _ACROSS):
                pair = [_grey(source, crs, (right, down), cell, side) for source in (old, new)]
                if all(np.isfinite(grey).mean() > 0.9 and np.nanstd(grey) > 0 for grey in pair):
                    found.append(phase_shift(*(np.nan_to_num(grey, nan=float(np.nanmean(grey))) for grey in pair)))
    if not found:
        raise FileRefused(f"{Path(later).name} and {Path(earlier).name} have no ground in common",
                          "both must show the grove")
    return _agreed(np.array(found) * cell, cell)


def _agreed(shifts: FloatArray, cell: float) -> Shift:
    """Return the median of the windows' shifts; those that found another peak altogether are left out."""
    middle = np.median(shifts, axis=0)
    away = np.hypot(*(shifts - middle).T)
    good = away <= max(3.0 * float(np.median(away)), 1.5 * cell)
    middle = np.median(shifts[good], axis=0)
    left = float(np.sqrt(np.mean(np.sum((shifts[good] - middle) ** 2, axis=1))))
    return Shift(float(middle[1]), float(-middle[0]), max(left, cell / _FINE), int(good.sum()), cell)


def _cell_m(source: Any, crs: object, bounds: tuple[float, float, float, float]) -> float:
    from rasterio.crs import CRS
    from rasterio.warp import transform_bounds

    there = transform_bounds(CRS.from_user_input(crs), source.crs, *bounds)
    cells = (there[2] - there[0]) / source.transform.a * (there[3] - there[1]) / -source.transform.e
    return float(np.sqrt((bounds[2] - bounds[0]) * (bounds[3] - bounds[1]) / max(cells, 1.0)))


def _grey(source: Any, crs: object, corner: tuple[float, float], cell: float, side: int) -> FloatArray:
    """Read a square window on the grove's grid as one tone, NaN outside the picture."""
    from affine import Affine
    from rasterio.crs import CRS
    from rasterio.enums import Resampling
    from rasterio.vrt import WarpedVRT

    transform = Affine(cell, 0.0, corner[0], 0.0, -cell, corner[1] + side * cell)
    bands = list(range(1, min(source.count, 3) + 1))
    with WarpedVRT(source, crs=CRS.from_user_input(crs), transform=transform, width=side, height=side,
                   resampling=Resampling.bilinear, add_alpha=source.nodata is None and source.count < 4) as view:
        values = view.read(bands).astype(np.float64).mean(axis=0)
        seen = view.dataset_mask() > 0
    return np.where(seen, values, np.nan)
