"""Does a distance-to-edge term earn its place? The model with and without one, on made-up groves and on real counts.

Attack often starts on the outer trees. The term adds b exp(-e / 8 m) to the log expected count, e the distance of a
tree to the edge of its block and b ~ N(0, 0.8^2); "weighed" lets the walk say whether there is one (even odds before).
All grid points are used and nothing is gathered, so that the term is all that differs.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import groves
import numpy as np
import pandas as pd
from scipy.spatial import ConvexHull
from scipy.spatial.distance import cdist

from gridmap.pressure._fit import walk_spacing_factor
from gridmap.pressure._laplace import laplace
from gridmap.pressure._prior import MEAN_PER_BEAT, SD_MEAN, grid
from gridmap.pressure._walk import covariance, read_walk
from gridmap.statistics import negative_binomial_log_normal_log_pmf

REACH_M, SD = 8.0, 0.8
WITHOUT, WITH, WEIGHED = "without", "with edge term", "weighed"


def edge_distance_m(xy, block):
    """Return the distance of each tree to the hull of its block's trees."""
    result = np.empty(len(xy))
    for b in np.unique(block):
        rows = np.flatnonzero(block == b)
        result[rows] = -(ConvexHull(xy[rows]).equations @ np.column_stack([xy[rows], np.ones(len(rows))]).T).max(axis=0)
    return np.maximum(result, 0.0)


def told(walk, near, sd, to, to_block, to_near):
    """Return weights, means, variances and sizes of every grid point at the trees asked about."""
    points = grid(walk_spacing_factor(walk))
    log_mean = np.log(MEAN_PER_BEAT)
    K = covariance(walk, points) + sd**2 * np.outer(near, near)
    posterior = laplace(K, walk.counts, log_mean + walk.log_effort, points.size)
    square = points.spread[:, None, None] ** 2
    cross = square * np.exp(-2 * cdist(to, walk.xy) / points.range_m[:, None, None])
    tau = walk.sd_block**2
    cross += SD_MEAN**2 + sd**2 * np.outer(to_near, near) + tau * (to_block[:, None] == walk.block)
    before = square[:, :, 0] + SD_MEAN**2 + tau + sd**2 * to_near**2
    mean = log_mean + np.einsum("gti,gi->gt", cross, posterior.pull)
    variance = before - np.einsum("gti,gij,gtj->gt", cross, posterior.precision(), cross, optimize=True)
    return points.log_prior + posterior.log_evidence, mean, np.maximum(variance, 1e-9), points.size


def log_scores(xy, y, block, edge_m, to, to_block, to_edge_m, held):
    """Return the log score per held-out count without, with, and with the term weighed, and the chance of the term."""
    walk = read_walk(xy, y, None, None if np.ptp(block) == 0 and np.ptp(to_block) == 0 else block, None, 3.0)
    walk = replace(walk, block=np.asarray(block))
    near, to_near = np.exp(-edge_m / REACH_M), np.exp(-to_edge_m / REACH_M)
    each, evidence = [], []
    for sd in (0.0, SD):
        log_weight, mean, variance, size = told(walk, near, sd, to, to_block, to_near)
        density = negative_binomial_log_normal_log_pmf(held, mean, variance, size[:, None])
        evidence.append(np.logaddexp.reduce(log_weight))
        each.append(np.logaddexp.reduce(density + (log_weight - evidence[-1])[:, None], axis=0))
    share = 1.0 / (1.0 + np.exp(evidence[0] - evidence[1]))
    weighed = np.logaddexp(each[0] + np.log1p(-share), each[1] + np.log(share))
    return {WITHOUT: each[0].mean(), WITH: each[1].mean(), WEIGHED: weighed.mean(), "chance of a term": share}


def simulated(seed, times, sampled=50):
    """One typical grove whose outer trees carry so many times the count of inner ones (1: no edge effect)."""
    first = groves.grove("typical", 3000 + seed, sampled=sampled)
    rng = np.random.default_rng([21, seed])
    edge_m = edge_distance_m(first.xy, first.block)
    expected = first.expected * times ** np.exp(-edge_m / rng.uniform(5, 12))
    beat = groves.counts_of(expected, first.size, rng)
    at, out = first.beaten, first.held
    return log_scores(first.xy[at], beat[at], first.block[at], edge_m[at], first.xy[out], first.block[out], edge_m[out],
                      beat[out])


