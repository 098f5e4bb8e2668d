"""The half of `GroveFile` for treatments: their records, check trees and the weather they are judged by."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager
from typing import Any

import pandas as pd
from sqlalchemy import Connection

from api.store import treatments
from api.store.changing import GroveChanges
from api.store.treatments import StoredTreatment


class GroveTreatments(GroveChanges):
    """What is kept of treatments. Records stand beside the history: they are corrected, never taken back."""

    beside_history: Callable[[], AbstractContextManager[Connection]]

    def add_treatment(
        self, *, zone: str, name: str, profile: str, facts: Mapping[str, Any], treatment: str | None = None
    ) -> str:
        """Store a treatment of a zone (UUID) with the facts as they stand; return its UUID."""
        with self.beside_history() as connection:
            return treatments.add_treatment(
                connection, zone=zone, name=name, profile=profile, facts=facts, treatment=treatment
            )

    def add_entries(
        self, treatment: str, entries: Iterable[Mapping[str, Any]], *, who: str = "grower"
    ) -> dict[str, int]:
        """Write down entries (kind, at, content; uuid, corrects) of a treatment, all or none; each UUID once."""
        with self.beside_history() as connection:
            return treatments.add_entries(connection, treatment, list(entries), who=who)

    def treatments(self) -> list[StoredTreatment]:
        """Return all treatments with their entries, oldest first."""
        with self._reading() as connection:
            return treatments.read_treatments(connection)

    def treatment(self, treatment: str) -> StoredTreatment:
        """Return one treatment with its entries."""
        with self._reading() as connection:
            return treatments.read_treatments(connection, treatment)[0]

    def set_check_trees(
        self, zone: str, trees: Iterable[str], *, who: str = "grower", what: str = "leave check trees"
    ) -> None:
        """Let these trees (UUIDs) of a zone stay unsprayed, in place of those named before."""
        with self.act(what, who=who) as act:
            treatments.set_check_trees(act, zone, trees)

    def check_trees(self, zone: str) -> list[str]:
        """Return the trees (UUIDs) of a zone that stay unsprayed."""
        with self._reading() as connection:
            return treatments.read_check_trees(connection, zone)

    def set_weather(
        self, name: str, hours: pd.DataFrame, told: Mapping[str, Any], *, who: str = "grower",
        what: str = "read weather",
    ) -> int:
        """Keep a weather table (time in UTC, and columns of `gridmap.exchange.read_weather`) under its name."""
        with self.act(what, who=who) as act:
            return treatments.set_weather(act, name, hours, told)

    def weather(self, name: str | None = None) -> tuple[str, pd.DataFrame, dict[str, Any]] | None:
        """Return name, hours and what was told of a weather table, the latest when none is named."""
        with self._reading() as connection:
            return treatments.read_weather(connection, name)
