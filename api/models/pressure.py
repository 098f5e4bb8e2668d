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


class StageTold(Told):
    """One block: sheets with nymphs, and the share of them that shows wing buds; no share where no sheet tells it."""

    block: str
    sheets: int
    with_wing_buds: int
    mostly_wing_buds: int
    share: float | None
    low_80: float | None
    high_80: float | None


class WalkBefore(Told):
    """The walk before, which this map is made of too."""

    walk: str
    date: str


class TreatedZone(Told):
    """A zone that was sprayed between the two walks; without a record it is taken so on the day of its sheet."""

    zone: str
    name: str
    date: str
    trees: int
    recorded: bool


class LookTree(Told):
    """A tree to beat next, and why; no chance where nobody walked."""

    label: str
    tree: str
    block: str
    row: int
    position: int
    chance_over: float | None
    knowledge: Knowledge
    worth: float
    reason: str


class LookNext(Told):
    """Trees to beat next, most worth first, and whether it would change the decision."""

    walk: str
    trees: list[LookTree]
    cost_ratio: float | None
    cost_ratio_typed: bool
    decisions_changed: float | None
    saving_in_trees_sprayed: float | None
    would_change: bool
    sentence: str
    said: list[str]


Clear = Literal["fewer", "more", "unclear", "unknown"]


class ChangeColumns(Told):
    """Every living tree's change as a ratio, now over before, in the order of the trees layer."""

    tree: list[str]
    median_ratio: list[float | None]
    low_50: list[float | None]
    high_50: list[float | None]
    low_80: list[float | None]
    high_80: list[float | None]
    low_90: list[float | None]
    high_90: list[float | None]
    chance_fewer: list[float | None]
    clear: list[Clear]
    treated: list[bool]


class ChangeFigures(Told):
    """A change as a ratio, now over before, with its limits."""

    median_ratio: float | None
    low_50: float | None
    high_50: float | None
    low_80: float | None
    high_80: float | None
    low_90: float | None
    high_90: float | None
    chance_fewer: float | None


class BlockChange(ChangeFigures):
    """Change of a block's mean; no figures where it was not beaten on both walks."""

    block: str
    trees: int
    clear: Clear


class TreatmentChange(ChangeFigures):
    """Change of treated trees, of untreated ones, and of the one against the other with the reduction."""

    part: Literal["treated", "untreated", "treated against untreated"]
    reduction_percent: float | None
    reduction_low_90: float | None
    reduction_high_90: float | None


class ChangeMap(Told):
    """Change since the walk before."""

    walk: str
    date: str
    walk_before: str
    since: str
    counted: Counted
    trees: int
    trees_fewer: int
    trees_more: int
    trees_unclear: int
    trees_unknown: int
    blocks: list[BlockChange]
    treatment: list[TreatmentChange]
    treated_between: list[TreatedZone]
    columns: ChangeColumns
    said: list[str]


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
    stage: list[StageTold]
    walk_before: WalkBefore | None
    walks_older: list[str]
    beats_used: int
    treated_between: list[TreatedZone]
    said: list[str]
    rows: list[RowPressure]
    hot_spots: FeatureCollection
    look_next: list[LookTree]
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
