"""Which trees may be sprayed at all: not those in a setback, not those of a block that nobody has looked at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.checks import BoolArray, FloatArray, columns
from gridmap.errors import InputRefused
from gridmap.treatment.rows import Rows, lay_rows
from gridmap.treatment.setback import Setback, apply_setbacks

NOT_WALKED: Final = "its block was not walked, or not since its last treatment: look first"


@dataclass(frozen=True)
class Field:
    """Living trees in their rows with everything that forbids spraying one; the zone and the options share it.

    Parameters
    ----------
    rows : Rows
    setback : Setback
    known : (n,) array of bool
        Whether the tree's block was walked.
    not_walked : tuple of str
    """

    rows: Rows
    setback: Setback
    known: BoolArray
    not_walked: tuple[str, ...]

    @property
    def barred(self) -> BoolArray:
        """Trees that no zone may hold."""
        return self.setback.mask | ~self.known

    def reasons(self) -> pd.DataFrame:
        """Why each barred tree is barred: tree, reason, keep_out, distance_m."""
        unknown = self.rows.trees.loc[~self.known & ~self.setback.mask, ["tree"]]
        unknown = pd.DataFrame(unknown).assign(reason=NOT_WALKED, keep_out=None)
        unknown["distance_m"] = np.nan
        parts = [part for part in (self.setback.barred, unknown) if len(part)]
        return pd.concat(parts, ignore_index=True) if parts else self.setback.barred


def lay_field(
    trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, keep_outs: gpd.GeoDataFrame | None, *, walked: Iterable[str],
) -> Field:
    """Put trees into rows and find out which may not be sprayed.

    Parameters
    ----------
    trees, blocks, keep_outs : GeoDataFrame
        As in the contract, one projected CRS in metres; keep_outs may be None.
    walked : iterable of str
        Blocks with a count in the walks used and since their last treatment (see `walked_blocks`).

    Raises
    ------
    InputRefused
        A walked block is unknown, or the frames have different CRS.
    """
    for frame, name in ((blocks, "blocks"), (keep_outs, "keep-outs")):
        if isinstance(frame, gpd.GeoDataFrame) and frame.crs is not None and trees.crs is not None \
                and frame.crs != trees.crs:
            raise InputRefused(f"{name} are in {frame.crs.name}", f"trees are in {trees.crs.name}",
                               "bring both into one CRS")
    rows = lay_rows(trees, blocks)
    names = set(walked)
    unknown = sorted(names - set(blocks["block"]))
    if unknown:
        raise InputRefused(f"walked blocks hold {', '.join(map(repr, unknown))}", "the grove has no such block")
    not_walked = tuple(sorted(set(blocks["block"]) - names))
    known = rows.trees["block"].isin(names).to_numpy(dtype=bool)
    return Field(rows, apply_setbacks(rows, blocks, keep_outs), known, not_walked)


def walked_blocks(
    counts: pd.DataFrame, trees: pd.DataFrame, *, last_treated: Mapping[str, pd.Timestamp] | None = None,
) -> tuple[str, ...]:
    """Name the blocks of which something is known: those with a count since they were last treated.

    Parameters
    ----------
    counts, trees : DataFrame
        As in the contract; counts of the walks that are used.
    last_treated : mapping of block to time, optional
        UTC.

    Examples
    --------
    >>> trees = pd.DataFrame({"tree": ["a", "b"], "block": ["East", "West"]})
    >>> counts = pd.DataFrame({"tree": ["a", "b"], "time": pd.to_datetime(["2026-11-03", "2026-11-03"], utc=True)})
    >>> walked_blocks(counts, trees, last_treated={"West": pd.Timestamp("2026-11-04", tz="UTC")})
    ('East',)
    >>> walked_blocks(counts.iloc[:0], trees)
    ()
    """
    columns(counts, ["tree", "time"] if last_treated else ["tree"], "counts")
    columns(trees, ["tree", "block"], "trees")
    block = counts["tree"].map(trees.set_index("tree")["block"])
    fresh = block.notna()
    for name, time in (last_treated or {}).items():
        fresh &= (block != name) | (counts["time"] > time)
    return tuple(sorted(set(block[fresh])))


def chances(field: Field, pressure: pd.DataFrame) -> FloatArray:
    """Return the chance over threshold of every living tree that may be sprayed (0 for a barred one)."""
    columns(pressure, ["tree", "chance_over"], "pressure")
    if pressure["tree"].duplicated().any():
        raise InputRefused("pressure names a tree twice", "it must have one line for each tree")
    chance = field.rows.trees["tree"].map(pressure.set_index("tree")["chance_over"]).to_numpy(dtype=np.float64)
    without = np.isnan(chance) & ~field.barred
    if without.any():
        raise InputRefused(f"pressure has no chance for {int(without.sum())} living trees of walked blocks",
                           "it must have one for each", "predict for all living trees")
    return np.where(field.barred, 0.0, chance)
