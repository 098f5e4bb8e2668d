"""Keep cover surveys, seed-head checks, slashes and running grasses; each entry once, by its UUID."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
from sqlalchemy import Connection, Table, select

from api.store import frames
from api.store.ground import block_uuids, day, frame_lines, given_uuid, missing_to_none, one_shape, whole
from api.store.history import Act, Row
from api.store.info import Stored, words
from api.store.reader import GroveReader
from api.store.tables import BLOCK, COVER, COVER_SURVEY, RUNNING_GRASS, SEED_CHECK, SLASH
from gridmap import checks
from gridmap.errors import InputRefused

SHARES = ("grass", "dead_grass", "litter", "rock", "bare", "grass_cover", "ground_cover")
_FIGURES = ("standard_error", "weight", "upslope_m", "height_cm", "area_m2")
_MOST_TEXT = 2_000


class GroveSward(GroveReader):
    """What a grove holds of its sward; each writing method is an act, or part of the one around it."""

    act: Callable[..., AbstractContextManager[Act]]

    def cover_surveys(self) -> pd.DataFrame:
        """Return survey (uuid), date (YYYY-MM-DD), name, observer, note, about (dict), oldest first."""
        table = COVER_SURVEY.c
        query = select(
            table.uuid.label("survey"), table.date, table.name, table.observer, table.note, table.about
        ).order_by(table.date, table.id)
        with self._reading() as connection:
            found = frames.frame(connection, query)
        found["about"] = pd.Series([json.loads(value) for value in found["about"]], dtype="object")
        return found

    def cover(self, surveys: str | Iterable[str] | None = None) -> gpd.GeoDataFrame:
        """Return the `cover` contract of one survey, some, or all (None), oldest first."""
        table, of = COVER.c, frames.listed(surveys)
        query = (
            select(
                table.uuid.label("look"), table.survey_uuid.label("survey"), COVER_SURVEY.c.date,
                BLOCK.c.name.label("block"), table.row, table.position, table.upslope_m, table.geom.label("geometry"),
                *(table[name] for name in SHARES), table.standard_error, table.weight, table.method, table.time,
                table.observer, table.noted,
            )
            .join_from(COVER, COVER_SURVEY, COVER.c.survey_uuid == COVER_SURVEY.c.uuid)
            .join(BLOCK, COVER.c.block_uuid == BLOCK.c.uuid)
            .order_by(COVER_SURVEY.c.date, table.id)
        )  # fmt: skip
        with self._reading() as connection:
            found = frames.shapes(
                connection, query if of is None else query.where(table.survey_uuid.in_(of)), self.crs
            )
        return _numbers(found, SHARES)

    def seed_checks(self) -> pd.DataFrame:
        """Return check (uuid), date, block, from_row, to_row, grass, heads, shed, observer, note, oldest first."""
        return self._in_parts(SEED_CHECK, "check", ("grass", "heads", "shed", "observer", "note"))

    def slashes(self) -> pd.DataFrame:
        """Return slash (uuid), date, block, from_row, to_row, height_cm, left_rows (list), observer, note."""
        found = self._in_parts(SLASH, "slash", ("height_cm", "left_rows", "observer", "note"))
        found["left_rows"] = pd.Series([json.loads(value) for value in found["left_rows"]], dtype="object")
        return found

    def running_grasses(self) -> gpd.GeoDataFrame:
        """Return sighting (uuid), patch, grass, date, area_m2, climbs, note, geometry, oldest first."""
        table = RUNNING_GRASS.c
        query = select(
            table.uuid.label("sighting"), table.patch, table.grass, table.date, table.area_m2, table.climbs, table.note,
            table.geom.label("geometry"),
        ).order_by(table.date, table.id)  # fmt: skip
        with self._reading() as connection:
            found = _numbers(frames.shapes(connection, query, self.crs))
        return found.assign(climbs=found["climbs"].astype(bool))

    def _in_parts(self, table: Table, name: str, more: tuple[str, ...]) -> pd.DataFrame:
        query = (
            select(
                table.c.uuid.label(name), table.c.date, BLOCK.c.name.label("block"), table.c.from_row, table.c.to_row,
                *(table.c[column] for column in more),
            )
            .join_from(table, BLOCK, table.c.block_uuid == BLOCK.c.uuid)
            .order_by(table.c.date, table.c.id)
        )  # fmt: skip
        with self._reading() as connection:
            found = frames.frame(connection, query)
        return _numbers(found.astype({"from_row": "Int64", "to_row": "Int64"}))

    def add_cover_survey(
        self, date: object, *, survey: str | None = None, name: str | None = None, observer: str | None = None,
        note: str | None = None, about: Mapping[str, Any] | None = None, who: str = "grower",
        what: str = "add a cover survey",
    ) -> str:  # fmt: skip
        """Store a cover survey on a day of the grove's own calendar; return its UUID. Sent again, it is stored once."""
        with self.act(what, who=who) as act:
            row: Row = {
                "uuid": given_uuid(survey), "date": _day(date, "survey"), "name": _text(name, "name of a survey"),
                "observer": _text(observer, "observer"), "note": _text(note, "note"), "about": _json(about or {}),
            }  # fmt: skip
            return _once(act, COVER_SURVEY, [row], "survey")[0][0]

    def add_cover(self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "add cover") -> Stored:
        """Store cover (`cover` contract: look if known, survey, block, row, geometry, shares, method), each once."""
        with self.act(what, who=who) as act:
            return _once(act, COVER, _cover_rows(act.connection, frame, self.crs), "look")[1]

    def add_seed_checks(self, frame: pd.DataFrame, *, who: str = "grower", what: str = "add seed checks") -> Stored:
        """Store seed-head checks (check if known, date, block, from_row, to_row, grass, heads, shed), each once."""
        with self.act(what, who=who) as act:
            blocks = block_uuids(act.connection)
            rows = []
            for line in frame.to_dict("records"):
                heads = whole(line["heads"], "heads looked at", least=1)
                shed = whole(line["shed"], "heads that shed", least=0)
                if shed > heads:
                    raise InputRefused(f"{shed} of {heads} heads had shed", "it can't be more than were looked at")
                rows.append({
                    **_part(blocks, line), "uuid": given_uuid(missing_to_none(line.get("check"))),
                    "grass": _text(line.get("grass"), "grass"), "heads": heads, "shed": shed,
                    "observer": _text(line.get("observer"), "observer"), "note": _text(line.get("note"), "note"),
                })  # fmt: skip
            return _once(act, SEED_CHECK, rows, "seed check")[1]

    def add_slashes(self, frame: pd.DataFrame, *, who: str = "grower", what: str = "log a slash") -> Stored:
        """Store slashes (slash if known, date, block, from_row, to_row, height_cm, left_rows), each once."""
        with self.act(what, who=who) as act:
            blocks = block_uuids(act.connection)
            rows = []
            for line in frame.to_dict("records"):
                height = missing_to_none(line.get("height_cm"))
                left = sorted(whole(row, "row left standing", least=1) for row in line.get("left_rows") or [])
                rows.append({
                    **_part(blocks, line), "uuid": given_uuid(missing_to_none(line.get("slash"))),
                    "height_cm": None if height is None else checks.number(height, "height", "cm", over=0.0, most=200),
                    "left_rows": json.dumps(left), "observer": _text(line.get("observer"), "observer"),
                    "note": _text(line.get("note"), "note"),
                })  # fmt: skip
            return _once(act, SLASH, rows, "slash")[1]

    def add_running_grasses(
        self, frame: gpd.GeoDataFrame, *, who: str = "grower", what: str = "pin a running grass"
    ) -> Stored:
        """Store sightings of running grasses (sighting if known, patch, grass, date, area_m2, climbs, geometry)."""
        with self.act(what, who=who) as act:
            rows: list[Row] = [
                {
                    "uuid": given_uuid(missing_to_none(line.get("sighting"))), "date": _day(line["date"], "sighting"),
                    "patch": words(line["patch"], "patch"), "grass": _text(line.get("grass"), "grass"),
                    "area_m2": checks.number(line["area_m2"], "area of a patch", "m2", least=0.0),
                    "climbs": int(bool(line.get("climbs"))), "note": _text(line.get("note"), "note"),
                    "geom": one_shape(line["geometry"], "Point", f"patch {line['patch']!r}"),
                }
                for line in frame_lines(frame, ["patch", "date", "area_m2", "geometry"], "running grasses", self.crs)
            ]  # fmt: skip
            return _once(act, RUNNING_GRASS, rows, "sighting")[1]


