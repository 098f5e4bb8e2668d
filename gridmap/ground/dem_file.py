"""Heights from a GeoTIFF: only the part around the grove, in the grove's CRS and in metres."""

from __future__ import annotations

import math
import os
import warnings
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyproj

from gridmap import checks, datum
from gridmap.checks import FloatArray
from gridmap.crs import grove_crs, parse_crs
from gridmap.errors import CRSRefused, FileRefused, InputMissing, InputRefused
from gridmap.ground.dem import Dem, bilinear
from gridmap.units import M_PER_FOOT

# The foot is exact since 1959; the United States survey foot is 1200/3937 m (NIST Special Publication 811, appendix
# B.6).
M_PER_UNIT: Final = {"metre": 1.0, "foot": M_PER_FOOT, "us_survey_foot": 1200 / 3937}
_UNIT_NAMES: Final = {
    "metre": {"m", "metre", "metres", "meter", "meters"},
    "foot": {"ft", "foot", "feet", "international foot", "international feet"},
    "us_survey_foot": {"us-ft", "ftus", "us survey foot", "us survey feet", "us_survey_foot", "foot_us", "sft"},
}
# 25 million cells hold a square of 5 km at 1 m; as 64-bit numbers they take 200 MB. Own limits, no source.
MAX_CELLS: Final = 25_000_000
# A cell of the file is packed into a block, and reading one cell unpacks its whole block.
MAX_BLOCK_CELLS: Final = 64_000_000
# Dry land lies between the Dead Sea's shore (about -440 m) and Everest (8,849 m; both from memory): what is outside is
# a gap that the file forgot to declare, such as -9999 or 3.4e38.
LOWEST_M, HIGHEST_M = -500.0, 9_000.0


def read_dem(
    path: str | os.PathLike[str],
    crs_epsg: int,
    bounds: npt.ArrayLike,
    *,
    vertical_unit: str | None = None,
    margin_m: float = 100.0,
) -> Dem:
    """Read the heights around a grove from a GeoTIFF in any CRS, and no more of the file than that.

    Parameters
    ----------
    path : path
        GeoTIFF with one band of heights, of any size.
    crs_epsg : int
        EPSG code of the grove, projected, metres.
    bounds : (4,) array
        West, south, east, north [m] of the grove, in its CRS.
    vertical_unit : {"metre", "foot", "us_survey_foot"}, optional
        Unit of the heights. Left out, the file must say it; told, it goes before what the file says.
    margin_m : float, optional
        How far [m] beyond the grove heights are read too; never less than three cells.

    Returns
    -------
    Dem
        North-up grid in the grove's CRS, heights in metres. The file's own grid where it is in that CRS, otherwise
        bilinear on square cells of the same area.

    Raises
    ------
    FileRefused
        No file, no GeoTIFF, cut off, several bands, no position, blocks or a part too large, no height in the grove.
    CRSRefused
        The file names no CRS, no good way to the grove's, or it doesn't reach the grove.
    InputMissing
        Neither the file nor the grower says the unit of the heights.

    Notes
    -----
    Scale and offset of the band are applied. Heights under -500 m or over 9,000 m are taken as gaps, and told. Datum
    shifts are those of `gridmap.crs.to_grove`. Bearings and slopes taken from the grid refer to the grove's grid north.

    Examples
    --------
    >>> read_dem("DEM.tif", 7855, [0, 0, 100, 100])
    Traceback (most recent call last):
    gridmap.errors.FileRefused: DEM.tif is not there: a DEM is one GeoTIFF file.
    """
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioIOError

    file, grove = Path(path), pyproj.CRS.from_epsg(grove_crs(crs_epsg))
    box = _box(bounds)
    margin = checks.number(margin_m, "margin", "m", least=0)
    if not file.is_file():
        raise FileRefused(f"{file.name} is not there", "a DEM is one GeoTIFF file")
    if file.stat().st_size == 0:
        raise FileRefused(f"{file.name} is empty", "a DEM is one GeoTIFF file")
    with warnings.catch_warnings():
        # A file without position is refused below, in words.
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            source = rasterio.open(file, driver="GTiff", sharing=False)
        except RasterioIOError:
            raise FileRefused(f"{file.name} can't be read", "a DEM is one GeoTIFF file, whole") from None
        with source:
            _check_content(source, file.name)
            to_metres, notes = _vertical(source, vertical_unit, file.name)
            try:
                return _read(source, file.name, grove, box, margin, to_metres, notes)
            except RasterioIOError:
                raise FileRefused(f"{file.name} breaks off", "its heights can't be read", "copy it again") from None


