"""A grove as the rest of gridmap sees it: frames come out and go in, every change is an act in its history."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Self, Unpack

import geopandas as gpd
import pandas as pd
from sqlalchemy import Connection

from api.store import counts, ground, history, info, settings, terrain, zones
from api.store.history import Act
from api.store.info import Stored, ZoneContent
from api.store.tables import GROVE
from api.store.treating import GroveTreatments
from api.store.walking import GroveWalks
from gridmap.errors import GroveReadOnly


class Grove(GroveWalks, GroveTreatments):
    """A grove, wherever it is kept: `GroveFile` is one in a file, `GroveDatabase` one in a shared database.

    Opened by `api.store.open_grove`; use it in a ``with`` block, from one thread. Geometries are in the grove's CRS.
    Every writing method is one transaction with its history; ``with grove.act(...)`` makes one of several.
    """

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the grove; in a file, a write-ahead log that another program left is folded in."""
        if not self.read_only:
            with self._backend.told():
                self._backend.settle()

    @contextmanager
    def acts_together(self) -> Iterator[None]:
        """Write several acts in one transaction: all or none are kept, and each is taken back alone."""
        if self.read_only:
            raise GroveReadOnly(f"{self._backend.name} was opened for reading only", None, "open it for writing")
        with self._backend.told():
            with self._backend.writing() as connection:
                history.begin_own_write(connection)
                self._together = connection
                try:
                    yield
                    history.end_own_write(connection)
                finally:
                    self._together = self._grove = None
            self._backend.settle()

    @contextmanager
    def beside_history(self) -> Iterator[Connection]:
        """Write what is no part of the history (`api.store.devices`): an undo never touches it."""
        if self.read_only:
            raise GroveReadOnly(f"{self._backend.name} was opened for reading only", None, "open it for writing")
        with self._backend.told():
            with self._backend.writing() as connection:
                yield connection
            self._backend.settle()

    @contextmanager
    def act(self, what: str, *, who: str = "grower") -> Iterator[Act]:
        """Group changes into one act: all or nothing, and undone together. Inside another act it is part of that."""
        if self._act is not None:
            yield self._act
            return
        if self._together is not None:
            self._act = Act(self._together, who=who, what=what, srs_id=self.grove.crs_code)
            try:
                yield self._act
                self._act.finish()
            finally:
                self._act = None
            return
        if self.read_only:
            raise GroveReadOnly(f"{self._backend.name} was opened for reading only", None, "open it for writing")
        with self._backend.told():
            with self._backend.writing() as connection:
                history.begin_own_write(connection)
                self._act = Act(connection, who=who, what=what, srs_id=self.grove.crs_code)
                try:
                    yield self._act
                    self._act.finish()
                    history.end_own_write(connection)
                finally:
                    self._act = self._grove = None
            self._backend.settle()

    def add_blocks(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add blocks") -> list[str]:
        """Store new blocks (`blocks` contract; only block and geometry must be there); return their UUIDs."""
        with self.act(what, who=who) as act:
            return ground.add_blocks(act, frame, self.crs)

    def set_block(
        self, block: str, *, who: str = "grower", what: str = "change a block", **facts: float | None
    ) -> None:
        """Change facts of the block with this UUID: bearings [degrees], spacings, headland and canopy [m]."""
        with self.act(what, who=who) as act:
            ground.set_block(act, block, facts)

    def add_keep_outs(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add keep-outs") -> list[str]:
        """Store new keep-outs (kind, setback_m, geometry; name, keep_out if known); return their UUIDs."""
        with self.act(what, who=who) as act:
            return ground.add_keep_outs(act, frame, self.crs)

    def add_rows(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add rows") -> list[str]:
        """Store the lines of new rows (block, row, geometry); return their UUIDs."""
        with self.act(what, who=who) as act:
            return ground.add_rows(act, frame, self.crs)

    def add_places_and_plants(
        self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add trees"
    ) -> pd.DataFrame:
        """Store new places and the plants in them.

        Parameters
        ----------
        frame : GeoDataFrame
            block, row, position, geometry (Point); if known place, tree (UUIDs), elevation_m, upslope_m,
            canopy_height_m, canopy_width_m (of this tree alone), planted (day), status (alive, gone, or gap for a
            place without a plant).
        who, what : str
            For the history.

        Returns
        -------
        DataFrame
            block, row, position, place, tree in the order given.

        Raises
        ------
        RowsRefused
            With every bad line; nothing was stored.
        """
        with self.act(what, who=who) as act:
            return ground.add_places_and_plants(act, frame, self.crs)

    def set_terrain(
        self, source: str, content: Mapping[str, Any], *, who: str = "grower", what: str = "read heights"
    ) -> str:
        """Store where heights come from (fields of `api.store.terrain.Terrain`), once for each source."""
        with self.act(what, who=who) as act:
            return terrain.set_terrain(act, source, dict(content))

    def set_places(self, frame: pd.DataFrame, *, who: str = "grower", what: str = "tell heights") -> int:
        """Store elevation_m and upslope_m of places; rows and positions stay. Return how many places changed."""
        with self.act(what, who=who) as act:
            return terrain.set_places(act, frame)

    def add_points(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add points") -> list[str]:
        """Store new gates and refill points (name, kind, geometry); return their UUIDs."""
        with self.act(what, who=who) as act:
            return terrain.add_points(act, frame, self.crs)

    def add_walk(
        self,
        date: object,
        *,
        name: str | None = None,
        observer: str | None = None,
        note: str | None = None,
        walk: str | None = None,
        who: str = "grower",
        what: str = "add a walk",
    ) -> str:
        """Store a walk on a day of the grove's own calendar; return its UUID. Sent again, it is stored once."""
        with self.act(what, who=who) as act:
            return counts.add_walk(act, on=date, name=name, observer=observer, note=note, walk=walk)

    def add_counts(
        self, frame: pd.DataFrame, catch: pd.DataFrame | None = None, *, who: str = "grower", what: str = "add counts"
    ) -> Stored:
        """Store counts (`counts` contract) with their catch (`catch` contract), all or nothing.

        A UUID that is stored with the same content counts as already there.

        Raises
        ------
        RowsRefused
            With every bad line, and every UUID that is stored with other content (both shown); nothing was stored.
        """
        with self.act(what, who=who) as act:
            return counts.add_counts(act, frame, catch)

    def set_setting(self, name: str, value: Mapping[str, Any], *, who: str = "grower", what: str | None = None) -> None:
        """Store what the grower typed (threshold, prices, sprayer, label, ...); the history keeps earlier values."""
        with self.act(what or f"set {name}", who=who) as act:
            settings.set_setting(act, name, value)

    def set_grove(self, *, who: str = "grower", what: str = "change the grove", **fields: Any) -> None:
        """Change name, region, time_zone, season_start, currency or uphill_bearing_deg of the grove."""
        checked = info.grove_fields(fields)
        grove = self.grove.uuid
        with self.act(what, who=who) as act:
            act.update(GROVE, grove, checked)
            self._grove = None

    def add_decision(
        self, made: Mapping[str, Any], *, walk: str | None = None, who: str = "grower", what: str = "decide"
    ) -> str:
        """Store a decision as it was made; return its UUID."""
        with self.act(what, who=who) as act:
            return zones.add_decision(act, made, walk=walk)

    def add_zone(
        self,
        *,
        name: str | None = None,
        replaces: str | None = None,
        zone: str | None = None,
        who: str = "grower",
        what: str = "make a zone",
        **content: Unpack[ZoneContent],
    ) -> str:
        """Store a zone, or a new version of the one it ``replaces`` (UUID); return its UUID.

        Without a name it gets a number, without a UUID (``zone``) a new one. What it holds is in `ZoneContent`; the
        geometry alone must be given.
        """
        with self.act(what, who=who) as act:
            return zones.add_zone(act, content, name=name, replaces=replaces, zone=zone)

    def change_zone(
        self, zone: str, *, who: str = "grower", what: str = "change a zone", **content: Unpack[ZoneContent]
    ) -> None:
        """Change what is given of a zone; a frozen zone is refused."""
        with self.act(what, who=who) as act:
            zones.change_zone(act, zone, content)

    def freeze_zone(self, zone: str, *, who: str = "grower", what: str = "freeze a zone") -> None:
        """Freeze a zone, since it is printed or sprayed."""
        with self.act(what, who=who) as act:
            zones.freeze_zone(act, zone)

    def undo(self, act: str, *, who: str = "grower") -> None:
        """Take back an act, if nothing has touched its entries since; the undo is an act of its own.

        Raises
        ------
        InputRefused
            When there is no such act, a later one changed its entries, or others hang on them.
        """
        with self.act("undo", who=who) as undoing:
            history.undo(undoing, act)

    def take_in_outside_edits(self, *, who: str = "another program") -> int:
        """Write what a desktop GIS edited into the history; return how many entries. Opening the file does it."""
        with self._reading() as connection:
            waiting = history.outside_edits(connection)
        if not waiting:
            return 0
        with self.act("edited outside gridmap", who=who) as act:
            return history.take_in_outside_edits(act)
