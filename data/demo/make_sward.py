"""Make the cover surveys, pictures, seed-head checks and slashes of the invented demo grove; all of it is made up.

The truth: grass covers 88 % of the floor far down the hill and 4 % far up, and its front (half way between) climbs
`ADVANCE_M` a year; rows and whole surveys differ by chance. Of gridmap nothing is used. Run it after make_demo.py::

    python data/demo/make_sward.py [FOLDER]
"""

from __future__ import annotations

import json
import math
import random
import sys
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine

from data.demo import make_demo

REMARK = make_demo.REMARK
# The foot of the knoll is this far from its top, in its own half-widths, each worth so many metres of slope.
FOOT, RADIUS_M = 0.9935, 223.9
ADVANCE_M, FRONT_2018_M, STEEP_M = 6.0, 36.0, 9.0
LOW, HIGH = 0.04, 0.88
# date, method, looks of each row, how far the whole survey lies off (logit: dry or wet years, another eye)
SURVEYS: list[tuple[str, str, int, float]] = [
    ("2018-09-08", "daubenmire", 3, 0.1), ("2019-09-14", "points", 1, -0.25), ("2021-09-04", "points", 1, 0.2),
    ("2022-09-10", "points", 1, -0.1), ("2024-09-07", "points", 1, 0.15), ("2025-09-06", "points", 2, -0.05),
]
POINTS = 40
DAUBENMIRE = (5, 25, 50, 75, 95, 101)
# Of the surveyed block a phone's row numbers are not known to the script, so the walkers left it out.
BLOCKS = ("Creek Elbow", "Saddle", "Windmill", "Stony Bit")
PICTURES = (("2021-09-04", (0.0, 0.0)), ("2025-09-06", (0.8, -0.5)))
CELL = 1.0
TYPED = {"level": 0.46, "shed_enough": 0.8, "mulch_m": 0.6, "fire_from": "12-15", "fire_to": "03-31",
         "nets_from": "05-10", "nets_to": "06-20", "flowering_from": "10-28", "flowering_to": "11-16", "stones": True}
GRASS, BARE, STRAW, CROWN = (92, 128, 66), (168, 140, 112), (186, 170, 120), (70, 84, 62)


def share(upslope_m: float, year: float, off: float) -> float:
    """Return the true grass cover of a row."""
    front = FRONT_2018_M + ADVANCE_M * (year - 2018.68)
    return LOW + (HIGH - LOW) / (1.0 + math.exp((upslope_m - front) / STEEP_M - off))


def year_of(date: str) -> float:
    """Return a date as a year with decimals, by months."""
    return int(date[:4]) + (int(date[5:7]) - 1) / 12 + int(date[8:]) / 365


def looks(chance: random.Random, rows: list[tuple[str, int, list[int], float]]) -> list[list[Any]]:
    """Return the lines of every survey: rows given as block, row, positions of its trees, metres upslope."""
    normal = make_demo.normal
    own = {(block, row): 0.45 * normal(chance) for block, row, *_ in rows}
    lines: list[list[Any]] = []
    for date, method, number, off in SURVEYS:
        for block, row, positions, upslope in rows:
            # Rows far up are not always walked
            if block not in BLOCKS or (upslope > 95 and chance.random() < 0.3):
                continue
            for look in range(number):
                truth = share(upslope, year_of(date), own[block, row] + off + 0.15 * normal(chance))
                position = positions[int(len(positions) * (look + 0.5) / number)]
                lines.append([date, block, row, position, method, *noted(chance, truth, method, block), REMARK])
    return lines


def noted(chance: random.Random, grass: float, method: str, block: str) -> list[int]:
    """Return what is written down of one look: living grass, dead grass, litter, rock, bare."""
    rock = 0.3 if block == "Stony Bit" else 0.05
    shares = [0.7 * grass, 0.3 * grass, 0.35 * (1 - grass), rock * (1 - grass), (0.65 - rock) * (1 - grass)]
    if method == "daubenmire":
        seen = [100 * min(max(part + 0.05 * (chance.random() - 0.5), 0.0), 1.0) for part in shares]
        return [0 if part < 0.5 else 1 + sum(part >= top for top in DAUBENMIRE[:5]) for part in seen]
    hits = [0] * len(shares)
    for _ in range(POINTS):
        mark, part = chance.random(), 0
        while part < len(shares) - 1 and mark >= shares[part]:
            mark -= shares[part]
            part += 1
        hits[part] += 1
    return hits


