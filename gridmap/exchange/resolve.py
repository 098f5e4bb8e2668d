"""Which tree a count belongs to, and the name that a count without one gets."""

from __future__ import annotations

import uuid
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.crs import to_grove
from gridmap.errors import CRSRefused, InputRefused


class Resolved(NamedTuple):
    """Counts with their trees; what could not be resolved; what the grower should know."""

    rows: gpd.GeoDataFrame
    problems: list[tuple[int, str]]
    notes: list[str]


def snap_to_trees(xy: npt.ArrayLike, trees: gpd.GeoDataFrame, *, limit_m: float) -> pd.DataFrame:
    """Find the nearest living tree to every position, within a limit.

    Parameters
    ----------
    xy : (n, 2) array
        Positions [m], the grove's projected CRS.
    trees : GeoDataFrame
        tree, geometry, optionally status; the same CRS. Trees that are gone are passed over.
    limit_m : float
        Farthest a tree may be [m], over 0.

    Returns
    -------
    DataFrame
        tree (None where none is within the limit), nearest (whatever its distance), distance_m; one row a position.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame({"tree": ["a", "b"]}, geometry=gpd.points_from_xy([0, 5], [0, 0]))
    >>> snap_to_trees([[1, 1], [30, 0]], trees, limit_m=3)["tree"].tolist()
    ['a', None]
    >>> len(snap_to_trees([], trees, limit_m=3))
    0
    """
    at = checks.points(xy)
    limit = checks.number(limit_m, "snapping limit", "m", over=0)
    living = trees[trees["status"] == "alive"] if "status" in trees else trees
    if len(living) == 0:
        raise InputRefused(
            "the grove has no living tree", "there is nothing to snap to", "import or generate its trees first"
        )
    distance_m, index = cKDTree(shapely.get_coordinates(living.geometry.to_numpy())).query(at)
    nearest = living["tree"].to_numpy(dtype=object)[index]
    tree = pd.Series(np.where(distance_m <= limit, nearest, None), dtype=object)
    return pd.DataFrame({"tree": tree, "nearest": pd.Series(nearest, dtype=object), "distance_m": distance_m})


def resolve_trees(rows: gpd.GeoDataFrame, trees: gpd.GeoDataFrame, *, limit_m: float) -> Resolved:
    """Give every count its tree: by UUID, else by block, row and position, else the nearest within the limit.

    Parameters
    ----------
    rows : GeoDataFrame
        From `read_counts`, in the CRS of its file.
    trees : GeoDataFrame
        tree, block, row, position, status, geometry; the grove's projected CRS [m].
    limit_m : float
        Farthest that a count named by coordinates alone may lie from its tree [m].

    Returns
    -------
    Resolved
        ``rows`` with tree and distance_m (from the given position to its tree [m], NaN without one), the rest left out;
        ``problems`` by line; ``notes`` on the datum.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame({"tree": ["a"], "block": ["Creek"], "row": [1], "position": [4], "status": ["alive"]},
    ...     geometry=gpd.points_from_xy([500_000], [5_900_000]), crs=7855)
    >>> rows = gpd.GeoDataFrame({"line": [2, 3], "tree": None, "block": ["creek", "Top"], "row": 1, "position": 4},
    ...     geometry=[None, None], index=[0, 1])
    >>> found = resolve_trees(rows, trees, limit_m=4)
    >>> found.rows["tree"].tolist(), found.problems
    (['a'], [(3, 'there is no tree at block Top row 1 position 4')])
    """
    checks.columns(trees, ["tree", "block", "row", "position", "geometry"], "trees")
    limit = checks.number(limit_m, "snapping limit", "m", over=0)
    at, notes, problems = _positions(rows, trees)
    tree, named = _by_name(rows, trees)
    has_place = ~np.isnan(at).any(axis=1)
    snap = ~named & has_place
    if snap.any():
        found = snap_to_trees(at[snap], trees, limit_m=limit)
        tree[snap] = found["tree"].to_numpy()
        by_tree = trees.set_index("tree")
        for index, near, away in zip(np.flatnonzero(snap), found["nearest"], found["distance_m"], strict=True):
            if away > limit:
                where = by_tree.loc[near]
                place = f"block {where['block']} row {where['row']} position {where['position']}"
                problems[int(index)] = f"the nearest tree ({place}) is {away:.1f} m away: the limit is {limit:g} m"
    for index in np.flatnonzero(named & pd.isna(tree)):
        problems[int(index)] = _not_found(rows.iloc[index])
    good = ~pd.isna(tree) & ~np.isin(np.arange(len(rows)), list(problems))
    result = rows.assign(tree=tree, distance_m=_distances(at, tree, trees))[good]
    lines = rows["line"].to_numpy()
    return Resolved(result, sorted((int(lines[index]), text) for index, text in problems.items()), notes)