def _cover_rows(connection: Connection, frame: gpd.GeoDataFrame, crs: pyproj.CRS) -> list[Row]:
    """Return cover as the store holds it, each line checked."""
    surveys = set(connection.execute(select(COVER_SURVEY.c.uuid)).scalars())
    blocks = block_uuids(connection)
    needed = ["survey", "block", "row", "method", "grass_cover", "standard_error", "weight", "geometry"]
    rows: list[Row] = []
    for line in frame_lines(frame, needed, "cover", crs):
        if line["survey"] not in surveys:
            raise InputRefused(f"there is no survey {line['survey']}", None, "add the survey first")
        shares = {name: missing_to_none(line.get(name)) for name in SHARES}
        upslope, position = missing_to_none(line.get("upslope_m")), missing_to_none(line.get("position"))
        rows.append({
            "uuid": given_uuid(missing_to_none(line.get("look"))), "survey_uuid": line["survey"],
            "block_uuid": _block(blocks, line["block"]), "row": whole(line["row"], "row", least=1),
            "position": None if position is None else whole(position, "position", least=1),
            "upslope_m": None if upslope is None else checks.number(upslope, "metres upslope", "m"),
            "time": missing_to_none(line.get("time")), "method": words(line["method"], "method"),
            **{name: None if value is None else round(float(value), 9) for name, value in shares.items()},
            "standard_error": round(checks.number(line["standard_error"], "standard error", least=0.0), 6),
            "weight": round(checks.number(line["weight"], "weight", over=0.0), 3),
            "noted": _json(line.get("noted") or {}), "observer": _text(line.get("observer"), "observer"),
            "geom": one_shape(line["geometry"], "Point", "a look"),
        })  # fmt: skip
    return rows


