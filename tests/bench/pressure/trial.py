"""One grove of a scenario through the model and every peer; scenarios gathered into tables."""

from __future__ import annotations

import groves
import numpy as np
import pandas as pd
import peers
import scores

from gridmap.pressure import PressureModel

MODEL, TREE_SHARE_0, PAST, EVERYTHING = "gridmap", "gridmap, phi 0", "gridmap, past mean", "spray everything"
OURS = (MODEL, TREE_SHARE_0, PAST)


def count_draws(model, xy, block, rng):
    """Return draws of counts at trees from the curves by size (not joint between trees)."""
    # One chunk: a walk of up to 300 beats and a few hundred trees.
    (rows, curves), = model._curves(model._asked(xy, block, None, None), by_size=True)
    which = rng.choice(len(curves.weight), size=(scores.DRAWS, len(xy)), p=curves.weight / curves.weight.sum())
    column = np.arange(len(xy))
    log_mean = rng.normal(curves.mean[which, column], np.sqrt(curves.variance[which, column]))
    size = curves.size[which]
    result = np.empty(log_mean.shape)
    result[:, rows] = rng.poisson(np.minimum(np.exp(log_mean) * rng.gamma(size, 1 / size), 1e9))
    return result


def of_model(grove, model, rest):
    """Return scores and the chance of each unbeaten tree."""
    held = grove.held
    model.fit(grove.xy[grove.beaten], grove.counts, block=grove.block[grove.beaten], suspected=grove.suspected)
    table = model.predict(grove.xy, block=grove.block)
    truth = grove.expected[rest]
    score = model.log_predictive_density(grove.xy[held], grove.held_counts, block=grove.block[held]).mean()
    draws = count_draws(model, grove.xy[held], grove.block[held], np.random.default_rng(1))
    line = {"log score": score, "crps": scores.crps(draws, grove.held_counts),
            "bias": table["mean_per_beat"].to_numpy()[rest].sum() / truth.sum() - 1}
    for p in (50, 80, 90):
        inside = (table[f"low_{p}"].to_numpy()[rest] <= truth) & (truth <= table[f"high_{p}"].to_numpy()[rest])
        line[f"in {p}"] = inside.mean()
    chance = table["chance_over"].to_numpy()[rest]
    return line, {"chance": chance}, chance


def of_peer(grove, name, rest):
    told = peers.foretell(name, grove.xy[grove.beaten], grove.counts.astype(float), grove.block[grove.beaten],
                          grove.xy, grove.block)
    draws = scores.negative_binomial_draws(told.mean[grove.held], told.size, np.random.default_rng(1))
    line = {"log score": scores.peer_log_score(told, grove.held, grove.held_counts),
            "gaussian": scores.gaussian_log_score(told, grove.held, grove.held_counts),
            "crps": scores.crps(draws, grove.held_counts),
            "bias": told.mean[rest].sum() / grove.expected[rest].sum() - 1}
    ways = {way: chance[rest] for way, chance in peers.chances(told, groves.THRESHOLD).items()}
    return line, ways, told.mean[rest]


def run(scenario, seed, *, quick=False):
    """Return one line for each method and way to a chance, and the chances themselves."""
    grove = groves.grove(scenario, seed)
    rest = np.setdiff1d(np.arange(len(grove.xy)), grove.beaten)
    over = grove.expected[rest] > groves.THRESHOLD
    # What a grower's past walks would say: the true level, a half off on the log scale.
    past = np.exp(grove.level + np.random.default_rng([5, seed]).normal(0, 0.5))
    models = {MODEL: PressureModel(groves.THRESHOLD)}
    if not quick:
        models[TREE_SHARE_0] = PressureModel(groves.THRESHOLD, tree_share=0.0)
        models[PAST] = PressureModel(groves.THRESHOLD, past_mean_per_beat=float(past))
    names = list(peers.PEERS) if not quick else ["block mean", "inverse distance", "kriging log1p"]
    told = {name: of_model(grove, model, rest) for name, model in models.items()}
    told |= {name: of_peer(grove, name, rest) for name in names}
    told[EVERYTHING] = {}, {"chance": np.ones(len(rest))}, np.ones(len(rest))
    lines, kept = [], []
    for name, (line, ways, rank) in told.items():
        for way, chance in ways.items():
            marks = {"brier": scores.brier(chance, over), "auc": scores.area_under_curve(rank, over)}
            marks |= {f"regret {ratio:g}": scores.regret(chance, over, ratio) for ratio in scores.RATIOS}
            lines.append({"scenario": scenario, "seed": seed, "method": name, "way": way} | line | marks)
            kept.append((name, way, chance, over))
    return lines, kept


def gather(lines, kept):
    """Return the table of one scenario: each method by the kindest of its ways, with its distance from the model."""
    frame = pd.DataFrame(lines)
    rows = []
    base = frame[frame["method"] == MODEL].set_index("seed")
    for (name, way), part in frame.groupby(["method", "way"], sort=False):
        part = part.set_index("seed")
        row = {"method": name, "way": way}
        for column in part.columns.difference(["scenario", "method", "way"]):
            row[column], row[f"{column} own se"] = part[column].mean(), part[column].std() / len(part) ** 0.5
            gap = part[column] - base[column]
            row[f"{column} gap"], row[f"{column} se"] = gap.mean(), gap.std() / len(gap) ** 0.5
        chance = np.concatenate([c for n, w, c, _ in kept if (n, w) == (name, way)])
        over = np.concatenate([o for n, w, _, o in kept if (n, w) == (name, way)])
        row["ece"] = scores.calibration_error(chance, over)
        rows.append(row)
    return pd.DataFrame(rows)


def kindest(tables):
    """Give each peer, measure by measure, the way to a chance that served it best over all scenarios together."""
    everything = pd.concat(tables, ignore_index=True)
    result = {}
    for measure in ("ece", "brier", *(f"regret {ratio:g}" for ratio in scores.RATIOS)):
        mean = everything.groupby(["method", "way"])[measure].mean().reset_index().sort_values(measure)
        chosen = dict(mean.drop_duplicates("method")[["method", "way"]].to_numpy())
        own = [measure, f"{measure} gap", f"{measure} se", f"{measure} own se"]
        for table in tables:
            part = table[table["way"] == table["method"].map(chosen)].set_index("method")
            kept = result.setdefault(table["scenario"].iloc[0], part.drop(columns="way").copy())
            for column in own:
                if column in part:
                    kept[column] = part[column]
    return {name: table.reset_index() for name, table in result.items()}
