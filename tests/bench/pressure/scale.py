"""Time and memory beside PyKrige in the same run, each in a process of its own; memory above the interpreter's.

Time is that of the processor with one thread: what one idle core would take, whoever else keeps the machine busy.
PyKrige: log(1 + count), its own variogram fit, mean and variance; no averaging over what is not known, no chances.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np

MODEL, FULL, MOVING = "gridmap", "PyKrige", "PyKrige, 20 near"


def walk(beaten, trees):
    """Return trees six metres apart, and beats of some of them with a wave of pressure."""
    rng = np.random.default_rng(1)
    side = 6.0 * trees**0.5
    xy = rng.uniform(0, side, (trees, 2))
    pick = rng.choice(trees, beaten, replace=False)
    expected = 3 * np.exp(np.sin(xy[pick, 0] / 40) * np.cos(xy[pick, 1] / 55))
    counts = rng.negative_binomial(0.8, 0.8 / (0.8 + expected))
    block = (xy[:, 0] // 250).astype(int) * 1000 + (xy[:, 1] // 250).astype(int)
    return xy, pick, counts, block


def work(method, beaten, trees):
    """Do the job once."""
    xy, pick, counts, block = walk(beaten, trees)
    return job(method, xy, pick, counts, block)


def job(method, xy, pick, counts, block):
    if method == MODEL:
        from gridmap.pressure import PressureModel
        return PressureModel(5).fit(xy[pick], counts, block=block[pick]).predict(xy, block=block)
    from pykrige.ok import OrdinaryKriging
    model = OrdinaryKriging(*xy[pick].T, np.log1p(counts), variogram_model="exponential")
    if method == FULL:
        return model.execute("points", *xy.T)
    return model.execute("points", *xy.T, backend="C", n_closest_points=20)


def child(method, beaten, trees):
    """Print seconds of the processor (least of a few, warm) and peak memory over that before the work [MB], as JSON."""
    import resource
    import time

    work(method, 50, 200)
    xy, pick, counts, block = walk(beaten, trees)
    factor = 1024 if sys.platform != "darwin" else 1
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    taken = []
    while not taken or (sum(taken) < 3.0 and len(taken) < 5):
        start = time.process_time()
        job(method, xy, pick, counts, block)
        taken.append(time.process_time() - start)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"s": min(taken), "mb": (after - before) * factor / 1e6}))


def measured(method, beaten, trees):
    """Return seconds and MB of a method in a process of its own."""
    words = [sys.executable, str(Path(__file__)), method, str(beaten), str(trees)]
    alone = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    run = subprocess.run(words, capture_output=True, text=True, check=True, env=os.environ | alone)
    return json.loads(run.stdout.splitlines()[-1])


JOBS = (
    (MODEL, 50, 1_000), (FULL, 50, 1_000), (MODEL, 50, 100_000), (FULL, 50, 100_000), (MODEL, 50, 1_000_000),
    (MODEL, 500, 20_000), (MODEL, 2_000, 20_000), (FULL, 2_000, 20_000), (MOVING, 2_000, 20_000),
    (MODEL, 8_000, 20_000), (MODEL, 20_000, 1_000_000),
)


def table(most_trees=1_000_000):
    """Return one line for each job, and the exponents of time in beats and in trees."""
    lines = [{"method": m, "beats": n, "trees": t} | measured(m, n, t) for m, n, t in JOBS if t <= most_trees]
    found = {(line["method"], line["beats"], line["trees"]): line["s"] for line in lines}
    exponents = {}
    if most_trees >= 1_000_000:
        exponents["trees, 50 beats"] = np.log10(found[MODEL, 50, 1_000_000] / found[MODEL, 50, 100_000])
    exponents["beats, 20,000 trees"] = np.log(found[MODEL, 8_000, 20_000] / found[MODEL, 2_000, 20_000]) / np.log(4)
    return lines, exponents


if __name__ == "__main__":
    child(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