def _once(act: Act, table: Table, rows: list[Row], thing: str) -> tuple[list[str], Stored]:
    """Insert rows that are not there; one that is there with other content is refused."""
    given = {row["uuid"]: row for row in rows}
    held = {
        row["uuid"]: dict(row)
        for row in act.connection.execute(select(table).where(table.c.uuid.in_(list(given)))).mappings()
    }
    for uuid, row in held.items():
        # Where a row lies may have been told better since; that is no other content
        told = {name: value for name, value in given[uuid].items() if name not in ("geom", "upslope_m")}
        differing = [name for name, value in told.items() if not _same(row[name], value)]
        if differing:
            raise InputRefused(
                f"{thing} {uuid} is stored already with other content: {', '.join(differing)}", None,
                "take the stored one back first",
            )  # fmt: skip
    new = [row for uuid, row in given.items() if uuid not in held]
    act.insert(table, new)
    return list(given), Stored(new=len(new), already=len(rows) - len(new))


def _same(held: object, given: object) -> bool:
    if isinstance(held, float) and isinstance(given, (int, float)):
        return bool(np.isclose(held, given))
    return held == given


def _part(blocks: Mapping[str, str], line: Mapping[Any, Any]) -> Row:
    """Return date, block and rows of a part of the grove."""
    first, last = (missing_to_none(line.get(name)) for name in ("from_row", "to_row"))
    first, last = (None if row is None else whole(row, "row", least=1) for row in (first, last))
    if (first is None) != (last is None) or (first is not None and last is not None and first > last):
        raise InputRefused(f"rows are {first} to {last}", "both are told, the first no greater than the last", None)
    return {
        "date": _day(line["date"], "entry"), "block_uuid": _block(blocks, line["block"]), "from_row": first,
        "to_row": last,
    }  # fmt: skip


def _day(value: object, name: str) -> str:
    found = day(value, name)
    if found is None:
        raise InputRefused(f"the day of the {name} is not said", "it must be a day such as 2026-02-03")
    return found


def _block(blocks: Mapping[str, str], name: object) -> str:
    if name not in blocks:
        raise InputRefused(f"there is no block {name!r}", f"the grove has {', '.join(sorted(blocks)) or 'none'}")
    return blocks[str(name)]


def _text(value: object, name: str) -> str | None:
    value = missing_to_none(value)
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    text = words(value, name)
    if len(text) > _MOST_TEXT:
        raise InputRefused(f"{name} has {len(text):,} characters", f"at most {_MOST_TEXT:,} are kept")
    return text


def _json(value: Mapping[str, Any] | str) -> str:
    return value if isinstance(value, str) else json.dumps(value, sort_keys=True, ensure_ascii=False)


def _numbers(found: Any, more: tuple[str, ...] = ()) -> Any:
    """Make figures floats whether or not there are rows."""
    return found.astype({name: "float64" for name in (*_FIGURES, *more) if name in found.columns})
