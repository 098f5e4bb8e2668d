"""Make the invented demo grove: its outlines, keep-outs, gates, hill, trees, truth, walks, the grower's numbers.

Everything is made up, the place included: a knoll in the open sea, so that nobody's land is meant. Run it with::

    python data/demo/make_demo.py [FOLDER]

The same seed gives the same bytes: chance comes from `random.Random.random` alone, whose sequence the Python
documentation promises to keep from version to version ("Notes on Reproducibility" of the module `random`).
Of gridmap it uses the contour planting alone, so that its truth can judge what gridmap computes. It is one file, over
the usual length, so that the whole making can be read in one place.

Three blocks come in with their rows and numbers; one (`SURVEYED`) only as positions that a phone measured, its rows are
found; one (`CONTOUR`) as an outline and a drawn line, its rows follow the line.
"""

from __future__ import annotations

import csv
import json
import math
import random
import statistics
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from shapely.geometry import LineString, Point, Polygon

from gridmap.ground import generate_contour_rows

SEED = 290_925
# Chosen among sixty so that the walks meet both hot spots: a demo of a walk that misses them would show little.
WALK_SEED = 1_490
REMARK = "invented demo grove, not for use"
CRS = "EPSG:32729"  # WGS 84 / UTM zone 29S
# The top of the invented knoll [m east, m north in CRS], about 31.9 S 9.4 W; everything below is measured from it.
TOP = (462_200.0, 6_470_600.0)
NYMPHS_AND_ADULTS_OVER = 4.0
STANDARD_TAPS = 3
# Size of the negative binomial: variance = mean + mean^2 / size.
SIZE = 1.1

# Corners [m from the top], row bearing and spacings; the concave block has its rows along its long limb.
BLOCKS: dict[str, dict[str, Any]] = {
    "Windmill": {"corners": [(-225, -48), (-130, -62), (-98, -2), (-118, 58), (-212, 44)], "row_bearing_deg": 174.0,
                 "row_spacing_m": 6.5, "tree_spacing_m": 4.5, "headland_m": 6.0, "canopy": (3.4, 2.9), "planted": 2006},
    "Creek Elbow": {"corners": [(-118, -178), (10, -212), (24, -158), (-38, -140), (-32, -97), (-96, -88)],
                    "row_bearing_deg": 105.0, "row_spacing_m": 6.0, "tree_spacing_m": 4.4, "headland_m": 5.0,
                    "canopy": (3.6, 3.0), "planted": 2004},
    "East Gate": {"corners": [(30, -122), (56, -170), (116, -174), (148, -120), (122, -66), (62, -62)],
                  "row_bearing_deg": 48.0, "row_spacing_m": 6.5, "tree_spacing_m": 4.4, "headland_m": 5.0,
                  "canopy": (3.2, 2.7), "planted": 2009},
    "Saddle": {"corners": [(-58, 78), (66, 70), (82, 148), (-34, 168)], "row_bearing_deg": 92.0, "row_spacing_m": 6.0,
               "tree_spacing_m": 4.5, "headland_m": 5.5, "canopy": (3.3, 2.8), "planted": 2006},
    "Stony Bit": {"corners": [(128, -24), (196, 6), (188, 74), (118, 62)], "row_bearing_deg": 166.0,
                  "row_spacing_m": 5.5, "tree_spacing_m": 4.0, "headland_m": 5.0, "canopy": (2.4, 1.9),
                  "planted": 2015},
}
KEEP_OUTS: list[tuple[str, str, float, list[tuple[float, float]]]] = [
    ("water", "dam", 20.0, [(15, -215), (42, -230), (78, -222), (86, -204), (62, -192), (27, -191)]),
    ("hive", "hive stand", 25.0, [(89, 96), (95, 96), (95, 101), (89, 101)]),
    ("dwelling", "house", 30.0, [(-186, -112), (-172, -116), (-169, -105), (-183, -101)]),
    ("bush", "bush strip", 4.0, [(-84, 184), (20, 176), (96, 166), (99, 180), (22, 191), (-82, 199)]),
]

