"""The half of `GroveFile` for ground that is there already: plants that come and go, blocks that are drawn anew."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager

import geopandas as gpd
import pandas as pd
from shapely.geometry.base import BaseGeometry

from api.store import labels, replanting, replotting
from api.store.history import Act
from api.store.sward import GroveSward


class GroveChanges(GroveSward):
    """What changes places, plants and blocks; each method is an act, or part of the one around it."""

    act: Callable[..., AbstractContextManager[Act]]

    def label_history(self) -> pd.DataFrame:
        """Return place, block, row, position, since (UTC), what, now: every label that a place ever had."""
        with self._reading() as connection:
            return labels.label_history(connection)

    def counted_blocks(self) -> set[str]:
        """Return the names of the blocks in which a tree was ever counted."""
        with self._reading() as connection:
            return replotting.counted_blocks(connection)

    def last_counts(self) -> dict[str, str]:
        """Return the day of the last walk on which each plant (UUID) was counted, YYYY-MM-DD."""
        with self._reading() as connection:
            return replanting.last_counts(connection)

    def plant_days(self, trees: Iterable[str]) -> dict[str, tuple[str | None, str | None]]:
        """Return the days on which plants (UUIDs) were planted and were gone, YYYY-MM-DD; None where not said."""
        with self._reading() as connection:
            return replanting.plant_days(connection, trees)

    def retired_by_redrawing(self, trees: Iterable[str]) -> list[str]:
        """Return those plants whose last change is that a redrawn outline left them out."""
        with self._reading() as connection:
            return replanting.retired_by_redrawing(connection, trees)

    def retire(
        self,
        trees: Iterable[str],
        on: object,
        *,
        check_counts: bool = True,
        who: str = "grower",
        what: str = "retire trees",
    ) -> None:
        """Let plants (UUIDs) be gone from a day on; places and counts stay."""
        with self.act(what, who=who) as act:
            replanting.retire(act, trees, on, check_counts=check_counts)

    def revive(self, trees: Iterable[str], *, who: str = "grower", what: str = "bring trees back") -> None:
        """Let plants (UUIDs) live again that were said to be gone."""
        with self.act(what, who=who) as act:
            replanting.revive(act, trees)

    def plant_in(
        self,
        place: str,
        on: object,
        *,
        canopy_height_m: float | None = None,
        canopy_width_m: float | None = None,
        plant: str | None = None,
        who: str = "grower",
        what: str = "replant",
    ) -> str:
        """Set a new plant into a place (UUID) without a living one; return its UUID."""
        with self.act(what, who=who) as act:
            return replanting.plant_in(
                act, place, on, canopy_height_m=canopy_height_m, canopy_width_m=canopy_width_m, plant=plant
            )

    def move_places(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "move places") -> None:
        """Set places (place, geometry) where a survey found them."""
        with self.act(what, who=who) as act:
            replanting.move_places(act, frame, self.crs)

    def relabel(self, frame: pd.DataFrame, *, who: str = "grower", what: str = "relabel places") -> None:
        """Give places (place, block, row, position) other labels; the old ones stay in the history."""
        with self.act(what, who=who) as act:
            replotting.relabel(act, frame)

    def set_rows(
        self, blocks: Iterable[str], frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "draw rows"
    ) -> None:
        """Make the row lines of blocks (UUIDs) those of a frame (block, row, geometry)."""
        with self.act(what, who=who) as act:
            replotting.set_rows(act, blocks, frame, self.crs)

    def set_outline(
        self, block: str, outline: BaseGeometry, *, name: str | None = None, who: str = "grower", what: str = "redraw"
    ) -> None:
        """Give a block (UUID) a new outline, and a new name where one is given."""
        with self.act(what, who=who) as act:
            replotting.set_outline(act, block, outline, name=name)

    def copy_block(
        self, block: str, outline: BaseGeometry, *, name: str, who: str = "grower", what: str = "add a block"
    ) -> str:
        """Store a block with the facts of another (UUID); return its UUID."""
        with self.act(what, who=who) as act:
            return replotting.copy_block(act, block, outline, name=name)

    def remove_block(self, block: str, *, who: str = "grower", what: str = "remove a block") -> None:
        """Take out a block (UUID) that has no place any more."""
        with self.act(what, who=who) as act:
            replotting.remove_block(act, block)

    def keep_canopies(self, block: str, *, who: str = "grower", what: str = "keep canopies") -> None:
        """Give the trees of a block (UUID) its canopy as their own, before the block's is changed."""
        with self.act(what, who=who) as act:
            replotting.keep_canopies(act, block)