def dem_reference(path: str | os.PathLike[str]) -> dict[str, str | None]:
    """Tell what a GeoTIFF says of itself, for the grove's own record of where its heights come from.

    Parameters
    ----------
    path : path
        A file that `read_dem` could read.

    Returns
    -------
    dict
        crs ("EPSG:7855", or the name of a CRS without a code), vertical_unit ("metre", "foot", "us_survey_foot", None
        where the file doesn't say it).
    """
    import rasterio

    with rasterio.open(path, driver="GTiff", sharing=False) as source:
        crs = parse_crs(source.crs.to_wkt())
        plain = (source.units[0] or _vertical_axis_unit(source) or "").strip().lower()
    code = crs.to_epsg()
    unit = next((unit for unit, names in _UNIT_NAMES.items() if plain in names), None)
    return {"crs": crs.name if code is None else f"EPSG:{code}", "vertical_unit": unit}


def write_dem(path: str | os.PathLike[str], dem: Dem) -> None:
    """Write heights as a GeoTIFF that any GIS opens: 32-bit numbers, NaN where there is none, unit metre.

    Parameters
    ----------
    path : path
        File to make; one that is there is replaced.
    dem : Dem
        Heights in the grove's CRS.
    """
    import rasterio
    from affine import Affine

    rows, columns = dem.elevation_m.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32", crs=f"EPSG:{dem.crs}",
        transform=Affine(*dem.transform), nodata=math.nan, compress="deflate", predictor=3,
    ) as target:  # fmt: skip
        target.write(dem.elevation_m.astype(np.float32), 1)
        target.units = ("metre",)


def _box(bounds: npt.ArrayLike) -> FloatArray:
    box = np.asarray(bounds, dtype=np.float64)
    if box.shape != (4,) or not np.isfinite(box).all() or box[0] > box[2] or box[1] > box[3]:
        raise InputRefused(f"bounds are {box.tolist()}", "they must be west, south, east, north in metres")
    return box


def _check_content(source: Any, name: str) -> None:
    """Refuse what is no height grid, before a single height is read."""
    from rasterio.enums import ColorInterp

    bands = [band for band in source.colorinterp if band is not ColorInterp.alpha]
    if len(bands) != 1:
        raise FileRefused(f"{name} has {len(bands)} bands", "a DEM has one band of heights", "it may be a picture")
    if np.dtype(source.dtypes[0]).kind not in "iuf":
        raise FileRefused(f"{name} holds {source.dtypes[0]} values", "heights are plain numbers")
    block = math.prod(source.block_shapes[0])
    if block > MAX_BLOCK_CELLS:
        what = f"{name} is packed in blocks of {block:,} cells"
        raise FileRefused(what, f"at most {MAX_BLOCK_CELLS:,} can be unpacked", "save it as a tiled GeoTIFF")
    if source.crs is None:
        rule = "without it nobody knows where its heights are"
        raise CRSRefused(f"{name} names no CRS", rule, "save it with its CRS, for instance EPSG:7855")
    if source.transform.is_identity:
        raise FileRefused(f"{name} has no position", "a DEM says where its corner lies and how large a cell is")
    if source.transform.is_degenerate:
        raise FileRefused(f"{name} has cells without area", "a DEM says how large a cell is")


def _vertical(source: Any, told: str | None, name: str) -> tuple[float, list[str]]:
    """Return metres per unit of height, and a note where the grower and the file disagree."""
    said = source.units[0] or _vertical_axis_unit(source)
    plain = (said or "").strip().lower()
    found = next((unit for unit, names in _UNIT_NAMES.items() if plain in names), None)
    if told is not None:
        unit = checks.one_of(told, M_PER_UNIT, "vertical unit")
        differs = found is not None and found != unit
        return M_PER_UNIT[unit], [f"heights were taken in {unit}, as told; {name} says {said}"] if differs else []
    if found is None:
        what = f"{name} doesn't say the unit of its heights"
        if said:
            what = f"{name} says {said!r} for the unit of its heights"
        raise InputMissing(what, "nothing is assumed", f"tell it: {', '.join(M_PER_UNIT)}", missing=["vertical unit"])
    return M_PER_UNIT[found], []


def _vertical_axis_unit(source: Any) -> str | None:
    axes = parse_crs(source.crs.to_wkt()).axis_info
    return next((axis.unit_name for axis in axes if axis.direction == "up"), None)