# Surveyed without rows, with so much error [m, root mean square, both axes together]; planted along a contour.
SURVEYED, SURVEY_ERROR_M = "East Gate", 0.8
CONTOUR = "Stony Bit"

# kind, name, position [m from the top]
POINTS: list[tuple[str, str, tuple[float, float]]] = [
    ("gate", "house gate", (-134.0, -142.0)),
    ("refill", "dam pump", (52.0, -184.0)),
    ("refill", "upper tank", (-82.0, 66.0)),
]
# Half the side of the DEM and its cell [m].
DEM_REACH, DEM_CELL = 380, 5

# Each hot spot: where it sits [m from the top] and, walk by walk, by what it multiplies the count and its radius [m].
HOT_SPOTS: list[tuple[tuple[float, float], list[tuple[float, float]]]] = [
    ((22.0, -176.0), [(1, 10), (12, 17), (18, 30), (27, 45)]),
    ((-40.0, 150.0), [(1, 8), (1, 8), (3, 9), (16, 16)]),
]
WALKS: list[dict[str, Any]] = [
    {"start": "2025-09-18T07:40", "base": 0.45, "adults": 0.04, "buds": 0.05, "who": ["Odran"],
     "trees": (12, 13, 11, 12, 4), "extra": 0, "suspected": 0},
    {"start": "2025-10-14T07:20", "base": 0.6, "adults": 0.25, "buds": 0.35, "who": ["Tamsin"],
     "trees": (11, 14, 11, 11, 3), "extra": 1, "suspected": 2},
    {"start": "2025-11-06T07:05", "base": 0.75, "adults": 0.45, "buds": 0.6, "who": ["Odran"],
     "trees": (11, 14, 12, 11, 2), "extra": 1, "suspected": 4},
    {"start": "2025-12-02T06:50", "base": 0.8, "adults": 0.3, "buds": 0.45, "who": ["Tamsin", "Odran"],
     "trees": (11, 15, 13, 12, 0), "extra": 2, "suspected": 5},
]
# Mean catch a standard beat of what else falls on the sheet.
CATCH = {"spider": 0.7, "ladybird": 0.2, "lacewing": 0.15, "ant": 1.1}

GROWER: dict[str, Any] = {
    "invented": dict.fromkeys(["grove", "threshold", "sprayer", "label", "prices"], REMARK),
    "grove": {"name": "Nowhere Knoll (invented)", "region": "nowhere: invented, in the open sea",
              "longitude": -9.4, "latitude": -31.9, "crs": CRS, "time_zone": "Atlantic/St_Helena",
              "season_start": "07-01", "currency": "XTS"},
    "threshold": {"per_beat": NYMPHS_AND_ADULTS_OVER, "counts": "nymphs_and_adults", "standard_taps": STANDARD_TAPS},
    "sprayer": {"name": "hand-gun (invented)", "method": "hand_gun", "tank_l": 300.0, "flow_l_per_min": 5.4,
                "litres_per_tree": 3.6, "minutes_per_run_start": 3.0, "minutes_between_trees": 0.25,
                "minutes_per_refill": 20.0, "litres_per_m3_box": 0.08, "litres_per_m3_ellipsoid": 0.24},
    "label": {"product": "Invented Product (demo only)", "rate": 370.0, "rate_unit": "mL", "rate_basis": "per_100_l",
              "concentrate_factor": 1.0, "highest_concentrate_factor": 2.0, "withholding_days": 17,
              "reentry": "30 hours (invented)", "permit": "INVENTED-0000", "setbacks": "20 m from water (invented)",
              "expires": "2027-06-30", "typed_on": "2025-12-01"},
    "prices": {"currency": "XTS", "labour_per_hour": 45.0, "product_per_unit": 58.0, "water_per_m3": 4.0,
               "crop_kg_per_tree": 13.0, "crop_price_per_kg": 1.7, "share_lost_if_left": 0.32},
}


def elevation_m(east: float, north: float) -> float:
    """Height of the invented knoll [m] at a position [m from its top]: a bell, longer from west to east than across."""
    return 12.0 + 74.0 * math.exp(-((east / 250.0) ** 2 + (north / 205.0) ** 2))


