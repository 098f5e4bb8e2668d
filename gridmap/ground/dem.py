"""The height grid of a grove: where each cell lies, and the height between cells."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.ground.horn import cell_size


@dataclass(frozen=True, eq=False)
class Dem:
    """Heights of the ground around a grove, on a north-up grid in the grove's CRS.

    Parameters
    ----------
    elevation_m : (rows, columns) array
        Heights [m], first row in the north, first column in the west; NaN where there is none.
    west_m, north_m : float
        Outer corner of the first cell [m], in the grove's CRS.
    cell_m : (float, float)
        Width and height of a cell [m].
    crs : int
        EPSG code of the grove.
    notes : tuple of str
        What the grower should know about how the heights were read.

    Raises
    ------
    InputRefused
        When the heights are no grid or a cell has no width.

    Examples
    --------
    >>> dem = Dem([[3.0, 4.0], [1.0, 2.0]], west_m=0, north_m=20, cell_m=(10, 10), crs=7855)
    >>> dem.bounds
    (0.0, 0.0, 20.0, 20.0)
    >>> dem.at([[10, 10], [500, 10]]).tolist()
    [2.5, nan]
    """

    elevation_m: FloatArray
    west_m: float
    north_m: float
    cell_m: tuple[float, float]
    crs: int
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        elevation = np.array(self.elevation_m, dtype=np.float64)
        if elevation.ndim != 2 or elevation.size == 0:
            raise InputRefused(f"heights have shape {elevation.shape}", "a DEM is a grid of rows and columns")
        elevation[~np.isfinite(elevation)] = np.nan
        elevation.flags.writeable = False
        object.__setattr__(self, "elevation_m", elevation)
        object.__setattr__(self, "west_m", checks.number(self.west_m, "west edge", "m"))
        object.__setattr__(self, "north_m", checks.number(self.north_m, "north edge", "m"))
        object.__setattr__(self, "cell_m", cell_size(self.cell_m))

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        """From column and row of a corner to map position: x = a col + b row + c, y = d col + e row + f."""
        width, height = self.cell_m
        return width, 0.0, self.west_m, 0.0, -height, self.north_m

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north [m] of the outer edges."""
        (rows, columns), (width, height) = self.elevation_m.shape, self.cell_m
        return self.west_m, self.north_m - rows * height, self.west_m + columns * width, self.north_m

    @property
    def centres(self) -> tuple[FloatArray, FloatArray]:
        """Easting of each column and northing of each row [m], at the middle of the cells."""
        (rows, columns), (width, height) = self.elevation_m.shape, self.cell_m
        x: FloatArray = self.west_m + (np.arange(columns, dtype=np.float64) + 0.5) * width
        y: FloatArray = self.north_m - (np.arange(rows, dtype=np.float64) + 0.5) * height
        return x, y

    def within(self, bounds: npt.ArrayLike) -> Dem | None:
        """Cut out the cells that touch a rectangle, and one more around; None where there is none.

        Parameters
        ----------
        bounds : (4,) array
            West, south, east, north [m].

        Examples
        --------
        >>> dem = Dem([[3.0, 4, 5], [1, 2, 3]], west_m=0, north_m=20, cell_m=(10, 10), crs=7855)
        >>> dem.within([1, 11, 2, 19]).bounds, dem.within([90, 90, 99, 99])
        ((0.0, 0.0, 20.0, 20.0), None)
        """
        west, south, east, north = (float(side) for side in np.asarray(bounds, dtype=np.float64))
        (rows, columns), (width, height) = self.elevation_m.shape, self.cell_m
        left = max(math.floor((west - self.west_m) / width) - 1, 0)
        right = min(math.ceil((east - self.west_m) / width) + 1, columns)
        top = max(math.floor((self.north_m - north) / height) - 1, 0)
        bottom = min(math.ceil((self.north_m - south) / height) + 1, rows)
        if left >= right or top >= bottom:
            return None
        corner = (self.west_m + left * width, self.north_m - top * height)
        return Dem(self.elevation_m[top:bottom, left:right], *corner, self.cell_m, self.crs, self.notes)

    def at(self, xy: npt.ArrayLike, grid: npt.ArrayLike | None = None) -> FloatArray:
        """Give the height (or what another grid of the same shape holds) at map positions, between cell centres.

        Parameters
        ----------
        xy : (n, 2) array
            Easting and northing [m], in the grove's CRS.
        grid : (rows, columns) array, optional
            Anything known per cell, such as a gradient; the heights unless given.

        Returns
        -------
        (n,) array
            Bilinear between the four nearest cell centres; the nearest ones in the outermost half cell; NaN outside and
            where one of the four that counts is missing.
        """
        values = self.elevation_m if grid is None else np.asarray(grid, dtype=np.float64)
        if values.shape != self.elevation_m.shape:
            raise InputRefused(f"grid has shape {values.shape}", f"the DEM has {self.elevation_m.shape}")
        places = checks.points(xy)
        column = (places[:, 0] - self.west_m) / self.cell_m[0] - 0.5
        row = (self.north_m - places[:, 1]) / self.cell_m[1] - 0.5
        return bilinear(values, row, column)


def bilinear(grid: FloatArray, row: FloatArray, column: FloatArray) -> FloatArray:
    """Give a grid's value between cell centres; NaN off the grid and where a neighbour with weight is missing.

    Examples
    --------
    >>> bilinear(np.array([[0.0, 1.0], [2.0, np.nan]]), np.array([0.0, 0.5, 1.0]), np.array([0.25, 0.0, 0.5])).tolist()
    [0.25, 1.0, nan]
    """
    rows, columns = grid.shape
    with np.errstate(invalid="ignore"):
        inside = (row >= -0.5) & (row <= rows - 0.5) & (column >= -0.5) & (column <= columns - 0.5)
    # The outermost half cell has centres on one side only.
    r, c = (np.clip(np.where(inside, at, 0.0), 0, size - 1) for at, size in ((row, rows), (column, columns)))
    top, left = np.minimum(r.astype(int), max(rows - 2, 0)), np.minimum(c.astype(int), max(columns - 2, 0))
    down, right = r - top, c - left
    total = np.zeros(r.shape)
    for step_down, weight_down in ((0, 1 - down), (1, down)):
        for step_right, weight_right in ((0, 1 - right), (1, right)):
            weight = weight_down * weight_right
            corner = grid[np.minimum(top + step_down, rows - 1), np.minimum(left + step_right, columns - 1)]
            # A missing corner without weight must not spoil a height that lies exactly on its neighbours.
            total += np.where(weight > 0, weight * corner, 0.0)
    return np.where(inside, total, np.nan)
