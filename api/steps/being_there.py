"""Where the phone was, and what a count is held against: tree, day, earlier counts, blocks."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from api.steps.facts import facts_of
from api.steps.opening import open_grove
from api.steps.outcome import plain
from api.store import Grove
from api.store.refusals import NotThere
from gridmap.walk import Circumstances
from gridmap.walk.mistakes import ELSEWHERE_FROM


class Ground:
    """What counts of one walk are held against; told of each that is stored."""

    def __init__(self, grove: Grove, walk: str, day: dt.date) -> None:
        trees = grove.trees(include_gone=True)
        self._trees = {str(row["tree"]): row for row in trees.to_dict("records")}
        self._blocks = grove.blocks()
        self._shapes = dict(zip(self._blocks["block"], self._blocks.geometry, strict=True))
        self._to_grove = Transformer.from_crs(4326, grove.crs, always_xy=True)
        self._taps = facts_of(grove.settings()).threshold.standard_taps
        self._zone, self._day = ZoneInfo(grove.grove.time_zone), day
        counts = grove.counts(walk)
        self._counted = {
            str(count): str(tree)
            for count, tree, reason in zip(counts["count"], counts["tree"], counts["reason"], strict=True)
            if reason == "planned"
        }
        self._elsewhere: dict[str, tuple[str, str]] = {}
        details = grove.count_details(walk).dropna(subset=["longitude"])
        tree_of = dict(zip(counts["count"], counts["tree"], strict=True))
        for count, longitude, latitude in zip(
            details["count"], details["longitude"], details["latitude"], strict=True
        ):
            self._note_place(str(count), str(tree_of.get(count)), longitude, latitude)

    def circumstances(self, event: Mapping[str, Any]) -> Circumstances:
        """Return what a count event is held against."""
        tree, count = str(event.get("tree")), str(event.get("count"))
        held = self._trees.get(tree)
        block = None if held is None else str(held["block"])
        far, lies_in = self._place(tree, event.get("longitude"), event.get("latitude"))
        pair = (block, lies_in)
        return Circumstances(
            tree="this tree" if held is None else f"{block} row {held['row']} tree {held['position']}",
            alive=held is None or held["status"] == "alive", standard_taps=self._taps, walk_date=self._day,
            counted_on=self._local_day(event.get("at")),
            counted_already=any(other == tree and of != count for of, other in self._counted.items()),
            far_m=far, lies_in=lies_in,
            elsewhere=sum(of != count and other == pair for of, other in self._elsewhere.items()),
        )

    def note(self, event: Mapping[str, Any]) -> None:
        """Note an event that was stored."""
        count = str(event.get("count"))
        self._counted.pop(count, None)
        self._elsewhere.pop(count, None)
        if event.get("kind") != "count":
            return
        if event.get("reason") == "planned":
            self._counted[count] = str(event["tree"])
        if event.get("longitude") is not None:
            self._note_place(count, str(event["tree"]), event["longitude"], event["latitude"])

    def _note_place(self, count: str, tree: str, longitude: float, latitude: float) -> None:
        _, lies_in = self._place(tree, longitude, latitude)
        if lies_in is not None and tree in self._trees:
            self._elsewhere[count] = (str(self._trees[tree]["block"]), lies_in)

    def _place(self, tree: str, longitude: Any, latitude: Any) -> tuple[float, str | None]:
        """Return how far the phone was from a tree [m], and the other block that it was in."""
        held = self._trees.get(tree)
        if longitude is None or latitude is None or held is None:
            return math.nan, None
        x, y = self._to_grove.transform(float(longitude), float(latitude))
        if not (math.isfinite(x) and math.isfinite(y)):
            return math.nan, None
        at, own = shapely.Point(x, y), str(held["block"])
        far = float(at.distance(held["geometry"]))
        if own in self._shapes and self._shapes[own].covers(at):
            return far, None
        return far, next((name for name, shape in self._shapes.items() if name != own and shape.covers(at)), None)

    def _local_day(self, at: Any) -> dt.date | None:
        if not isinstance(at, str):
            return None
        try:
            moment = dt.datetime.fromisoformat(at)
        except ValueError:
            return None
        return moment.astimezone(self._zone).date() if moment.tzinfo else None


def positions_of(where: Path, walk: str) -> dict[str, Any]:
    """Return where the phone was at each count, and which blocks the counts lie in that say another."""
    with open_grove(where, read_only=True) as grove:
        table = _positions(grove, walk)
    lines = plain(table.drop(columns="nearest").to_dict("records"))
    away = table[table["lies_in"].notna()]
    elsewhere = []
    for (block, lies_in), group in away.groupby(["block", "lies_in"]):
        asked = f"{len(group)} counts said to be in {block} lie in {lies_in} by their positions: move them?"
        elsewhere.append({
            "block": block, "lies_in": lies_in, "counts": len(group),
            "question": asked if len(group) >= ELSEWHERE_FROM else None,
        })
    return {"counts": lines, "elsewhere": elsewhere}


def _positions(grove: Grove, walk: str) -> pd.DataFrame:
    """Return count, tree, block, distance_m, accuracy_m, lies_in, nearest (tree) of the counts with a position."""
    if walk not in set(grove.walks()["walk"]):
        raise NotThere(f"there is no walk {walk}", None, "add the walk first")
    counts, details = grove.counts(walk), grove.count_details(walk).dropna(subset=["longitude"])
    found = counts.merge(details[["count", "longitude", "latitude"]], on="count")
    trees, blocks = grove.trees(include_gone=True), grove.blocks()
    found = found.merge(trees[["tree", "block", "geometry"]], on="tree")
    place = gpd.GeoSeries(gpd.points_from_xy(found["longitude"], found["latitude"]), crs=4326).to_crs(grove.crs)
    own = dict(zip(blocks["block"], blocks.geometry, strict=True))
    lies_in = []
    for at, block in zip(place, found["block"], strict=True):
        inside = [name for name, shape in own.items() if shape.covers(at)]
        lies_in.append(None if block in inside or not inside else inside[0])
    alive = trees[trees["status"] == "alive"]
    nearest = [None] * len(found)
    if len(alive) and len(found):
        index, rows = alive.sindex.nearest(place.to_numpy(), return_all=False)
        for i, row in zip(index, rows, strict=True):
            nearest[int(i)] = alive["tree"].iloc[int(row)]
    distance = shapely.distance(place.to_numpy(), found["geometry"].to_numpy()) if len(found) else np.zeros(0)
    return pd.DataFrame({
        "count": found["count"], "tree": found["tree"], "block": found["block"], "distance_m": np.round(distance, 1),
        "accuracy_m": found["accuracy_m"], "lies_in": pd.Series(lies_in, index=found.index, dtype="object"),
        "nearest": pd.Series(nearest, index=found.index, dtype="object"),
    })


def nearest_of(grove: Grove, walk: str) -> dict[str, str]:
    """Return the living tree nearest to where the phone was, for each count with a position."""
    table = _positions(grove, walk)
    return {str(count): str(tree) for count, tree in zip(table["count"], table["nearest"], strict=True) if tree}
