"""Facts, options, zones and mixes."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field, RootModel

from api.models.base import Done, Given, Id, Metres, Number, Told
from api.models.geojson import Feature, FeatureCollection
from api.models.pressure import LookTree

#: A tree's uuid, or a row or stretch of a row: Block/row, Block/row/from-to.
Change = Annotated[str, Field(min_length=1, max_length=260)]
Changes = Annotated[list[Change], Field(max_length=2000)]
Margin = Annotated[Metres, Field(le=500)]


class FactsTyped(RootModel[dict[str, Number | Annotated[str, Field(max_length=500)] | None]]):
    """Fields as the grower types them; null takes one back."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"per_beat": 5, "counts": "nymphs"}]})


class FactsTold(Told):
    """What was typed, null where nothing was."""

    values: dict[str, Any] | None
    version: str


class FactsTable(Told):
    """All that was typed."""

    threshold: FactsTold
    sprayer: FactsTold
    label: FactsTold
    prices: FactsTold
    missing: list[str]


class FactField(Told):
    """What one field asks for."""

    field: str
    words: str
    unit: str
    allowed: list[str]


class FactsForm(FactsTold):
    """What was typed of one kind, and what each field asks for."""

    name: str
    fields: list[FactField]


class FactsKept(FactsForm):
    """The same after a change."""

    act: str | None
    missing: list[str]
    said: list[str]


class FactsImported(Done):
    """What is still missing after a file was read."""

    missing: list[str]


class OptionTold(Told):
    """One way to act."""

    option: str
    trees: int
    litres: float | None
    product: float | None
    product_unit: str | None
    hours: float | None
    loads: int | None
    spend: float | None
    likely_loss: float | None
    expected_cost: float | None
    chance_cheapest: float | None
    blocks: str | list[str] | None


class LookAgain(Told):
    """Looking again at some trees before deciding, with its cost; none where the counts carry no times."""

    trees: list[LookTree]
    minutes_per_beat: float | None
    hours: float | None
    spend: float | None
    expected_saving: float
    expected_cost: float | None
    would_change: bool
    pays: bool
    sentence: str


class Options(Told):
    """Four ways to act side by side, and looking again first."""

    currency: str
    best: str
    sentence: str
    look: list[str]
    look_again: LookAgain | None
    options: list[OptionTold]
    cost_ratio: float | None
    cost_per_tree_mean: float
    start_cost: float
    loss_per_tree: float
    notes: list[str]
    said: list[str]
    cautions: list[str]


class ZoneListed(Told):
    """One version of a zone."""

    zone: str
    name: str
    version_number: int
    frozen: bool
    walk: str | None
    created: str
    area_ha: float
    newest: bool
    version: str


class Zones(Told):
    """Every version of every zone, oldest first."""

    zones: list[ZoneListed]


class NewZone(Given):
    """A zone to be made, with the UUID that its maker gave it, in place of the newest that its maker has seen."""

    zone: Id
    replaces: Id | None
    walk: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    margin_along_m: Margin = 0.0
    margin_across_m: Margin = 0.0
    add: Changes = Field(default_factory=list)
    drop: Changes = Field(default_factory=list)


class ZoneEdit(Given):
    """What is added and dropped by hand, and the UUID of the new version."""

    zone: Id
    add: Changes = Field(default_factory=list)
    drop: Changes = Field(default_factory=list)


class ZoneTreeColumns(Told):
    """Treated and dropped trees by columns."""

    tree: list[str]
    run: list[int | float | None]
    why: list[str]


class ZoneTrees(Told):
    """Trees of a zone."""

    columns: ZoneTreeColumns


class ZoneTold(Told):
    """One version of a zone with all that it holds; ``zone`` null where no tree is worth spraying."""

    zone: str | None
    name: str | None = None
    version_number: int | None = None
    replaces: str | None = None
    frozen: bool = False
    newest: bool = False
    walk: str | None = None
    created: str | None = None
    outline: Feature | None = None
    runs: FeatureCollection | None = None
    trees: ZoneTrees | None = None
    loads: list[dict[str, Any]] = Field(default_factory=list)
    summary: dict[str, Any] = Field(default_factory=dict)
    margin_along_m: float = 0.0
    margin_across_m: float = 0.0
    add: list[str] = Field(default_factory=list)
    drop: list[str] = Field(default_factory=list)
    cautions: list[str] = Field(default_factory=list)
    said: list[str] = Field(default_factory=list)
    version: str = "0"
    act: str | None = None
