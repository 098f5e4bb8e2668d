"""Write and read zones, their versions, and decisions as they were made."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from sqlalchemy import Connection, select

from api.store import frames
from api.store.ground import given_uuid, missing_to_none, whole
from api.store.history import Act, Row
from api.store.info import Zone, ZoneContent, words
from api.store.settings import to_json
from api.store.tables import DECISION, PLANT, ZONE, ZONE_RUN, ZONE_TREE
from api.store.times import now
from gridmap import checks
from gridmap.errors import InputRefused, OutlineRefused

RUN_COLUMNS = [
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
]


def add_zone(
    act: Act, content: ZoneContent, *, name: str | None, replaces: str | None, zone: str | None = None
) -> str:
    """Store a new zone, or a new version of one; return its UUID. ``content`` is described by `ZoneContent`."""
    old = None
    if replaces is not None:
        old = zone_row(act.connection, replaces)
        if act.connection.execute(select(ZONE.c.uuid).where(ZONE.c.replaces == replaces)).first():
            raise InputRefused(
                f"zone {old['name']!r} version {old['version']} was replaced already",
                None,
                "replace the latest version",
            )
    made = given_uuid(zone)
    row = _zone_columns(content)
    if "geom" not in row:
        raise OutlineRefused("the zone has no shape", None, "give its polygons")
    act.insert(
        ZONE,
        [
            {
                "settings": "{}",
                "summary": "{}",
                "loads": "[]",
                **row,
                "uuid": made,
                "name": old["name"] if old else _free_name(act.connection, name),
                "version": old["version"] + 1 if old else 1,
                "replaces": replaces,
                "frozen": 0,
                "created": now(),
            }
        ],
    )
    _add_parts(act, made, content)
    return made


def change_zone(act: Act, zone: str, content: ZoneContent) -> None:
    """Change what is given of a zone that is not frozen."""
    row = zone_row(act.connection, zone)
    if row["frozen"]:
        raise InputRefused(
            f"zone {row['name']!r} version {row['version']} is frozen",
            "it was printed or sprayed and stays as it was",
            "make a new version of it",
        )
    columns = _zone_columns(content)
    if columns:
        act.update(ZONE, zone, columns)
    for table, part in ((ZONE_TREE, "trees"), (ZONE_RUN, "runs")):
        if content.get(part) is not None:
            for old in act.connection.execute(select(table.c.uuid).where(table.c.zone_uuid == zone)).scalars().all():
                act.delete(table, old)
    _add_parts(act, zone, content)


def freeze_zone(act: Act, zone: str) -> None:
    """Freeze a zone that is printed or sprayed; freezing it again changes nothing."""
    if not zone_row(act.connection, zone)["frozen"]:
        act.update(ZONE, zone, {"frozen": 1})


def zone_row(connection: Connection, zone: str | None) -> Row:
    """Return the line of one zone, of the latest when none is named."""
    query = select(ZONE).order_by(ZONE.c.id.desc())
    if zone is not None:
        query = query.where(ZONE.c.uuid == zone)
    found = connection.execute(query).mappings().first()
    if found is None:
        raise InputRefused(
            "the grove has no zone yet" if zone is None else f"there is no zone {zone}", None, "make a zone first"
        )
    return dict(found)


def read_zone(connection: Connection, zone: str | None, crs: pyproj.CRS) -> Zone:
    """Return one zone with its runs and trees, the latest when none is named."""
    row = zone_row(connection, zone)
    run = ZONE_RUN.c
    runs = frames.shapes(
        connection,
        select(
            run.zone_uuid.label("zone"),
            run.run,
            run.block,
            run.row,
            run.from_position,
            run.to_position,
            run.side,
            run.trees,
            run.length_m,
            run.litres,
            run.load,
            run.geom.label("geometry"),
        )
        .where(run.zone_uuid == row["uuid"])
        .order_by(run.run),
        crs,
    )
    runs["load"] = pd.Series(runs["load"], dtype="float64" if runs["load"].isna().any() else "int64")
    tree = ZONE_TREE.c
    trees = frames.frame(
        connection,
        select(tree.plant_uuid.label("tree"), tree.run, tree.why)
        .where(tree.zone_uuid == row["uuid"])
        .order_by(tree.id),
    )
    return Zone(
        uuid=row["uuid"],
        name=row["name"],
        version=row["version"],
        replaces=row["replaces"],
        frozen=bool(row["frozen"]),
        walk=row["walk_uuid"],
        decision=row["decision_uuid"],
        created=row["created"],
        settings=json.loads(row["settings"]),
        summary=json.loads(row["summary"]),
        geometry=row["geom"],
        runs=runs,
        trees=trees,
        loads=pd.DataFrame(json.loads(row["loads"])),
    )


def add_decision(act: Act, made: Mapping[str, Any], *, walk: str | None) -> str:
    """Store a decision as it was made; return its UUID."""
    decision = str(uuid.uuid4())
    act.insert(DECISION, [{"uuid": decision, "walk_uuid": walk, "made": to_json(made, "decision"), "created": now()}])
    return decision


def read_decisions(connection: Connection) -> list[dict[str, Any]]:
    """Return decision (uuid), walk, created and made of every decision, oldest first."""
    found = connection.execute(select(DECISION).order_by(DECISION.c.id)).mappings()
    return [
        {"decision": row["uuid"], "walk": row["walk_uuid"], "created": row["created"], "made": json.loads(row["made"])}
        for row in found
    ]


def _zone_columns(content: ZoneContent) -> Row:
    """Return the columns of the zone itself that ``content`` gives."""
    given: dict[str, Any] = {key: value for key, value in content.items() if value is not None}
    for name in given:
        checks.one_of(name, ZoneContent.__annotations__, "what a zone holds")
    row: Row = {f"{name}_uuid": given[name] for name in ("walk", "decision") if name in given}
    row.update({name: to_json(given[name], f"{name} of the zone") for name in ("settings", "summary") if name in given})
    if "geometry" in given:
        row["geom"] = _multipolygon(given["geometry"])
    if "loads" in given:
        lines = pd.DataFrame(given["loads"]).to_dict("records")
        row["loads"] = to_json(
            [{key: missing_to_none(value) for key, value in line.items()} for line in lines], "loads of the zone"
        )
    return row


def _multipolygon(geometry: BaseGeometry) -> MultiPolygon:
    if isinstance(geometry, Polygon):
        geometry = MultiPolygon([] if geometry.is_empty else [geometry])
    if not isinstance(geometry, MultiPolygon):
        raise OutlineRefused(f"the zone is a {geometry.geom_type}", "it must be polygons")
    if not geometry.is_valid:
        raise OutlineRefused("the zone crosses or touches itself", "its polygons must be simple", "dissolve them first")
    return geometry


def _free_name(connection: Connection, name: str | None) -> str:
    """Return the name of a new zone: the one given, or the next number."""
    used = set(connection.execute(select(ZONE.c.name)).scalars())
    if name is None:
        return next(f"zone {number}" for number in range(1, len(used) + 2) if f"zone {number}" not in used)
    name = words(name, "name of the zone")
    if name in used:
        raise InputRefused(
            f"zone {name!r} is in the grove already", None, "make a new version of it, or name it otherwise"
        )
    return name


def _add_parts(act: Act, zone: str, content: ZoneContent) -> None:
    """Store the runs and the trees of a zone."""
    if content.get("runs") is not None:
        act.insert(ZONE_RUN, _run_rows(zone, content["runs"]))
    if content.get("trees") is not None:
        trees = pd.DataFrame(content["trees"])
        checks.columns(trees, ["tree", "why"], "trees of the zone")
        known = set(act.connection.execute(select(PLANT.c.uuid)).scalars())
        rows = []
        for line in trees.to_dict("records"):
            if line["tree"] not in known:
                raise InputRefused(f"there is no tree {line['tree']}")
            run = missing_to_none(line.get("run"))
            why = checks.one_of(line["why"], ("chosen", "margin", "added", "dropped"), "why of a tree")
            rows.append(
                {
                    "uuid": str(uuid.uuid4()),
                    "zone_uuid": zone,
                    "plant_uuid": line["tree"],
                    "run": None if run is None else whole(run, "run", least=0),
                    "why": why,
                }
            )
        act.insert(ZONE_TREE, rows)


def _run_rows(zone: str, runs: gpd.GeoDataFrame) -> list[Row]:
    """Return the lines of the run list; which load a run begins with may not be known yet."""
    checks.columns(runs, ["run", "block", "row", "from_position", "to_position", "trees"], "runs")
    rows = []
    for line in pd.DataFrame(runs).to_dict("records"):
        line = {str(key): missing_to_none(value) for key, value in line.items()}
        row: Row = {name: line.get(name) for name in RUN_COLUMNS if name != "geometry"}
        for name in ("run", "row", "from_position", "to_position", "trees"):
            row[name] = whole(row[name], name.replace("_", " "), least=0)
        for name in ("length_m", "litres"):
            row[name] = None if row[name] is None else checks.number(row[name], name, least=0.0)
        row["load"] = None if row["load"] is None else whole(row["load"], "load", least=1)
        rows.append({**row, "uuid": str(uuid.uuid4()), "zone_uuid": zone, "geom": line.get("geometry")})
    return rows