def seed_checks() -> list[list[Any]]:
    """Return the seed-head checks: one part ready, one early, one with a grass that nobody could name."""
    return [
        ["2025-11-28", "Creek Elbow", 1, 5, "Rytidosperma", 40, 37, REMARK],
        ["2025-11-28", "Creek Elbow", 1, 5, "Themeda triandra", 40, 4, REMARK],
        ["2025-11-28", "Windmill", "", "", "Poa sieberiana", 40, 17, REMARK],
        ["2025-11-29", "Saddle", 1, 4, "Microlaena stipoides", 12, 9, REMARK],
        ["2025-11-29", "Stony Bit", "", "", "", 30, 2, REMARK],
    ]


def write_picture(path: Path, date: str, shift: tuple[float, float], trees: list[dict[str, Any]]) -> None:
    """Write a small picture: grass by the truth in patches, crowns as discs; it lies ``shift`` off [m east, north]."""
    chance = np.random.Generator(np.random.PCG64(4711))
    reach = 250.0
    side = int(2 * reach / CELL)
    middles = -reach + CELL * (np.arange(side) + 0.5)
    east, north = np.meshgrid(middles - shift[0], middles[::-1] - shift[1])
    # The same patches in both pictures, else nothing could be aligned
    patch = sum(np.cos(east * math.sin(turn) / length + north * math.cos(turn) / length + start)
                for turn, length, start in chance.uniform([0, 1.2, 0], [6.28, 4.0, 6.28], (24, 3)))
    level = np.argsort(np.argsort(patch.ravel())).reshape(patch.shape) / patch.size
    cover = np.vectorize(share)(upslope_m(east, north), year_of(date), 0.0)
    colours = np.where((level < 0.75 * cover)[..., None], GRASS, np.where((level < cover)[..., None], STRAW, BARE))
    for tree_east, tree_north in ((tree["east"], tree["north"]) for tree in trees):
        row, column = int((reach - tree_north - shift[1]) / CELL), int((tree_east + reach + shift[0]) / CELL)
        near = (slice(max(row - 2, 0), row + 3), slice(max(column - 2, 0), column + 3))
        crown = np.hypot(east[near] - tree_east, north[near] - tree_north) < 1.5
        colours[near][crown] = CROWN
    left, top = make_demo.TOP[0] - reach, make_demo.TOP[1] + reach
    with rasterio.open(path, "w", driver="GTiff", width=side, height=side, count=3, dtype="uint8", crs=make_demo.CRS,
                       transform=Affine(CELL, 0, left, 0, -CELL, top), compress="deflate", predictor=2, zlevel=9,
                       photometric="RGB") as target:
        target.write(np.moveaxis(colours.astype(np.uint8), 2, 0))
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION=f"{date}. {REMARK}")


def upslope_m(east: Any, north: Any) -> Any:
    """Return metres up the knoll from its foot, near enough: the bell's contours are ellipses about its top."""
    return RADIUS_M * (FOOT - np.hypot(np.asarray(east) / 250.0, np.asarray(north) / 205.0))


def make(folder: Path) -> None:
    """Write the files of the sward into ``folder``."""
    trees = make_demo.make_trees(random.Random(make_demo.SEED))
    rows: dict[tuple[str, int], list[dict[str, Any]]] = {}
    for tree in trees:
        rows.setdefault((tree["block"], tree["row"]), []).append(tree)
    told = [
        (*key, sorted(tree["position"] for tree in of),
         float(np.mean([upslope_m(tree["east"], tree["north"]) for tree in of])))
        for key, of in rows.items()
    ]
    header = ["date", "block", "row", "position", "method", "grass", "dead_grass", "litter", "rock", "bare", "remark"]
    make_demo.write_csv(folder / "cover.csv", header, looks(random.Random(make_demo.SEED + 3), told))
    header = ["date", "block", "from_row", "to_row", "grass", "heads", "shed", "remark"]
    make_demo.write_csv(folder / "seed-checks.csv", header, seed_checks())
    typed = {"invented": {"sward": REMARK}, "sward": TYPED}
    (folder / "sward.json").write_text(json.dumps(typed, indent=2) + "\n", encoding="utf-8", newline="\n")
    for date, shift in PICTURES:
        write_picture(folder / f"picture-{date[:4]}.tif", date, shift, trees)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
