"""What older walks and a chosen second pass are worth, in realised cost over many groves."""

from __future__ import annotations

import groves
import numpy as np
import pandas as pd
from scipy.spatial.distance import cdist

from gridmap.pressure import PressureModel

RATIO = 4.0


def cost(chance, expected):
    """Return realised cost per tree (spraying one = 1), and that over knowing the truth."""
    over = expected > groves.THRESHOLD
    spray = chance > 1 / RATIO
    total = float(np.mean(spray + RATIO * (~spray & over)))
    return total, total - float(over.mean())


def spread(xy, n, rng):
    """Return n trees spread over the grove: each new one the farthest from those taken."""
    chosen = [int(rng.integers(len(xy)))]
    distance = cdist(xy[chosen], xy)[0]
    while len(chosen) < n:
        chosen.append(int(np.argmax(distance * rng.uniform(0.9, 1.0, len(xy)))))
        distance = np.minimum(distance, cdist(xy[chosen[-1:]], xy)[0])
    return np.array(chosen)


def fitted(xy, block, expected, size, chosen, beat):
    return PressureModel(groves.THRESHOLD).fit(xy[chosen], beat[chosen], block=block[chosen])


def second_pass(seed):
    """30 spread and 20 chosen, against 50 spread, 30 spread, and 30 spread with 20 more at random."""
    grove = groves.grove("typical", 1000 + seed)
    rng = np.random.default_rng([9, seed])
    xy, block = grove.xy, grove.block
    beat = groves.counts_of(grove.expected, grove.size, rng)
    first, fifty = spread(xy, 30, rng), spread(xy, 50, rng)
    model = fitted(xy, block, grove.expected, grove.size, first, beat)
    rest = np.setdiff1d(np.arange(len(xy)), first)
    walks = {"30 spread": first, "50 spread": fifty,
             "30 spread + 20 at random": np.concatenate([first, rng.choice(rest, 20, replace=False)]),
             "30 spread + 20 chosen": np.concatenate([first, model.next_trees(xy, block, n=20, cost_ratio=RATIO)])}
    lines = {}
    for name, chosen in walks.items():
        told = fitted(xy, block, grove.expected, grove.size, chosen, beat).predict(xy, block=block)
        lines[name] = cost(told["chance_over"].to_numpy(), grove.expected)
    return lines


def carried(seed, correlated):
    """50 new counts alone, with 50 from one visit before, and 25 new with 50 old."""
    old = groves.grove("typical", 2000 + seed)
    new = groves.later_walk(old, correlated, seed)
    xy, block = old.xy, old.block
    alone = PressureModel(groves.THRESHOLD).fit(xy[new.beaten], new.counts, block=block[new.beaten])
    lines = {"50 new": alone.predict(xy, block=block)}
    for name, part in (("50 new + 50 old", slice(None)), ("25 new + 50 old", slice(0, 25))):
        rows = np.concatenate([old.beaten, new.beaten[part]])
        counts = np.concatenate([old.counts, new.counts[part]])
        visit = np.repeat([1, 2], [len(old.beaten), len(new.beaten[part])])
        model = PressureModel(groves.THRESHOLD).fit(xy[rows], counts, block=block[rows], visit=visit)
        lines[name] = model.predict(xy, block=block)
    pooled = PressureModel(groves.THRESHOLD).fit(
        xy[np.concatenate([old.beaten, new.beaten])], np.concatenate([old.counts, new.counts]),
        block=block[np.concatenate([old.beaten, new.beaten])])
    lines["all as one visit"] = pooled.predict(xy, block=block)
    return {name: cost(told["chance_over"].to_numpy(), new.expected) for name, told in lines.items()}


def table(results, base):
    """Return mean cost and regret of each walk with the paired distance from ``base``."""
    frame = pd.DataFrame([{name: value[0] for name, value in line.items()} for line in results])
    regret = pd.DataFrame([{name: value[1] for name, value in line.items()} for line in results])
    gap = frame.sub(frame[base], axis=0)
    return pd.DataFrame({"walk": frame.columns, "cost": frame.mean().to_numpy(), "regret": regret.mean().to_numpy(),
                         "against " + base: gap.mean().to_numpy(),
                         "se": (gap.std() / len(gap) ** 0.5).to_numpy()})
