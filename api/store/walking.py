"""The part of a grove for planned walks, and for what phones record on them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any

import pandas as pd
from sqlalchemy import Select, select

from api.store import events, frames, moving, plans
from api.store.events import Answer
from api.store.history import Act
from api.store.reader import GroveReader
from api.store.tables import COUNT, COUNT_DETAIL, SIGHTING


class GroveWalks(GroveReader):
    """What belongs to a walk beside its counts; each writing method is an act, or part of the one around it."""

    act: Callable[..., AbstractContextManager[Act]]

    def add_plan(
        self, content: Mapping[str, Any], *, date: object, settings: Mapping[str, Any], name: str | None = None,
        plan: str | None = None, walk: str | None = None, who: str = "grower", what: str = "plan a walk",
    ) -> str:
        """Store a planned walk (trees in order, verdicts) with its settings; return its UUID."""
        with self.act(what, who=who) as act:
            return plans.add_plan(
                act, plan=plan, walk=walk, date=date, name=name, settings=settings, content=content
            )

    def plans(self) -> list[dict[str, Any]]:
        """Return every planned walk, the newest last."""
        with self._reading() as connection:
            return plans.plans(connection)

    def plan(self, plan: str | None = None) -> dict[str, Any]:
        """Return one planned walk (UUID), the newest when none is named."""
        with self._reading() as connection:
            return plans.read_plan(connection, plan)

    def take_in(
        self, walk: str, device: str, given: Sequence[Mapping[str, Any]], *, who: str = "grower",
        what: str = "record on a walk",
    ) -> list[Answer]:
        """Store events of one walk and device, each once and by itself; say what became of each."""
        with self.act(what, who=who) as act:
            return events.take_in(act, walk, device, given)

    def move_counts(
        self, walk: str, moves: Mapping[str, str], *, who: str = "grower", what: str = "move counts"
    ) -> int:
        """Give counts (UUID) of a walk to other trees (UUID), in one act; return the walk's clock after it."""
        with self.act(what, who=who) as act:
            return moving.move_counts(act, walk, moves)

    def events(self, walk: str, *, after: int = 0, most: int | None = None) -> list[dict[str, Any]]:
        """Return what was recorded on a walk, in the order of arrival, what was overtaken among it."""
        with self._reading() as connection:
            return events.ledger(connection, walk, after, most)

    def arrived(self, given: Iterable[Mapping[str, Any]]) -> set[str]:
        """Return which of some events the ledger holds."""
        with self._reading() as connection:
            return set(events.look_up(connection, given).arrived)

    def clock(self, walk: str) -> int:
        """Return the greatest clock of a walk's events."""
        with self._reading() as connection:
            return events.clock_of(connection, walk)

    def count_details(self, walks: str | Iterable[str] | None = None) -> pd.DataFrame:
        """Return count, wet, windy (1, 0 or missing), longitude, latitude [degrees], note."""
        table = COUNT_DETAIL.c
        query = select(
            table.count_uuid.label("count"), table.wet, table.windy, table.longitude, table.latitude, table.note
        ).order_by(table.id)
        of = frames.listed(walks)
        if of is not None:
            query = query.join(COUNT, COUNT.c.uuid == table.count_uuid).where(COUNT.c.walk_uuid.in_(of))
        return self._floats(query, ("wet", "windy", "longitude", "latitude"))

    def sightings(self, walks: str | Iterable[str] | None = None) -> pd.DataFrame:
        """Return sighting, walk, tree, time, what, note, longitude, latitude, accuracy_m, observer."""
        table = SIGHTING.c
        query = select(
            table.uuid.label("sighting"), table.walk_uuid.label("walk"), table.plant_uuid.label("tree"), table.time,
            table.what, table.note, table.longitude, table.latitude, table.accuracy_m, table.observer,
        ).order_by(table.id)
        of = frames.listed(walks)
        return self._floats(query if of is None else query.where(table.walk_uuid.in_(of)), ("longitude", "latitude"))

    def _floats(self, query: Select[Any], names: Sequence[str]) -> pd.DataFrame:
        with self._reading() as connection:
            found = frames.frame(connection, query)
        for name in names:
            found[name] = found[name].astype("float64")
        return found
