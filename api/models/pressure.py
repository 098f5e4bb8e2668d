"""The pressure map and what stands beside it."""

from __future__ import annotations

from typing import Any, Literal

from api.models.base import Told
from api.models.geojson import FeatureCollection

Counted = Literal["nymphs", "nymphs_and_adults"]
Knowledge = Literal["well_known", "doubtful", "unknown"]


class PressureColumns(Told):
    """Every living tree's figures, in the order of the trees layer; none where nobody walked."""

    tree: list[str]
    mean_per_beat: list[float | None]
    median_per_beat: list[float | None]
    low_50: list[float | None]
    high_50: list[float | None]
    low_80: list[float | None]
    high_80: list[float | None]
    low_90: list[float | None]
    high_90: list[float | None]
    chance_over: list[float | None]
    informed: list[float | None]
    knowledge: list[Knowledge]
    beaten: list[int]


class PressureMap(Told):
    """The map of one walk."""

    walk: str
    date: str
    counted: Counted
    standard_taps: float
    threshold_per_beat: float | None
    trees: int
    columns: PressureColumns


class RowPressure(Told):
    """One row, with 80 % limits of its mean."""

    block: str
    row: int
    upslope_m: float | None
    trees: int
    beaten: int
    mean_per_beat: float | None
    low_80: float | None
    high_80: float | None
    known: bool


class Ramp(Told):
    """The colours of the map, and the count at which the last one is reached."""

    top_per_beat: float
    colours: list[str]


class BlockPressure(Told):
    """One block; no figures where it was not walked."""

    block: str
    trees: int
    beaten: int
    walked: bool
    mean_per_beat: float | None
    median_per_beat: float | None
    low_80: float | None
    high_80: float | None
    trees_over: float | None
    trees_over_low_80: float | None
    trees_over_high_80: float | None


class PressureSummary(Told):
    """The finding, the block table, the rows, the hot spots."""

    grove: str
    invented: bool
    walk: str
    counted: Counted
    standard_taps: float
    threshold_per_beat: float | None
    trees: int
    trees_beaten: int
    blocks_walked: list[str]
    blocks_unknown: list[str]
    blocks: list[BlockPressure]
    trees_over_in_walked_blocks: float | None
    trees_well_known: int
    trees_doubtful: int
    trees_unknown: int
    said: list[str]
    rows: list[RowPressure]
    hot_spots: FeatureCollection
    ramp: Ramp


class Beat(Told):
    """One beat near a tree."""

    tree: str
    distance_m: float
    block: str
    row: int
    position: int
    taps: float
    counted: float | None
    reason: str
    same_tree: bool


class Why(Told):
    """What one tree's number rests on."""

    tree: str
    block: str
    row: int
    position: int
    value: dict[str, Any]
    counted: Counted
    standard_taps: float
    threshold_per_beat: float | None
    nearest: list[Beat]
    beats_used: int
    formula: str
    source: str
    said: list[str]