def uphill_deg(east: float, north: float, step: float = 0.5) -> float:
    """Bearing of the steepest way up [degrees from grid north, whole], from central differences of the height."""
    east_slope = elevation_m(east + step, north) - elevation_m(east - step, north)
    north_slope = elevation_m(east, north + step) - elevation_m(east, north - step)
    return float(round(math.degrees(math.atan2(east_slope, north_slope))) % 360)


def pick(chance: random.Random, weights: list[float]) -> int:
    """Draw an index with probability proportional to its weight."""
    mark = chance.random() * sum(weights)
    for index, weight in enumerate(weights):
        mark -= weight
        if mark < 0:
            return index
    return len(weights) - 1


def normal(chance: random.Random) -> float:
    """Draw a standard normal number by inversion."""
    return statistics.NormalDist().inv_cdf(min(max(chance.random(), 1e-12), 1 - 1e-12))


def negative_binomial(chance: random.Random, mean: float, size: float) -> int:
    """Draw a count of that mean and size by inversion: p(n+1) / p(n) = (n + size) / (n + 1) * mean / (mean + size)."""
    mark, count, share = chance.random(), 0, (size / (size + mean)) ** size
    while mark >= share and count < 500:
        mark -= share
        share *= (count + size) / (count + 1) * mean / (mean + size)
        count += 1
    return count


def binomial(chance: random.Random, number: int, share: float) -> int:
    """Draw how many of ``number`` have what a ``share`` of them has."""
    return sum(chance.random() < share for _ in range(number))


def outline(name: str) -> Polygon:
    """Outline of a block [m from the top]."""
    return Polygon(BLOCKS[name]["corners"])


