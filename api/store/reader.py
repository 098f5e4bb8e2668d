"""What can be asked of a grove: everything comes out as the frames that the rooms have agreed on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from sqlalchemy import Connection, func, select

from api.store import devices, frames, settings, terrain, versions, zones
from api.store.backend import Backend
from api.store.devices import Device
from api.store.history import Act
from api.store.info import GroveInfo, Zone
from api.store.tables import CHANGE, GROVE


class GroveReader:
    """The asking half of `api.store.Grove`; geometries come out in the grove's CRS [m]."""

    def __init__(self, backend: Backend, *, read_only: bool, set_aside: Path | str | None) -> None:
        self.read_only = read_only
        self.set_aside = set_aside
        self._backend = backend
        self._act: Act | None = None
        self._together: Connection | None = None
        self._grove: GroveInfo | None = None
        self.crs: pyproj.CRS = pyproj.CRS.from_epsg(self.grove.crs_code)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """Read one state of the grove; inside an act, what it has written so far."""
        writing = self._together if self._act is None else self._act.connection
        if writing is not None:
            yield writing
            return
        with self._backend.told(), self._backend.reading() as connection:
            yield connection

    @property
    def grove(self) -> GroveInfo:
        """What the store says of the grove itself."""
        if self._grove is None:
            with self._reading() as connection:
                row = dict(connection.execute(select(GROVE)).mappings().one())
            self._grove = GroveInfo(
                **{name: value for name, value in row.items() if name not in ("id", "invented")},
                invented=bool(row["invented"]),
            )
        return self._grove

    def blocks(self) -> gpd.GeoDataFrame:
        """Return the `blocks` contract: outlines with spacings, canopy and map area [ha]."""
        with self._reading() as connection:
            return frames.blocks(connection, self.crs)

    def rows(self) -> gpd.GeoDataFrame:
        """Return block, row, geometry (LineString), uuid."""
        with self._reading() as connection:
            return frames.rows(connection, self.crs)

    def keep_outs(self) -> gpd.GeoDataFrame:
        """Return the `keep_outs` contract."""
        with self._reading() as connection:
            return frames.keep_outs(connection, self.crs)

    def trees(self, *, include_gone: bool = False) -> gpd.GeoDataFrame:
        """Return the `trees` contract: the living, or also those that are gone."""
        with self._reading() as connection:
            return frames.trees(connection, self.crs, include_gone=include_gone)

    def places(self) -> gpd.GeoDataFrame:
        """Return place, block, row, position, geometry, elevation_m, upslope_m, tree (None in a gap)."""
        with self._reading() as connection:
            return frames.places(connection, self.crs)

    def walks(self) -> pd.DataFrame:
        """Return the `walks` contract, oldest first."""
        with self._reading() as connection:
            return frames.walks(connection)

    def counts(self, walks: str | Iterable[str] | None = None) -> pd.DataFrame:
        """Return the `counts` contract of one walk, some, or all (None)."""
        with self._reading() as connection:
            return frames.counts(connection, frames.listed(walks))

    def catch(self, walks: str | Iterable[str] | None = None) -> pd.DataFrame:
        """Return the `catch` contract of one walk, some, or all (None)."""
        with self._reading() as connection:
            return frames.catch(connection, frames.listed(walks))

    def setting(self, name: str) -> dict[str, Any] | None:
        """Return one of the grower's settings as typed, None when it was never given."""
        return self.settings().get(name)

    def settings(self) -> dict[str, dict[str, Any]]:
        """Return all settings by name."""
        with self._reading() as connection:
            return settings.read_settings(connection)

    def zones(self) -> gpd.GeoDataFrame:
        """Return zone (uuid), name, version, frozen, walk, created, geometry, area_ha, oldest first."""
        with self._reading() as connection:
            return frames.zones(connection, self.crs)

    def zone(self, zone: str | None = None) -> Zone:
        """Return one version of a zone with its runs, trees and loads; the latest when none is named."""
        with self._reading() as connection:
            return zones.read_zone(connection, zone, self.crs)

    def terrain(self) -> dict[str, terrain.Terrain]:
        """Return where heights come from, by source ("dem", "heights"); empty where none were read."""
        with self._reading() as connection:
            return terrain.read_terrain(connection)

    def points(self) -> gpd.GeoDataFrame:
        """Return point (uuid), name, kind (gate, refill, other), geometry."""
        with self._reading() as connection:
            return terrain.points(connection, self.crs)

    def decisions(self) -> list[dict[str, Any]]:
        """Return decision (uuid), walk, created and made of every decision, oldest first."""
        with self._reading() as connection:
            return zones.read_decisions(connection)

    def history(self, limit: int | None = 100) -> pd.DataFrame:
        """Return act, who, at (UTC), what, table, row (uuid), before, after (JSON), newest first."""
        with self._reading() as connection:
            return frames.history(connection, limit)

    def acts(self, limit: int | None = 20) -> pd.DataFrame:
        """Return act (uuid), who, at (UTC), what, rows (how many), newest first: what can be undone."""
        with self._reading() as connection:
            query = (
                select(CHANGE.c.act, CHANGE.c.who, CHANGE.c.at, CHANGE.c.what, func.count().label("rows"))
                .group_by(CHANGE.c.act, CHANGE.c.who, CHANGE.c.at, CHANGE.c.what)
                .order_by(func.max(CHANGE.c.id).desc())
            )
            return frames.frame(connection, query if limit is None else query.limit(limit))

    def state(self) -> tuple[int, int]:
        """Return the number of the last change of the grove, and how many edits by other programs wait."""
        with self._reading() as connection:
            return versions.state(connection)

    def version(self, table_name: str, row_uuid: str) -> int:
        """Return the version of one row, 0 where it never was; a setting goes by its name."""
        with self._reading() as connection:
            return versions.version(connection, table_name, row_uuid)

    def versions(self, table_name: str) -> dict[str, int]:
        """Return the version (number of the last change) of every row of a table by its UUID."""
        with self._reading() as connection:
            return versions.versions(connection, table_name)

    def device(self, token: str) -> Device | None:
        """Return the device that holds a token, None where none does or it was shut out."""
        with self._reading() as connection:
            return devices.known(connection, token)

    def invited(self, code: str) -> bool:
        """Tell whether a pairing code is good for this grove."""
        with self._reading() as connection:
            return devices.invited(connection, code) is not None

    def devices(self) -> list[Device]:
        """Return every device that ever was let in over the network, oldest first."""
        with self._reading() as connection:
            return devices.listed(connection)

    def backup(self, target: str | Path) -> Path:
        """Copy the grove to a file while it is in use; the copy is checked and appears at once or not at all."""
        return self._backend.backup(Path(target))
