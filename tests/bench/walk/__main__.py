"""The bench of the walk: python tests/bench/walk [--groves 100]. Realised cost of the decision that a walk leads to.

Simulated groves of tests/bench/pressure (scenarios typical, short range, one hot spot), every walk on the same groves
and the same beats; printed with standard errors, nothing gated. Set OPENBLAS_NUM_THREADS=1.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "pressure"))

import geopandas as gpd
import groves
import numpy as np
import pandas as pd
from sklearn.cluster import KMeans
from walks import cost

from gridmap.pressure import PressureModel
from gridmap.walk import plan_walk

SCENARIOS = ("typical", "short range", "one hot spot")
OURS = "30 of ours"


def labelled(xy, block):
    """Return the trees of a bench grove with rows and positions, found anew from their lattice."""
    frames = []
    for b in np.unique(block):
        mine = np.flatnonzero(block == b)
        place = xy[mine] - xy[mine].mean(axis=0)
        # The lattice is regular: the shortest steps lie along the rows.
        step = place[:, None] - place[None]
        far = np.hypot(*np.moveaxis(step, -1, 0))
        far[np.diag_indices(len(mine))] = np.inf
        i, j = np.unravel_index(np.argmin(far), far.shape)
        along = step[i, j] / far[i, j]
        across = place @ [-along[1], along[0]]
        row = np.unique(np.round(across, 1), return_inverse=True)[1] + 1
        frame = pd.DataFrame({"at": mine, "block": b, "row": row, "along": place @ along})
        frame["position"] = frame.groupby("row")["along"].rank(method="first").astype(int)
        frames.append(frame)
    frame = pd.concat(frames).sort_values("at").reset_index(drop=True)
    frame["tree"] = frame["at"]
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(*xy.T))


def legs(trees, xy, n, rng):
    """Walk two straight legs through each block at random bearings, beating trees at even steps: n in all."""
    chosen, blocks = [], np.unique(trees["block"])
    for number, b in enumerate(blocks):
        mine = np.flatnonzero(trees["block"] == b)
        wanted = n // len(blocks) + (number < n % len(blocks))
        taken = []
        for leg in range(2):
            turn = rng.uniform(0, np.pi)
            place = xy[mine] - xy[mine].mean(axis=0)
            through = place[rng.integers(len(mine))] * 0.5
            off = np.abs((place - through) @ [-np.sin(turn), np.cos(turn)])
            near = np.argsort(off)[: max(3 * wanted // 2, 1)]
            line = near[np.argsort(place[near] @ [np.cos(turn), np.sin(turn)])]
            part = (wanted + 1) // 2 if leg == 0 else wanted - (wanted + 1) // 2
            line = [k for k in line if k not in taken]
            taken += [line[k] for k in np.unique(np.linspace(0, len(line) - 1, part).astype(int))] if part else []
        chosen.append(mine[np.unique(taken)])
    return np.concatenate(chosen)


def clusters(xy, n, seed):
    """Take the tree nearest to each centre of n clusters."""
    centre = KMeans(n, n_init=1, random_state=seed).fit(xy).cluster_centers_
    return np.unique(((xy[:, None] - centre[None]) ** 2).sum(axis=2).argmin(axis=0))


def ours(trees, n, seed):
    return plan_walk(trees, n, seed=seed)["at"].to_numpy()


def one(scenario, seed):
    """Return realised cost of each walk on one grove."""
    grove = groves.grove(scenario, 3000 + seed)
    rng = np.random.default_rng([31, seed])
    xy, block = grove.xy, grove.block
    trees = labelled(xy, block)
    beat = groves.counts_of(grove.expected, grove.size, rng)
    chosen = {
        OURS: ours(trees, 30, seed), "30 k-means spread": clusters(xy, 30, seed),
        "30 at random": rng.choice(len(xy), 30, replace=False), "30 straight legs": legs(trees, xy, 30, rng),
        "80 straight legs": legs(trees, xy, 80, rng), "50 of ours": ours(trees, 50, seed),
        "50 k-means spread": clusters(xy, 50, seed), "50 at random": rng.choice(len(xy), 50, replace=False),
    }
    lines = {}
    for name, rows in chosen.items():
        told = PressureModel(groves.THRESHOLD).fit(xy[rows], beat[rows], block=block[rows]).predict(xy, block=block)
        lines[name] = cost(told["chance_over"].to_numpy(), grove.expected)
    return lines


def second_round(seed):
    """Return what the second walk brings that goes where the first left the decision open, beside one that does not."""
    grove = groves.grove("typical", 5000 + seed)
    rng = np.random.default_rng([33, seed])
    xy, block = grove.xy, grove.block
    trees = labelled(xy, block)
    beat = groves.counts_of(grove.expected, grove.size, rng)
    first = ours(trees, 30, seed)

    def map_of(rows):
        return PressureModel(groves.THRESHOLD).fit(xy[rows], beat[rows], block=block[rows]).predict(xy, block=block)

    previous = map_of(first).assign(tree=trees["tree"])
    again = {"30 + 20 of ours, last map seen": plan_walk(trees, 20, seed=seed + 1, previous=previous)["at"].to_numpy(),
             "30 + 20 of ours, not seen": ours(trees, 20, seed + 1)}
    return {name: cost(map_of(np.union1d(first, rows))["chance_over"].to_numpy(), grove.expected)
            for name, rows in again.items()}


def table(results, base):
    """Return mean cost and regret with the paired distance from ``base``."""
    spent = pd.DataFrame([{name: value[0] for name, value in line.items()} for line in results])
    regret = pd.DataFrame([{name: value[1] for name, value in line.items()} for line in results])
    gap = spent.sub(spent[base], axis=0)
    return pd.DataFrame({"walk": spent.columns, "cost": spent.mean().to_numpy(), "regret": regret.mean().to_numpy(),
                         "gap": gap.mean().to_numpy(), "se": (gap.std() / len(gap) ** 0.5).to_numpy()})


def main():
    """Read the command line and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--groves", type=int, default=100)
    parser.add_argument("--scenario", action="append", choices=SCENARIOS)
    given = parser.parse_args()
    kept = []
    for scenario in given.scenario or SCENARIOS:
        results = [one(scenario, seed) for seed in range(given.groves)]
        kept += results
        print(f"\n### {scenario} ({given.groves} groves), spraying one tree = 1, gap to {OURS}\n")
        print(table(results, OURS).round(4).to_string(index=False), flush=True)
    print(f"\n### all ({len(kept)} groves)\n\n{table(kept, OURS).round(4).to_string(index=False)}", flush=True)
    again = [second_round(seed) for seed in range(given.groves)]
    print("\n### a second walk\n\n" + table(again, "30 + 20 of ours, not seen").round(4).to_string(index=False))


if __name__ == "__main__":
    main()
