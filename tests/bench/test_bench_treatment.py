"""Speed of the zone; figures are printed, nothing is gated. The peer for the runs is scipy.optimize.milp (HiGHS)."""

import time

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import diags_array, eye_array, hstack

from gridmap.treatment import best_runs, make_zone

MONEY = {"cost_per_tree": 1.0, "start_cost": 2.0, "loss_per_tree": 4.0}


def smooth_chances(xy, seed=1):
    """Chances with a few hot spots."""
    rng = np.random.default_rng(seed)
    spots = xy[rng.choice(len(xy), 25)]
    far = np.hypot(*(xy[:, None] - spots[None]).transpose(2, 0, 1)).min(axis=1)
    return np.clip(np.exp(-far / 25) * rng.uniform(0.3, 1.0, len(xy)), 0, 1)


def grove(jitter_m):
    """Five blocks of 20 rows of 50 trees, 8 x 5 m, positions crooked by up to ``jitter_m``."""
    rng = np.random.default_rng(0)
    block, row, position = (grid.ravel() for grid in np.meshgrid(np.arange(5), np.arange(1, 21), np.arange(1, 51),
                                                                 indexing="ij"))
    xy = np.column_stack([position * 5.0, row * 8.0 + block * 200.0]) + rng.uniform(-jitter_m, jitter_m, (5000, 2))
    xy += [500_000, 5_500_000]
    trees = gpd.GeoDataFrame({"tree": [f"t{i}" for i in range(5000)], "block": [f"b{b}" for b in block], "row": row,
                              "position": position, "status": "alive"}, geometry=gpd.points_from_xy(*xy.T), crs=7855)
    blocks = gpd.GeoDataFrame({"block": [f"b{b}" for b in range(5)], "row_spacing_m": 8.0, "tree_spacing_m": 5.0,
                               "row_bearing_deg": 90.0, "canopy_width_m": 3.5}, geometry=[None] * 5, crs=7855)
    dams = gpd.GeoDataFrame({"keep_out": ["a", "b"], "name": ["dam", "hives"], "kind": ["water", "hive"],
                             "setback_m": [20.0, 30.0]},
                            geometry=shapely.buffer(shapely.points(xy[[1500, 4200]]), 15), crs=7855)
    return trees, blocks, pd.DataFrame({"tree": trees["tree"], "chance_over": smooth_chances(xy)}), dams


def best_of(call, times=5):
    """Least seconds of a few calls."""
    took = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        took.append(time.perf_counter() - begin)
    return min(took)


def test_zone_of_5000_trees():
    for name, jitter in (("straight", 0.0), ("crooked by 2.4 m", 2.4)):
        given = grove(jitter)
        zone = make_zone(*given, walked=given[1]["block"], margin_along_m=5, margin_across_m=8, **MONEY)
        seconds = best_of(lambda given=given: make_zone(
            *given, walked=given[1]["block"], margin_along_m=5, margin_across_m=8, litres_per_tree=8.0, **MONEY))
        print(f"\n5,000 trees to runs and zone, {name}: {seconds:.3f} s ({len(zone.trees)} trees, "
              f"{len(zone.runs)} runs, {zone.area_ha:.2f} ha); wanted under 0.5 s")


def test_runs_against_an_integer_programme():
    for n in (50, 400):
        chance = np.random.default_rng(n).beta(0.5, 1.0, n)
        program = {"c": np.concatenate([1 - 4 * chance, np.full(n, 2.0)]), "integrality": np.ones(2 * n),
                   "bounds": Bounds(0, 1), "constraints": LinearConstraint(
                       hstack([eye_array(n) - diags_array(np.ones(n - 1), offsets=-1), -eye_array(n)]).tocsr(), ub=0.0)}
        ours = best_of(lambda chance=chance: best_runs(chance, row=np.ones(len(chance)), **MONEY))
        theirs = best_of(lambda program=program: milp(**program), 3)
        print(f"\none row of {n} trees: best runs {ours * 1e3:.2f} ms, scipy.optimize.milp {theirs * 1e3:.1f} ms, "
              f"ratio {theirs / ours:.0f}")