def real_sets(folder: Path):
    """Yield name, places [m], counts and distance to the edge [m] of sets whose edge is known or that fill a field."""
    for name, one in (("wheat", "arthropods_wheat_grid/arthropods.csv"), ("aphids", "aphids_wheat_grid/aphids.csv")):
        frame = pd.read_csv(folder / one)
        for date, part in frame.groupby("date_no") if "date_no" in frame else [("", frame)]:
            yield f"{name} {date}".strip(), *_grid_set(part)
    holland = pd.read_csv(folder / "holland_arthropods" / "holland.csv")
    for column in ("collembola", "carabidae"):
        yield column, *_grid_set(holland.rename(columns={column: "count"}))
    worms = pd.read_csv(folder / "beall_webworms" / "webworms.csv")
    for block, part in worms.groupby("block"):
        yield f"webworms {block}", *_grid_set(part.assign(x_m=part["col"] * 0.914, y_m=part["row"] * 0.559), 12.0)
    yield from _vineyard(folder)
    yield from _citrus(folder)


def _grid_set(frame, stretch=1.0):
    """Return a grid that fills a field: edge distances are stretched to those of trees where the units are small."""
    xy = frame[["x_m", "y_m"]].to_numpy(float)
    edge = np.minimum(xy - xy.min(axis=0), xy.max(axis=0) - xy).min(axis=1)
    return xy, frame["count"].to_numpy(float), stretch * edge


def _vineyard(folder):
    """Trap totals along rows; the distance from the field margin is the source's own, taken as feet."""
    frame = pd.read_csv(folder / "vineyard_canopy_traps" / "bugs.csv")
    for (transect, week), part in frame.groupby(["transect", "week"]):
        taxa = [c for c in part.columns if c not in
                ("transect", "row", "position_x", "position", "date", "time", "julian", "week")]
        total = part.groupby(["row", "position_x"])[taxa].sum().sum(axis=1).reset_index(name="count")
        metres = total["position_x"].to_numpy(float) * 0.3048
        rows = total["row"].rank(method="dense").to_numpy() * 3.0
        yield f"vineyard {transect} {week}", np.column_stack([metres, rows]), total["count"].to_numpy(float), metres


def _citrus(folder):
    """Diseased trees in each square of 2 x 2 or 3 x 3 trees, whole orchards."""
    for name, step in (("El-Realengo", (5.5, 5.5)), ("IVIA6and7", (2.0, 6.0))):
        frame = pd.read_csv(folder / "citrus_orchards" / f"citrus_ctv_{name}.csv")
        for year, part in frame.groupby("year"):
            x, y = (part[c].rank(method="dense").to_numpy().astype(int) - 1 for c in ("x", "y"))
            square = part.assign(i=x // 2, j=y // 2).groupby(["i", "j"])["diseased"].sum().reset_index(name="count")
            square["x_m"], square["y_m"] = square["i"] * 2 * step[0], square["j"] * 2 * step[1]
            yield f"citrus {name} {year}", *_grid_set(square)


def of_real(folder, repeats=4):
    """Return one line for each real set: half of the counts, at most fifty, foretell the rest."""
    lines = []
    for name, xy, y, edge_m in real_sets(folder):
        block = np.zeros(len(y), dtype=int)
        for repeat in range(repeats):
            order = np.random.default_rng(repeat).permutation(len(y))
            at, out = order[: min(50, len(y) // 2)], order[min(50, len(y) // 2):][:150]
            lines.append({"set": name} | log_scores(xy[at], y[at], block[at], edge_m[at], xy[out], block[out],
                                                    edge_m[out], y[out]))
    return pd.DataFrame(lines).groupby("set", sort=False).mean().reset_index()


def line(name, frame):
    """Return mean gains with their standard error over groves (or sets)."""
    gains = frame[[WITH, WEIGHED]].sub(frame[WITHOUT], axis=0)
    error = gains.std() / len(gains) ** 0.5
    said = {f"{way} gains": f"{gains[way].mean():+.4f} ± {error[way]:.4f}" for way in (WITH, WEIGHED)}
    return {"counts": name, "groves or sets": len(frame)} | said | {
        "chance of a term": f"{frame['chance of a term'].mean():.2f}"}


def table(number, folder):
    """Return the gain in log score per count by kind of grove, and on real sets."""
    lines = [line(f"edge {times:g} times", pd.DataFrame([simulated(seed, times) for seed in range(number)]))
             for times in (1.0, 2.0, 4.0)]
    if folder:
        real = of_real(folder)
        lines += [line(f"real: {kind}", part) for kind, part in real.groupby(real["set"].str.split().str[0])]
        lines.append(line("real: all", real))
    return pd.DataFrame(lines)