def count_uuids(rows: pd.DataFrame, *, grove: str, walk: str) -> pd.Series[str]:
    """Give every count that came without a UUID the same one each time its file is read.

    Parameters
    ----------
    rows : DataFrame
        uuid (None where the file had none), tree, time, date.
    grove, walk : str
        Their UUIDs.

    Returns
    -------
    Series of str
        The given UUID, else the name-based UUID (version 5, RFC 9562) of grove, walk, tree, time and ordinal among the
        counts of that tree at that time; indexed like ``rows``.

    Examples
    --------
    >>> rows = pd.DataFrame({"uuid": [None, None], "tree": ["a", "a"], "time": pd.NaT, "date": "2026-11-03"})
    >>> grove = "6d1f2f0e-0000-4000-8000-000000000000"
    >>> first = count_uuids(rows, grove=grove, walk="w")
    >>> first.is_unique, first.equals(count_uuids(rows, grove=grove, walk="w"))
    (True, True)
    """
    checks.columns(rows, ["uuid", "tree", "time", "date"], "rows")
    try:
        space = uuid.UUID(grove)
    except (ValueError, AttributeError, TypeError):
        raise InputRefused(f"grove is {grove!r}", "it must be a UUID") from None
    time = [stamp.isoformat() if not pd.isna(stamp) else "" for stamp in pd.to_datetime(rows["time"], utc=True)]
    date = ["" if pd.isna(day) else str(day) for day in rows["date"]]
    keys = pd.DataFrame({"tree": rows["tree"].astype(str).to_numpy(), "time": time, "date": date})
    ordinal = keys.groupby(["tree", "time", "date"], sort=False).cumcount()
    made = [
        str(uuid.uuid5(space, "\n".join(str(part) for part in (walk, key.tree, key.time, key.date, number))))
        for key, number in zip(keys.itertuples(index=False), ordinal, strict=True)
    ]
    return rows["uuid"].where(rows["uuid"].notna(), pd.Series(made, index=rows.index, dtype=object))


def _positions(rows: gpd.GeoDataFrame, trees: gpd.GeoDataFrame) -> tuple[checks.FloatArray, list[str], dict[int, str]]:
    """Bring given positions into the grove's CRS; a bad one costs its own line only."""
    at = np.full((len(rows), 2), np.nan)
    placed = np.flatnonzero(rows.geometry.notna().to_numpy())
    problems: dict[int, str] = {}
    if len(placed) == 0:
        return at, [], problems
    epsg = trees.crs.to_epsg()
    try:
        moved, notes = to_grove(rows.iloc[placed][["geometry"]], epsg, near=trees.total_bounds)
        at[placed] = shapely.get_coordinates(moved.geometry.to_numpy())
        return at, notes, problems
    except CRSRefused:
        notes = []
    for index in placed:
        try:
            moved, notes = to_grove(rows.iloc[[index]][["geometry"]], epsg, near=trees.total_bounds)
            at[index] = shapely.get_coordinates(moved.geometry.to_numpy())[0]
        except CRSRefused as refused:
            problems[int(index)] = str(refused)
    return at, notes, problems


def _by_name(rows: gpd.GeoDataFrame, trees: gpd.GeoDataFrame) -> tuple[npt.NDArray[np.object_], checks.BoolArray]:
    """Look trees up by UUID, else by place (the living plant where several stood there)."""
    known = set(trees["tree"])
    living = trees[trees["status"] == "alive"] if "status" in trees else trees
    place = {
        (str(block).casefold(), int(row), int(position)): tree
        for block, row, position, tree in zip(
            living["block"], living["row"], living["position"], living["tree"], strict=True
        )
    }
    tree = np.full(len(rows), None, dtype=object)
    named = np.zeros(len(rows), dtype=bool)
    for index, (given, block, row, position) in enumerate(
        zip(rows["tree"], rows["block"], rows["row"], rows["position"], strict=True)
    ):
        if not pd.isna(given):
            named[index], tree[index] = True, given if given in known else None
        elif not pd.isna(block):
            named[index], tree[index] = True, place.get((str(block).casefold(), int(row), int(position)))
    return tree, named


def _not_found(row: pd.Series[str]) -> str:
    if not pd.isna(row["tree"]):
        return f"there is no tree {row['tree']} in the grove"
    return f"there is no tree at block {row['block']} row {row['row']} position {row['position']}"


def _distances(at: checks.FloatArray, tree: npt.NDArray[np.object_], trees: gpd.GeoDataFrame) -> checks.FloatArray:
    """Return how far each given position is from the tree it was given to [m]."""
    index = pd.Index(trees["tree"]).get_indexer(pd.Index(tree, dtype=object))
    stem = shapely.get_coordinates(trees.geometry.to_numpy())
    away = np.full(len(at), np.nan)
    known = index >= 0
    away[known] = np.hypot(*(at[known] - stem[index[known]]).T)
    return away