def frame(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Give the unit vectors along the rows to the right and across them upward, as seen by someone who looks uphill."""
    centre = outline(name).centroid
    uphill = math.radians(uphill_deg(centre.x, centre.y))
    bearing = math.radians(BLOCKS[name]["row_bearing_deg"])
    along = np.array([math.sin(bearing), math.cos(bearing)])
    along *= math.copysign(1.0, along @ np.array([math.cos(uphill), -math.sin(uphill)]))
    return along, np.array([-along[1], along[0]])


def contour_line() -> LineString:
    """Draw the line that the rows of the contour block follow: the contour through its middle [m from the top]."""
    middle = outline(CONTOUR).centroid
    level = math.hypot(middle.x / 250.0, middle.y / 205.0)
    angles = np.radians(np.arange(-24.0, 49.0, 6.0))
    return LineString(np.round(np.column_stack([250.0 * np.cos(angles), 205.0 * np.sin(angles)]) * level, 2))


def places(name: str) -> list[tuple[int, int, float, float]]:
    """Every place of a block as (row, position, east, north): row 1 the lowest, position 1 the left end of its row."""
    if name == CONTOUR:
        facts = {key: BLOCKS[name][key] for key in ("row_spacing_m", "tree_spacing_m", "headland_m")}
        middle = outline(name).centroid
        facts["uphill_bearing_deg"] = uphill_deg(middle.x, middle.y)
        rows = generate_contour_rows(outline(name), contour_line(), **facts)
        return [(int(tree.row), int(tree.position), tree.geometry.x, tree.geometry.y) for tree in rows.itertuples()]
    block, (along, across) = BLOCKS[name], frame(name)
    inside = outline(name).buffer(-block["headland_m"], join_style="mitre")
    corners = shapely.get_coordinates(inside)
    low, left = (corners @ across).min(), (corners @ along).min()
    width, height = np.ptp(corners @ along), np.ptp(corners @ across)
    found: list[tuple[int, int, float, float]] = []
    row = 0
    for up in np.arange(0.5, height, block["row_spacing_m"]):
        rights = np.arange(0.7, width, block["tree_spacing_m"])
        line = [(left + right) * along + (low + up) * across for right in rights]
        row_places = [place for place in line if inside.covers(Point(place))]
        if len(row_places) < 3:
            continue
        row += 1
        found += [(row, position, float(place[0]), float(place[1])) for position, place in enumerate(row_places, 1)]
    return found


def make_trees(chance: random.Random) -> list[dict[str, Any]]:
    """Living trees with their surveyed positions: a few places are gaps, a few trees are replants (smaller crowns)."""
    trees: list[dict[str, Any]] = []
    for name, block in BLOCKS.items():
        for row, position, east, north in places(name):
            # As planted, gap, replant; the rows along the line are drawn as they were planted, all alive.
            fate = 0 if name == CONTOUR else pick(chance, [0.945, 0.03, 0.025])
            shift = (0.0, 0.0) if name == CONTOUR else (0.2 * normal(chance), 0.2 * normal(chance))
            year = block["planted"] if fate == 0 else 2019 + pick(chance, [1.0] * 5)
            if fate != 1:
                small = 0.35 + 0.06 * (2025 - year) if fate == 2 else None
                trees.append({"block": name, "row": row, "position": position, "east": east + shift[0],
                              "north": north + shift[1], "planted_year": year,
                              "canopy": [round(small * size, 1) for size in block["canopy"]] if small else ["", ""]})
    return trees


def make_truth(chance: random.Random, trees: list[dict[str, Any]]) -> np.ndarray:
    """Give the expected nymphs and adults of a standard beat, (trees, walks): base x patches x tree x hot spots."""
    xy = np.array([(tree["east"], tree["north"]) for tree in trees])
    patches = np.zeros(len(trees))
    for _ in range(16):
        turn, start = 2 * math.pi * chance.random(), 2 * math.pi * chance.random()
        length = 45.0 + 90.0 * chance.random()
        wave = xy @ np.array([math.sin(turn), math.cos(turn)]) * (2 * math.pi / length) + start
        patches += 0.38 * math.sqrt(2 / 16) * np.cos(wave)
    block = {name: 0.2 * normal(chance) for name in BLOCKS}
    still = patches + np.array([block[tree["block"]] + 0.15 * normal(chance) for tree in trees])
    truth = np.empty((len(trees), len(WALKS)))
    for walk, settings in enumerate(WALKS):
        log_mean = math.log(settings["base"]) + still
        for centre, growth in HOT_SPOTS:
            times, radius = growth[walk]
            squared = ((xy - np.array(centre)) ** 2).sum(axis=1)
            log_mean = log_mean + math.log(times) * np.exp(-squared / (2 * radius**2))
        truth[:, walk] = np.exp(log_mean)
    return truth


def spread(chance: random.Random, trees: list[dict[str, Any]], name: str, number: int) -> list[int]:
    """Choose well spread trees of a block, one in three at its edge: of ten drawn, the farthest from those chosen."""
    own = [index for index, tree in enumerate(trees) if tree["block"] == name]
    edge = outline(name).exterior
    near = [i for i in own if edge.distance(Point(trees[i]["east"], trees[i]["north"])) < 12.0]
    chosen: list[int] = []
    while len(chosen) < number:
        pool = near if len(chosen) % 3 == 0 else own
        drawn = sorted({pool[int(chance.random() * len(pool))] for _ in range(10)} - set(chosen))
        if drawn:
            chosen.append(max(drawn, key=lambda i: min([gap(trees[i], trees[j]) for j in chosen], default=0.0)))
    return chosen


def gap(one: dict[str, Any], other: dict[str, Any]) -> float:
    """Distance between two trees [m]."""
    return math.hypot(one["east"] - other["east"], one["north"] - other["north"])


def make_walk(chance: random.Random, trees: list[dict[str, Any]], truth: np.ndarray, walk: int) -> list[list[Any]]:
    """Lines of one walk in the order it was walked: block by block, up one row and down the next."""
    settings = WALKS[walk]
    reasons: dict[int, str] = {}
    for name, number in zip(BLOCKS, settings["trees"], strict=True):
        reasons |= dict.fromkeys(spread(chance, trees, name, number), "planned")
    rest = [i for i in range(len(trees)) if i not in reasons and trees[i]["block"] != "Stony Bit"]
    # The eye is drawn to bad trees: chance of a suspected one rises with the square of its truth.
    for reason, power in (("suspected", 2.0), ("extra", 0.0)):
        for _ in range(settings[reason]):
            index = rest.pop(pick(chance, [float(truth[i, walk]) ** power for i in rest]))
            reasons[index] = reason
    names = list(BLOCKS)
    order = sorted(reasons, key=lambda i: (names.index(trees[i]["block"]), trees[i]["row"],
                                           trees[i]["position"] * (-1) ** trees[i]["row"]))
    time, lines = datetime.fromisoformat(settings["start"]), []
    for step, index in enumerate(order):
        tree, who = trees[index], settings["who"][step * len(settings["who"]) // len(order)]
        if step:
            time += timedelta(seconds=round(50 + 20 * chance.random() + gap(tree, trees[order[step - 1]]) / 0.9))
        lines.append([*label(tree), f"{time.isoformat()}+00:00",
                      *beat(chance, float(truth[index, walk]), settings), reasons[index], f"{who} (invented)",
                      *(negative_binomial(chance, mean, 3.0) for mean in CATCH.values())])
    return lines


def label(tree: dict[str, Any]) -> list[Any]:
    """Name a tree on a walk: by block, row and position, in the surveyed block by where the phone was."""
    if tree["block"] == SURVEYED:
        return ["", "", "", *tree["surveyed"]]
    return [tree["block"], tree["row"], tree["position"], "", ""]


def survey(chance: random.Random, trees: list[dict[str, Any]]) -> None:
    """Measure the trees of the surveyed block with a phone: longitude and latitude, SURVEY_ERROR_M off."""
    own = [tree for tree in trees if tree["block"] == SURVEYED]
    off = SURVEY_ERROR_M / math.sqrt(2)
    places = [(tree["east"] + off * normal(chance), tree["north"] + off * normal(chance)) for tree in own]
    measured = lonlat([Point(place) for place in places])
    for tree, point in zip(own, measured, strict=True):
        tree["surveyed"] = [f"{point.x:.7f}", f"{point.y:.7f}"]


def beat(chance: random.Random, mean: float, settings: dict[str, Any]) -> tuple[int, int, int, str]:
    """Taps, nymphs, adults and wing buds (empty without nymphs) of one tree; now and then the taps are not standard."""
    taps = (STANDARD_TAPS, 2, 6)[pick(chance, [0.92, 0.04, 0.04])]
    total = negative_binomial(chance, mean * taps / STANDARD_TAPS, SIZE)
    adults = binomial(chance, total, settings["adults"])
    nymphs = total - adults
    budded = binomial(chance, nymphs, settings["buds"])
    words = "" if not nymphs else "none" if not budded else "most" if 2 * budded > nymphs else "some"
    return taps, nymphs, adults, words


def write_csv(path: Path, header: list[str], lines: list[list[Any]]) -> None:
    """Write a table as UTF-8 with plain line ends, the same on every system."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([header, *lines])


def lonlat(shapes: list[Any]) -> list[Any]:
    """Shapes [m from the top] as WGS 84 longitude and latitude, to a centimetre (7 decimals)."""
    moved = [shapely.transform(shape, lambda xy: xy + np.array(TOP)) for shape in shapes]
    round_off = {"transformation": lambda xy: np.round(xy, 7)}
    return [shapely.transform(shape, **round_off) for shape in gpd.GeoSeries(moved, crs=CRS).to_crs(4326)]


def write_geojson(path: Path, shapes: list[Any], properties: list[dict[str, Any]]) -> None:
    """Write shapes as RFC 7946 asks: longitude before latitude, outer rings anticlockwise; one feature a line."""
    features = [json.dumps({"type": "Feature", "properties": {**row, "remark": REMARK},
                            "geometry": shapely.geometry.mapping(shapely.orient_polygons(shape))})
                for shape, row in zip(lonlat(shapes), properties, strict=True)]
    text = '{"type": "FeatureCollection", "remark": ' + json.dumps(REMARK) + ', "features": [\n'
    path.write_text(text + ",\n".join(features) + "\n]}\n", encoding="utf-8", newline="\n")


def write_ground(folder: Path, trees: list[dict[str, Any]]) -> None:
    """Write outlines, keep-outs, gates, the drawn line, the survey, and the trees that came with rows and numbers."""
    rows = []
    for name, block in BLOCKS.items():
        centre = outline(name).centroid
        numbers = {key: block[key] for key in ("row_bearing_deg", "row_spacing_m", "tree_spacing_m", "headland_m")}
        rows.append({"block": name, **numbers, "uphill_bearing_deg": uphill_deg(centre.x, centre.y),
                     "canopy_height_m": block["canopy"][0], "canopy_width_m": block["canopy"][1]})
    write_geojson(folder / "outlines.geojson", [outline(name) for name in BLOCKS], rows)
    write_geojson(folder / "keep-outs.geojson", [Polygon(corners) for *_, corners in KEEP_OUTS],
                  [{"kind": kind, "name": name, "setback_m": setback} for kind, name, setback, _ in KEEP_OUTS])
    write_geojson(folder / "points.geojson", [Point(place) for *_, place in POINTS],
                  [{"kind": kind, "name": name} for kind, name, _ in POINTS])
    lines = [[tree["block"], tree["row"], tree["position"], f"{point.x:.7f}", f"{point.y:.7f}", tree["planted_year"],
              *tree["canopy"], "invented"]
             for tree, point in zip(trees, lonlat([Point(t["east"], t["north"]) for t in trees]), strict=True)
             if tree["block"] not in (SURVEYED, CONTOUR)]
    write_geojson(folder / "contour.geojson", [contour_line()], [{"block": CONTOUR}])
    own = [tree for tree in trees if tree["block"] == SURVEYED]
    found = [[tree["block"], *tree["surveyed"], *tree["canopy"], "invented"] for tree in own]
    write_csv(folder / "survey.csv",
              ["block", "longitude", "latitude", "canopy_height_m", "canopy_width_m", "remark"], found)
    write_csv(folder / "trees.csv", ["block", "row", "position", "longitude", "latitude", "planted_year",
                                     "canopy_height_m", "canopy_width_m", "remark"], lines)


def write_dem(path: Path) -> None:
    """Write the hill as a DEM of 5 m cells, heights in whole decimetres."""
    middles = np.arange(-DEM_REACH + DEM_CELL / 2, DEM_REACH, DEM_CELL)
    decimetres = [[round(10 * elevation_m(east, north)) for east in middles] for north in middles[::-1]]
    corner = Affine(DEM_CELL, 0, TOP[0] - DEM_REACH, 0, -DEM_CELL, TOP[1] + DEM_REACH)
    with rasterio.open(path, "w", driver="GTiff", width=len(middles), height=len(middles), count=1, dtype="int16",
                       crs=CRS, transform=corner, compress="deflate", predictor=2, zlevel=9) as target:
        target.write(np.array(decimetres, dtype=np.int16), 1)
        target.scales, target.units = (0.1,), ("metre",)
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION=REMARK)


