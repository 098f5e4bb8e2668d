"""Speed of the pressure map beside ordinary kriging in the same run; printed, nothing gated.

Times are of a warm process. OPENBLAS_NUM_THREADS=1 is as quick as 2 for walks of fifty beats (the matrices are small)
and far steadier where others keep the machine busy.
"""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging

from gridmap.pressure import PressureModel


def walk(trees, beaten=50):
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 15 * trees**0.5 / 2, (trees, 2))
    block = (xy[:, 0] // (xy[:, 0].max() / 4)).astype(int)
    pick = rng.choice(trees, beaten, replace=False)
    counts = rng.negative_binomial(0.8, 0.8 / (0.8 + 3 * np.exp(np.sin(xy[pick, 0] / 30))))
    return xy, block, pick, counts


def fit_and_predict(xy, block, pick, counts):
    return PressureModel(5).fit(xy[pick], counts, block=block[pick]).predict(xy, block=block)


def krige(xy, pick, counts):
    return OrdinaryKriging(*xy[pick].T, np.log1p(counts), variogram_model="exponential").execute("points", *xy.T)


def best_of(function, *arguments, times=5):
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        function(*arguments)
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.parametrize("trees", [1_000, 100_000])
def test_map(benchmark, trees):
    xy, block, pick, counts = walk(trees)
    table = benchmark.pedantic(fit_and_predict, (xy, block, pick, counts), rounds=5, warmup_rounds=1)
    assert len(table) == trees
    ours, theirs = benchmark.stats.stats.min, best_of(krige, xy, pick, counts)
    print(f"\n{trees} trees from 50 beats: {ours * 1e3:.1f} ms, PyKrige {theirs * 1e3:.1f} ms, "
          f"ratio {ours / theirs:.2f}, OPENBLAS_NUM_THREADS {os.environ.get('OPENBLAS_NUM_THREADS', 'not set')}")


def test_draws(benchmark):
    xy, block, pick, counts = walk(1_000)
    model = PressureModel(5).fit(xy[pick], counts, block=block[pick])
    draws = benchmark.pedantic(model.draw, (xy,), {"block": block}, rounds=3, warmup_rounds=1)
    assert draws.shape == (200, 1_000)
    print(f"\n200 joint draws of 1,000 trees: {benchmark.stats.stats.min * 1e3:.0f} ms")
