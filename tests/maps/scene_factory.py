"""A small made-up grove for layout tests. Every number is invented and stands for nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from maps.scene import Scene

CRS = "EPSG:7855"
ORIGIN = (300_000.0, 6_100_000.0)
# name, outline in metres from the origin, row bearing, row spacing, tree spacing
BLOCKS = (
    ("Lower Gate", [(0, 0), (90, -12), (118, 40), (96, 82), (14, 74)], 97.0, 7.0, 5.0),
    ("Ridge", [(140, 70), (232, 92), (242, 150), (190, 176), (134, 130)], 75.0, 7.0, 5.0),
    ("Old Well", [(140, -10), (226, -24), (240, 30), (150, 42)], 100.0, 6.5, 5.0),
    ("Far Side", [(10, 100), (110, 110), (104, 176), (30, 168)], 95.0, 7.0, 5.0),
)


def _trees(name: str, outline: list[tuple[float, float]], bearing: float, row_m: float, tree_m: float) -> pd.DataFrame:
    polygon = Polygon(np.add(outline, ORIGIN))
    inner = polygon.buffer(-3.0)
    angle = np.radians(bearing)
    along, across = np.array([np.sin(angle), np.cos(angle)]), np.array([-np.cos(angle), np.sin(angle)])
    centre = np.array(inner.centroid.coords[0])
    lines = []
    row = 0
    for step in range(-20, 21):
        spots = [centre + along * k * tree_m + across * step * row_m for k in range(-40, 41)]
        spots = [spot for spot in spots if inner.contains(Point(spot))]
        if not spots:
            continue
        row += 1
        for position, spot in enumerate(spots, 1):
            lines.append(
                {
                    "tree": f"{name}-{row}-{position}",
                    "place": f"{name}/{row}/{position}",
                    "block": name,
                    "row": row,
                    "position": position,
                    "geometry": Point(spot),
                    "status": "alive",
                }
            )
    return pd.DataFrame(lines)


def _pressure(trees: gpd.GeoDataFrame, beaten: pd.Series, threshold: float) -> pd.DataFrame:
    xy = np.column_stack((trees.geometry.x, trees.geometry.y)) - ORIGIN
    centres = ((20.0, 30.0, 9.0, 22.0), (150.0, 110.0, 10.0, 24.0), (215.0, 0.0, 5.0, 14.0))
    mean = 0.6 + sum(top * np.exp(-(((xy - (x, y)) ** 2).sum(axis=1)) / (2 * reach**2)) for x, y, top, reach in centres)
    known = np.array([np.sqrt(((xy[beaten.to_numpy()] - spot) ** 2).sum(axis=1)).min() for spot in xy])
    spread = np.where(known < 16, 0.35, np.where(known < 26, 0.8, 1.6))
    knowledge = np.where(
        trees["block"] == "Far Side",
        "unknown",
        np.where(known < 16, "well_known", np.where(known < 26, "doubtful", "unknown")),
    )
    chance = 1 / (1 + np.exp(-(np.log(mean) - np.log(threshold)) / (spread / 1.7)))
    limits = {
        f"{side}_{level}": mean * np.exp(sign * z * spread)
        for level, z in ((50, 0.67), (80, 1.28), (90, 1.64))
        for side, sign in (("low", -1), ("high", 1))
    }
    return pd.DataFrame(
        {
            "tree": trees["tree"],
            "mean_per_beat": mean * 1.05,
            "median_per_beat": mean,
            **limits,
            "chance_over": chance,
            "informed": 1 / (1 + spread),
            "knowledge": knowledge,
        }
    )


def _runs(trees: gpd.GeoDataFrame, litres_per_tree: float) -> gpd.GeoDataFrame:
    chosen = trees[trees["chance_over"].gt(0.5) & trees["knowledge"].ne("unknown")]
    blocks = {name: (bearing, spacing) for name, _, bearing, _, spacing in BLOCKS}
    lines = []
    for number, ((block, row), own) in enumerate(chosen.groupby(["block", "row"], sort=True), 1):
        own = own.sort_values("position")
        bearing, spacing = blocks[block]
        step = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))]) * spacing / 2
        first, last = own.geometry.iloc[0], own.geometry.iloc[-1]
        count = int(own["position"].iloc[-1] - own["position"].iloc[0] + 1)
        lines.append(
            {
                "zone": "4f2a9c10",
                "run": number,
                "block": block,
                "row": row,
                "from_position": own["position"].iloc[0],
                "to_position": own["position"].iloc[-1],
                "side": "both",
                "trees": count,
                "length_m": spacing * count,
                "litres": litres_per_tree * count,
                "load": "1" if number <= 6 else "1, 2" if number == 7 else "2",
                "geometry": LineString([np.subtract(first.coords[0], step), np.add(last.coords[0], step)]),
            }
        )
    return gpd.GeoDataFrame(lines, crs=CRS)


def _block_table(
    trees: pd.DataFrame, pressure: pd.DataFrame, counts: pd.DataFrame, threshold: float | None
) -> pd.DataFrame:
    table = (
        trees[["tree", "block"]]
        .merge(pressure, on="tree")
        .assign(beaten=lambda frame: frame["tree"].isin(counts["tree"]))
    )
    made = (
        table.groupby("block", sort=False)
        .agg(
            trees=("tree", "size"),
            beaten=("beaten", "sum"),
            mean_per_beat=("mean_per_beat", "mean"),
            median_per_beat=("median_per_beat", "mean"),
            low_80=("low_80", "mean"),
            high_80=("high_80", "mean"),
            trees_over=("chance_over", "sum"),
        )
        .reset_index()
    )
    made["trees_over_low_80"], made["trees_over_high_80"] = made["trees_over"] * 0.7, made["trees_over"] * 1.4
    if threshold is None:
        made[["trees_over", "trees_over_low_80", "trees_over_high_80"]] = np.nan
    return made.assign(walked=made["beaten"] > 0)


def make_scene(
    *,
    names: dict[str, str] | None = None,
    grove: str = "Layout Grove",
    threshold: float | None = 5.0,
    invented: bool = True,
) -> Scene:
    """Build the scene; ``names`` gives blocks and keep-outs other names."""
    names = names or {}
    blocks = gpd.GeoDataFrame(
        [
            {
                "block": name,
                "row_bearing_deg": bearing,
                "row_spacing_m": row,
                "tree_spacing_m": tree,
                "headland_m": 3.0,
                "uphill_bearing_deg": 8.0,
                "geometry": Polygon(np.add(outline, ORIGIN)),
            }
            for name, outline, bearing, row, tree in BLOCKS
        ],
        crs=CRS,
    )
    trees = gpd.GeoDataFrame(pd.concat([_trees(*block) for block in BLOCKS], ignore_index=True), crs=CRS)
    beaten = pd.Series(np.random.default_rng(3).random(len(trees)) < 0.07) & (trees["block"] != "Far Side")
    pressure = _pressure(trees, beaten, threshold or 5.0)
    if threshold is None:
        pressure["chance_over"] = np.nan
    mean = pressure["mean_per_beat"][beaten.to_numpy()].round().astype(int)
    counts = pd.DataFrame(
        {
            "count": mean.index,
            "walk": "w1",
            "tree": trees["tree"][beaten],
            "taps": 3,
            "nymphs": mean,
            "adults": 0,
            "reason": "planned",
        }
    )
    runs = (
        _runs(trees.merge(pressure, on="tree"), 3.2)
        if threshold is not None
        else gpd.GeoDataFrame(
            {
                name: []
                for name in (
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
                )
            },
            geometry="geometry",
        )
    )
    spots = []
    for rank, (block, own) in enumerate(runs.groupby("block", sort=False), 1):
        spots.append(
            {
                "hot_spot": rank,
                "block": block,
                "from_row": int(own["row"].min()),
                "to_row": int(own["row"].max()),
                "trees": int(own["trees"].sum()),
                "trees_over": 0.8 * own["trees"].sum(),
                "median_per_beat": 8.3 - rank,
                "geometry": own.geometry.union_all().convex_hull,
            }
        )
    keep_outs = gpd.GeoDataFrame(
        [
            {
                "keep_out": "k1",
                "name": "dam",
                "kind": "water",
                "setback_m": 15.0,
                "geometry": Polygon(np.add([(60, -60), (100, -70), (124, -50), (104, -32), (70, -34)], ORIGIN)),
            },
            {"keep_out": "k2", "name": "hives", "kind": "hive", "setback_m": 8.0, "geometry": box(124, 52, 128, 56)},
            {
                "keep_out": "k3",
                "name": "house",
                "kind": "dwelling",
                "setback_m": 20.0,
                "geometry": box(280, -4, 292, 8),
            },
            {
                "keep_out": "k4",
                "name": "bush",
                "kind": "bush",
                "setback_m": 6.0,
                "geometry": Polygon(np.add([(-40, 96), (-8, 92), (-12, 176), (-44, 170)], ORIGIN)),
            },
        ],
        crs=CRS,
    )
    for row in (1, 2):
        keep_outs.loc[row, "geometry"] = Polygon(np.add(keep_outs.geometry[row].exterior.coords, ORIGIN))
    hot = gpd.GeoDataFrame(spots, crs=CRS) if spots else Scene.__dataclass_fields__["hot_spots"].default_factory()
    scene = Scene(
        grove=grove,
        invented=invented,
        blocks=blocks,
        trees=trees,
        keep_outs=keep_outs,
        counts=counts,
        pressure=pressure,
        hot_spots=hot,
        block_table=_block_table(trees, pressure, counts, threshold),
        runs=runs,
        zone=MultiPolygon([g.buffer(2.5, cap_style="flat") for g in runs.geometry]) if len(runs) else None,
        walk_date=date(2025, 11, 12),
        threshold=threshold,
        uphill_bearing_deg=8.0,
        attribution="",
        software="gridmap 0.1.0",
    )
    return _renamed(scene, names)


def _renamed(scene: Scene, names: dict[str, str]) -> Scene:
    frames = {}
    for attribute in ("blocks", "trees", "hot_spots", "block_table", "runs"):
        frame = getattr(scene, attribute).copy()
        frame["block"] = frame["block"].map(lambda name: names.get(name, name))
        frames[attribute] = frame
    keep_outs = scene.keep_outs.copy()
    keep_outs["name"] = keep_outs["name"].map(lambda name: names.get(name, name))
    return replace(scene, keep_outs=keep_outs, **frames)


def make_loads(scene: Scene, *, product: bool = True) -> pd.DataFrame:
    """Two tank loads of which the first ends inside a run; 5 mL of product a litre of mix, invented."""
    split, last = scene.runs.iloc[min(6, len(scene.runs) - 1)], scene.runs.iloc[-1]
    run, tree = int(split["run"]), int(split["from_position"]) + 1
    uuids = scene.trees.set_index(["block", "row", "position"])["tree"]
    here, following = (uuids[split["block"], split["row"], tree + step] for step in (0, 1))
    ends = uuids[last["block"], last["row"], last["to_position"]]
    lines = [
        {
            "load": 1,
            "kind": "full",
            "mix_l": 200.0,
            "from_run": 1,
            "from_tree": "first",
            "to_run": run,
            "to_tree": here,
            "covers": f"runs 1 to {run}, to tree {tree} ({split['block']} row {split['row']})",
        },
        {
            "load": 2,
            "kind": "part",
            "mix_l": 86.4,
            "from_run": run,
            "from_tree": following,
            "to_run": last["run"],
            "to_tree": ends,
            "covers": f"runs {run} to {last['run']}, from tree {tree + 1} ({split['block']} row {split['row']})",
        },
    ]
    loads = pd.DataFrame(lines)
    loads["product"] = loads["mix_l"] * 0.005 if product else np.nan
    return loads.assign(product_unit="L", water_l=loads["mix_l"] - loads["product"])
