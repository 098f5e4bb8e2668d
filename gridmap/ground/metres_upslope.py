"""Metres upslope for every place of a grove, from the best that is known: heights, the grove's arrow, a block's."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray
from gridmap.errors import InputMissing
from gridmap.ground.upslope import upslope_from_bearing_m, upslope_m

#: How far from the nearest known height the ground between heights is still believed [m]. Own limit, no source.
NEAR_A_HEIGHT_M: Final = 50.0


def metres_upslope(
    xy: npt.ArrayLike,
    elevation_m: npt.ArrayLike,
    block: npt.ArrayLike,
    *,
    uphill_bearing_deg: float | None = None,
    block_bearing_deg: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Tell how many metres up the slope each place stands, and what that rests on.

    Parameters
    ----------
    xy : (n, 2) array
        Easting and northing of the places [m], in the grove's CRS.
    elevation_m : (n,) array
        Heights [m]; NaN where there is none.
    block : (n,) array of str
        Block of each place.
    uphill_bearing_deg : float, optional
        The grove's uphill arrow [degrees clockwise from grid north].
    block_bearing_deg : mapping of str to float, optional
        The arrow of each block; NaN where there is none.

    Returns
    -------
    DataFrame
        upslope_m [m] and source ("heights", "grove arrow", "block arrow", or "" with NaN), one line per place.

    Notes
    -----
    Heights come first, for the grove as a whole: 0 is its lowest place (`upslope_m`). A place without a height counts
    among them within 50 m of one that has. What is left, or everything where the heights tell no fall, is measured
    along the grove's arrow (0 at the place farthest downhill), else along its block's (0 at the lowest place of the
    block, so blocks can't be compared then).

    Examples
    --------
    >>> xy = [[0, 0], [10, 0], [0, 10], [10, 10]]
    >>> metres_upslope(xy, [5, 6, 5, 6], ["A"] * 4).round(6).values.tolist()[1]
    [10.0, 'heights']
    >>> metres_upslope(xy, [None] * 4, ["A"] * 4, block_bearing_deg={"A": 0}).values.tolist()[2]
    [10.0, 'block arrow']
    >>> len(metres_upslope([], [], []))
    0
    """
    places = checks.points(xy, "places")
    heights = np.asarray(elevation_m, dtype=np.float64)
    blocks = np.asarray(block, dtype=object)
    checks.same_length(len(places), elevation_m=heights, block=blocks)
    upslope, source = np.full(len(places), np.nan), np.full(len(places), "", dtype=object)
    near = _near_a_height(places, heights)
    if near.any():
        try:
            upslope[near] = upslope_m(places[near], heights[near])
            source[near] = "heights"
        except InputMissing:
            # Too few heights, or level ground: the arrow has to tell.
            pass
    for rest, bearing, name in _arrows(np.isnan(upslope), blocks, uphill_bearing_deg, block_bearing_deg or {}):
        # The grove's arrow counts from its lowest place of all, also where heights tell some of them.
        within = np.ones(len(places), dtype=bool) if name == "grove arrow" else rest
        along = np.full(len(places), np.nan)
        along[within] = upslope_from_bearing_m(places[within], bearing)
        upslope[rest], source[rest] = along[rest], name
    return pd.DataFrame({"upslope_m": upslope, "source": source})


def _near_a_height(places: FloatArray, heights: FloatArray) -> BoolArray:
    """Tell which places have a height, or stand near one that has."""
    known: BoolArray = np.isfinite(heights)
    if not known.any():
        return known
    distance, _ = cKDTree(places[known]).query(places)
    return np.asarray(distance <= NEAR_A_HEIGHT_M, dtype=bool)


def _arrows(
    left: BoolArray, blocks: npt.NDArray[np.object_], grove: float | None, of_block: Mapping[str, float]
) -> list[tuple[BoolArray, float, str]]:
    """List which places each arrow has to tell."""
    if not left.any():
        return []
    if grove is not None and np.isfinite(grove):
        return [(left, float(grove), "grove arrow")]
    found = []
    for name in dict.fromkeys(blocks[left]):
        bearing = of_block.get(name)
        if bearing is not None and np.isfinite(bearing):
            found.append((left & (blocks == name), float(bearing), "block arrow"))
    return found
