"""Everything that a picture or a sheet shows, collected in one frozen value."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

import geopandas as gpd
import pandas as pd
from shapely.geometry import MultiPolygon

from gridmap import __version__, checks
from gridmap.errors import CRSRefused, InputRefused
from gridmap.ground import Dem
from maps.style import KNOWLEDGE

_BLOCKS: Final = ("block", "geometry", "row_bearing_deg", "row_spacing_m", "tree_spacing_m")
_TREES: Final = ("tree", "block", "row", "position", "geometry")
_KEEP_OUTS: Final = ("name", "kind", "setback_m", "geometry")
_COUNTS: Final = ("tree", "taps", "nymphs", "adults", "reason")
_PRESSURE: Final = ("tree", "mean_per_beat", "median_per_beat", "low_80", "high_80", "chance_over", "knowledge")
_POINTS: Final = ("name", "kind", "geometry")
_HOT_SPOTS: Final = ("hot_spot", "block", "from_row", "to_row", "trees", "median_per_beat", "geometry")
_BLOCK_TABLE: Final = (
    "block",
    "beaten",
    "median_per_beat",
    "low_80",
    "high_80",
    "trees_over",
    "trees_over_low_80",
    "trees_over_high_80",
)
_RUNS: Final = (
    "run",
    "block",
    "row",
    "from_position",
    "to_position",
    "side",
    "trees",
    "length_m",
    "litres",
    "load",
    "geometry",
)


def _empty(columns: tuple[str, ...]) -> Any:
    """Make a frame without lines; its type is the caller's."""
    frame = pd.DataFrame({column: [] for column in columns})
    return gpd.GeoDataFrame(frame, geometry="geometry") if "geometry" in columns else frame


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """One grove as one walk showed it, ready to draw.

    Parameters
    ----------
    grove : str
        Name of the grove, as the grower wrote it.
    blocks, trees : GeoDataFrame
        As in the contracts of DEVELOPERS.md, in the grove's projected CRS [m]; trees that are gone are left out.
    invented : bool
        True marks every output as the invented demo grove.
    keep_outs : GeoDataFrame
        Keep-outs with their setback [m].
    counts : DataFrame
        The counts of the walk that is shown.
    pressure : DataFrame
        The pressure contract with one column more, ``knowledge``: well_known, doubtful or unknown.
    hot_spots : GeoDataFrame
        As `gridmap.pressure.hot_spots` gives them, by rank.
    block_table : DataFrame
        As `gridmap.pressure.block_table` gives it; without it no table of blocks is shown.
    runs, zone : GeoDataFrame, MultiPolygon or None
        What shall be treated, if that has been worked out.
    walk_date : date or None
        Local date of the walk.
    threshold : float or None
        The grower's action threshold [per standard beat].
    threshold_counts : str
        What the threshold and the map count: "nymphs" or "nymphs_and_adults".
    uphill_bearing_deg : float or None
        Where uphill lies [degrees clockwise from grid north].
    points : GeoDataFrame
        name, kind (gate, refill, other), geometry (Point).
    dem : Dem or None
        Heights around the grove, for hill shade and contours.
    attribution : str
        Who is to be named for outlines or heights that came from elsewhere.
    software : str
        What drew it, with its version.

    Raises
    ------
    InputRefused
        When a frame lacks a column or a tree has no known word for how well it is known.
    CRSRefused
        When the frames are not in one projected CRS.

    Examples
    --------
    >>> Scene(grove="Nowhere", blocks=None, trees=None)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Blocks is None: it must be a geopandas frame.
    """

    grove: str
    blocks: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    invented: bool = False
    keep_outs: gpd.GeoDataFrame = field(default_factory=lambda: _empty(_KEEP_OUTS))
    counts: pd.DataFrame = field(default_factory=lambda: _empty(_COUNTS))
    pressure: pd.DataFrame = field(default_factory=lambda: _empty(_PRESSURE))
    hot_spots: gpd.GeoDataFrame = field(default_factory=lambda: _empty(_HOT_SPOTS))
    block_table: pd.DataFrame = field(default_factory=lambda: _empty(_BLOCK_TABLE))
    runs: gpd.GeoDataFrame = field(default_factory=lambda: _empty(_RUNS))
    zone: MultiPolygon | None = None
    walk_date: date | None = None
    threshold: float | None = None
    threshold_counts: str = "nymphs_and_adults"
    uphill_bearing_deg: float | None = None
    points: gpd.GeoDataFrame = field(default_factory=lambda: _empty(_POINTS))
    dem: Dem | None = None
    attribution: str = ""
    software: str = f"gridmap {__version__}"

    def __post_init__(self) -> None:
        frames = {"blocks": _BLOCKS, "trees": _TREES, "keep_outs": _KEEP_OUTS, "hot_spots": _HOT_SPOTS, "runs": _RUNS,
                  "points": _POINTS}  # fmt: skip
        for name, needed in frames.items():
            frame = getattr(self, name)
            if not isinstance(frame, gpd.GeoDataFrame):
                raise InputRefused(f"{name} is {frame!r}", "it must be a geopandas frame")
            checks.columns(frame, needed, name)
        checks.columns(self.counts, _COUNTS, "counts")
        checks.columns(self.pressure, _PRESSURE, "pressure")
        checks.columns(self.block_table, _BLOCK_TABLE, "block table")
        checks.one_of(self.threshold_counts, ("nymphs", "nymphs_and_adults"), "what the threshold counts")
        if self.pressure["tree"].duplicated().any():
            twice = self.pressure["tree"][self.pressure["tree"].duplicated()].iloc[0]
            raise InputRefused(f"pressure names tree {twice} twice", "each tree has one line")
        if "status" in self.trees:
            object.__setattr__(self, "trees", self.trees[self.trees["status"] != "gone"])
        strange = set(self.pressure["knowledge"]) - set(KNOWLEDGE)
        if strange:
            raise InputRefused(
                f"knowledge holds {sorted(map(str, strange))}", f"it must be one of {', '.join(KNOWLEDGE)}"
            )
        self._check_crs()

    def _check_crs(self) -> None:
        crs = self.blocks.crs
        if crs is None or not crs.is_projected:
            raise CRSRefused(
                "the blocks to draw are in no projected CRS",
                "a plan is drawn in metres",
                "give frames in the grove's projected CRS",
            )
        if self.dem is not None and self.dem.crs != crs.to_epsg():
            raise CRSRefused(
                f"the heights to draw are in EPSG:{self.dem.crs}", f"the blocks are in {crs}", "load the DEM again"
            )
        for name in ("trees", "keep_outs", "hot_spots", "runs", "points"):
            frame = getattr(self, name)
            if len(frame) and frame.crs != crs:
                raise CRSRefused(
                    f"{name} to draw are in {frame.crs}",
                    f"the blocks are in {crs}",
                    "bring all frames into the grove's CRS",
                )

    @property
    def counted(self) -> str:
        """What is counted, in words."""
        return self.threshold_counts.replace("_", " ")

    def tree_pressure(self) -> gpd.GeoDataFrame:
        """Every tree with what the walk says of it; trees that the model was not asked about are unknown."""
        columns = [name for name in self.pressure.columns if name == "tree" or name not in self.trees.columns]
        joined = self.trees.merge(self.pressure[columns], on="tree", how="left", validate="one_to_one")
        joined["knowledge"] = joined["knowledge"].astype(object).fillna("unknown")
        return joined

    def beaten_trees(self) -> gpd.GeoDataFrame:
        """Trees that were beaten in the walk, suspected ones included, in the order of the trees."""
        return self.trees[self.trees["tree"].isin(set(self.counts["tree"]))]

    def unknown_share(self) -> dict[str, float]:
        """Share of the trees of each block [0 to 1] of which nothing can be said, in the order of the blocks."""
        unknown = (self.tree_pressure().set_index("block")["knowledge"] == "unknown").groupby(level=0).mean()
        return {block: float(unknown.get(block, 1.0)) for block in self.blocks["block"]}