def _read(
    source: Any, name: str, grove: pyproj.CRS, box: FloatArray, margin: float, to_metres: float, notes: list[str]
) -> Dem:
    """Read the part around the grove and put it on a north-up grid of the grove's CRS."""
    crs, t = datum.flat(parse_crs(source.crs.to_wkt())), source.transform
    same = crs == grove or crs.to_epsg() == grove.to_epsg()
    move: datum.Move = _stay
    if not same:
        move, told = datum.way(grove, crs, datum.lonlat_bounds(grove, box))
        notes = notes + told

    back = ~t

    def pixel(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        east, north = move(x, y)
        return back.a * east + back.b * north + back.c, back.d * east + back.e * north + back.f

    # The file's own grid where it fits, otherwise squares as large as its cells, from the grove's corner.
    own = same and t.b == 0 and t.d == 0 and t.a > 0 and t.e < 0
    side = _cell_m(pixel, box, name)
    width, height, west, north = (t.a, -t.e, t.c, t.f) if own else (side, side, float(box[0]), float(box[3]))
    across, down = max(margin, 3 * width), max(margin, 3 * height)
    left, right = math.floor((box[0] - across - west) / width), math.ceil((box[2] + across - west) / width)
    top, bottom = math.floor((north - box[3] - down) / height), math.ceil((north - box[1] + down) / height)
    _check_cells((right - left) * (bottom - top), name)
    x = west + (np.arange(left, right) + 0.5) * width
    y = north - (np.arange(top, bottom) + 0.5) * height
    column, row = (np.asarray(part) - 0.5 for part in pixel(*np.meshgrid(x, y)))
    if own:
        # Centres fall on centres; rounding takes away what floating point left, so that no gap spreads.
        column, row = np.round(column), np.round(row)
    values, first_row, first_column, gaps = _window(source, name, row, column, to_metres, side)
    elevation = bilinear(values, row - first_row, column - first_column)
    if gaps:
        notes = [*notes, f"{gaps:,} impossible heights in {name} were taken as gaps"]
    corner = (west + left * width, north - top * height)
    return _covering(Dem(elevation, *corner, (width, height), int(grove.to_epsg() or 0), tuple(notes)), box, name)


def _stay(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Go the way from a CRS to itself."""
    return x, y


def _cell_m(pixel: datum.Move, box: FloatArray, name: str) -> float:
    """Return the side [m] of a square in the grove as large as a cell of the file there."""
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    step = 10.0
    column, row = (np.asarray(part) for part in pixel(np.array([x, x + step, x]), np.array([y, y, y + step])))
    turn = (column[1] - column[0]) * (row[2] - row[0]) - (column[2] - column[0]) * (row[1] - row[0])
    if not np.isfinite(turn) or turn == 0:
        raise CRSRefused(f"the grove lies outside the CRS of {name}", remedy="check the CRS that the file names")
    return float(step / math.sqrt(abs(turn)))


def _check_cells(cells: int, name: str) -> None:
    if cells > MAX_CELLS:
        what = f"{name} has {cells:,} cells around the grove"
        raise FileRefused(what, f"at most {MAX_CELLS:,} are read", "save it with larger cells, such as 1 m")


def _window(
    source: Any, name: str, row: FloatArray, column: FloatArray, to_metres: float, cell: float
) -> tuple[FloatArray, int, int, int]:
    """Read the part of the file that holds these cells: heights [m], its first row and column, impossible ones."""
    from rasterio.windows import Window

    if not (np.isfinite(row).all() and np.isfinite(column).all()):
        raise CRSRefused(f"the grove lies outside the CRS of {name}", remedy="check the CRS that the file names")
    spans = []
    for at, size in ((row, source.height), (column, source.width)):
        first, last = math.floor(at.min()), math.ceil(at.max()) + 1
        if last <= 0 or first >= size:
            far = max(first - size, -last) * cell / 1000
            raise CRSRefused(f"{name} ends about {far:,.1f} km from the grove", "a DEM must reach the grove's ground")
        spans.append((max(first, 0), min(last, size)))
    (top, bottom), (left, right) = spans
    _check_cells((bottom - top) * (right - left), name)
    raw = source.read(1, window=Window(left, top, right - left, bottom - top), masked=True)
    scale, offset = source.scales[0], source.offsets[0]
    heights = (raw.astype(np.float64) * scale + offset).filled(np.nan) * to_metres
    with np.errstate(invalid="ignore"):
        odd = ~np.isnan(heights) & ~((heights >= LOWEST_M) & (heights <= HIGHEST_M))
    heights[odd] = np.nan
    return heights, top, left, int(odd.sum())


def _covering(dem: Dem, box: FloatArray, name: str) -> Dem:
    """Refuse a DEM without one height in the grove, and tell where it covers a part only."""
    x, y = dem.centres
    half = np.asarray(dem.cell_m) / 2
    columns = (x >= box[0] - half[0]) & (x <= box[2] + half[0])
    inner = dem.elevation_m[(y >= box[1] - half[1]) & (y <= box[3] + half[1])][:, columns]
    share = float(np.isfinite(inner).mean())
    if share == 0:
        raise FileRefused(f"{name} has no height in the grove", "every cell there is a gap", "use another DEM")
    if share == 1:
        return dem
    told = f"{name} has heights for {min(share, 0.99):.0%} of the grove's rectangle"
    return Dem(dem.elevation_m, dem.west_m, dem.north_m, dem.cell_m, dem.crs, (*dem.notes, told))
