"""Green or not: indices of a picture's colours, and the threshold between what is green and what isn't."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused

BINS: Final = 256
# Band names that each index needs, and the least and greatest value that it can take
INDICES: Final[dict[str, tuple[tuple[str, ...], float, float]]] = {
    "excess_green": (("red", "green", "blue"), -1.0, 2.0),
    "excess_green_minus_red": (("red", "green", "blue"), -2.4, 3.0),
    "ndvi": (("red", "near_infrared"), -1.0, 1.0),
}
DORMANT: Final = (
    "This counts what is green. Dormant native grass, hay and litter are not green and count as bare here: fly when "
    "the grass grows, or measure on the ground."
)

FloatLike = npt.NDArray[np.float32]


def greenness(bands: Mapping[str, npt.ArrayLike], index: str) -> FloatLike:
    """Tell how green every cell of a picture is.

    Parameters
    ----------
    bands : mapping of str to array_like
        red, green, blue (and near_infrared for ``ndvi``), same shape, in any one unit.
    index : {"excess_green", "excess_green_minus_red", "ndvi"}
        Which index.

    Returns
    -------
    ndarray of float32
        The index; 0 where every band is 0.

    Raises
    ------
    InputRefused
        An index that is not known, or a band that it lacks.

    Notes
    -----
    With r = R / (R + G + B) and so on: excess green 2g - r - b; minus excess red 1.3 r - g, that is 3g - 2.3 r - b
    written out as (2g - r - b) - (1.3 r - g); NDVI (N - R) / (N + R).

    References
    ----------
    Woebbecke, D. M., Meyer, G. E., Von Bargen, K. and Mortensen, D. A. (1995) Color indices for weed identification.
    Trans. ASAE 38:259-269. doi:10.13031/2013.27838.
    Meyer, G. E. and Camargo Neto, J. (2008) Verification of color vegetation indices. Comput. Electron. Agric.
    63:282-293. doi:10.1016/j.compag.2008.03.009.

    Examples
    --------
    >>> greenness({"red": [60], "green": [120], "blue": [20]}, "excess_green").tolist()
    [0.800000011920929]
    >>> greenness({"red": [], "green": [], "blue": []}, "excess_green").tolist()
    []
    """
    needed = needed_bands(index)
    lacking = [name for name in needed if name not in bands]
    if lacking:
        raise InputRefused(f"the picture has no {lacking[0].replace('_', ' ')} band",
                           f"{index} needs {', '.join(needed)}", "say which band it is, or take another index")
    first, *others = (np.asarray(bands[name], dtype=np.float32) for name in needed)
    if index == "ndvi":
        return _ratio(others[0] - first, others[0] + first)
    green, blue = others
    total = first + green
    total += blue
    # 2g - r - b = 3g - 1, since r + g + b = 1: one division of whole arrays less
    if index == "excess_green":
        green = green * np.float32(3.0)
        return _ratio(green - total, total)
    green = green * np.float32(3.0)
    green -= first * np.float32(2.3)
    green -= blue
    return _ratio(green, total)


def needed_bands(index: str) -> tuple[str, ...]:
    """Return the bands that an index needs.

    Examples
    --------
    >>> needed_bands("ndvi")
    ('red', 'near_infrared')
    """
    return INDICES[checks.one_of(index, INDICES, "index")][0]


def _ratio(over: FloatLike, under: FloatLike) -> FloatLike:
    """Divide in place; 0 over 0 is 0."""
    np.maximum(under, np.float32(1e-9), out=under)
    np.divide(over, under, out=over)
    return over


def histogram(values: FloatLike, index: str) -> npt.NDArray[np.int64]:
    """Count cells by greenness, in `BINS` classes from the least value the index can take to the greatest."""
    _, least, most = INDICES[index]
    scaled = values * np.float32(BINS / (most - least))
    scaled += np.float32(-least * BINS / (most - least))
    np.clip(scaled, 0, BINS - 1, out=scaled)
    return np.bincount(scaled.astype(np.uint8).ravel(), minlength=BINS)


def bin_edges(index: str) -> FloatArray:
    """Return the edges of the classes of `histogram`."""
    _, least, most = INDICES[index]
    return np.linspace(least, most, BINS + 1)


def otsu(counts: npt.ArrayLike) -> int:
    """Tell where a histogram falls best into two: the last class of the lower part.

    Parameters
    ----------
    counts : array_like of shape (k,)
        Number of cells in each class, classes of equal width.

    Returns
    -------
    int
        The class that, with those below it, makes the lower part; where several do equally well, their middle.

    Raises
    ------
    InputRefused
        Cells of one class only: there is nothing to part.

    Notes
    -----
    The greatest variance between the parts, w0 w1 (m0 - m1)^2.

    References
    ----------
    Otsu, N. (1979) A threshold selection method from gray-level histograms. IEEE Trans. Syst. Man Cybern. 9:62-66.
    doi:10.1109/TSMC.1979.4310076.

    Examples
    --------
    >>> otsu([8, 7, 2, 6, 9, 4])
    2
    """
    n = np.asarray(counts, dtype=np.float64)
    if np.count_nonzero(n) < 2:
        raise InputRefused("every cell is of one greenness", "a threshold parts two kinds of ground",
                           "give a fixed threshold, or look at the picture")
    below = np.cumsum(n)[:-1]
    above = n.sum() - below
    moment = np.cumsum(n * np.arange(len(n)))
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = moment[:-1] / below - (moment[-1] - moment[:-1]) / above
        between = np.where((below > 0) & (above > 0), below * above * apart**2, -1.0)
    best = np.flatnonzero(between >= between.max() * (1.0 - 1e-12))
    return int(best[(len(best) - 1) // 2])
