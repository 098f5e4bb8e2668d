"""What a grove's own past walks are worth for the next one: how the common level is looked for, and the joint model.

Each grove is walked up to three times before (fifty beats a time), its field carried over with the given correlation
and its level moved by a normal step of 0.5; then ten or fifty beats are made. ``shift`` moves every level away from
log 2, the constant of the model, so that the constant has no luck.
"""

from __future__ import annotations

import groves
import numpy as np
import pandas as pd
from walks import cost

from gridmap.pressure import PressureModel, past_level

CONSTANT, AVERAGE, LEVEL = "constant", "past average", "past level"
JOINT, BOTH = "joint model", "latest joint, rest level"
CASES = ((3, 0.5, 0.0), (3, 0.9, 0.0), (3, 0.5, 1.5))
BEATS = (10, 50)


def history(seed, past, correlated, shift):
    """Return the walks of one grove, the oldest first, the last one being the new one."""
    first = groves.grove("typical", 5000 + seed, shift=shift)
    result = [first]
    for step in range(past):
        result.append(groves.later_walk(result[-1], correlated, 10 * seed + step))
    return result


def together(walks, beats=None):
    """Return places, counts, blocks and visits of several walks in one; of the last one only so many beats."""
    rows = [w.beaten[: beats if w is walks[-1] else None] for w in walks]
    return (np.vstack([w.xy[r] for w, r in zip(walks, rows, strict=True)]),
            np.concatenate([w.counts[: len(r)] for w, r in zip(walks, rows, strict=True)]),
            np.concatenate([w.block[r] for w, r in zip(walks, rows, strict=True)]),
            np.repeat(np.arange(len(walks)), [len(r) for r in rows]))


def one(seed, past, correlated, shift):
    """Return log score per held-out count and realised cost of each way and number of beats."""
    walks = history(seed, past, correlated, shift)
    new, old = walks[-1], walks[:-1]
    xy, y, block, visit = together(old)
    rest = visit < past - 1
    ways = {
        CONSTANT: ({}, [new]),
        AVERAGE: ({"past_mean_per_beat": max(float(y.mean()), 0.01)}, [new]),
        LEVEL: ({"past_level": past_level(xy, y, block=block, visit=visit)}, [new]),
        JOINT: ({}, walks),
        BOTH: ({"past_level": past_level(xy[rest], y[rest], block=block[rest], visit=visit[rest])}, walks[-2:]),
    }
    lines = []
    for way, (settings, used) in ways.items():
        for beats in BEATS:
            places, counts, blocks, visits = together(used, beats)
            model = PressureModel(groves.THRESHOLD, **settings).fit(
                places, counts, block=blocks, visit=visits if len(used) > 1 else None)
            score = model.log_predictive_density(new.xy[new.held], new.held_counts, block=new.block[new.held]).mean()
            chance = model.predict(new.xy, block=new.block)["chance_over"].to_numpy()
            lines.append({"way": way, "seed": seed, "beats": beats, "log score": score,
                          "cost": cost(chance, new.expected)[0]})
    return lines


def table(number):
    """Return gains over the constant with their standard errors, for each case and number of beats."""
    result = []
    for past, correlated, shift in CASES:
        every = pd.DataFrame([line for seed in range(number) for line in one(seed, past, correlated, shift)])
        for beats, frame in every.groupby("beats"):
            wide = frame.pivot(index="seed", columns="way")
            for way in frame["way"].unique()[1:]:
                line = {"past walks": past, "correlation": correlated, "level moved": shift, "beats": beats, "way": way}
                for measure in ("log score", "cost"):
                    gap = wide[measure][way] - wide[measure][CONSTANT]
                    line[f"{measure} gap"] = f"{gap.mean():+.3f} ± {gap.std() / len(gap) ** 0.5:.3f}"
                result.append(line)
    return pd.DataFrame(result)