def make(folder: Path) -> None:
    """Write every file of the demo grove into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    trees = make_trees(random.Random(SEED))
    truth = make_truth(random.Random(SEED + 1), trees)
    survey(random.Random(SEED + 2), trees)
    write_ground(folder, trees)
    write_dem(folder / "hill.tif")
    planted = lonlat([Point(tree["east"], tree["north"]) for tree in trees])
    header = ["block", "row", "position", "longitude", "latitude", "planted_year", "canopy_height_m", "canopy_width_m"]
    lines = [[t["block"], t["row"], t["position"], f"{point.x:.7f}", f"{point.y:.7f}", t["planted_year"], *t["canopy"],
              *(f"{mean:.3f}" for mean in means)] for t, point, means in zip(trees, planted, truth, strict=True)]
    write_csv(folder / "truth.csv", [*header, *(f"invented_mean_walk_{w + 1}" for w in range(4))], lines)
    header = ["block", "row", "position", "longitude", "latitude", "time", "taps", "nymphs", "adults", "wing_buds",
              "reason", "observer"]
    for walk in range(len(WALKS)):
        lines = make_walk(random.Random(WALK_SEED + walk), trees, truth, walk)
        write_csv(folder / f"walk-{walk + 1}.csv", [*header, *CATCH], lines)
    text = json.dumps(GROWER, indent=2, ensure_ascii=False) + "\n"
    (folder / "grower.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
