"""What was aimed at, beside what came out: one line for each target, met or by how much it is missed."""

from __future__ import annotations

import groves
import pandas as pd
import trial

AHEAD = {"typical": 0.05, "tree nugget": 0.05, "one hot spot": 0.03, "no structure": -0.015, "all zeros": -0.015}
COVERED = ("typical", "one block", "tree nugget")
PICKED = "third picked for high counts"


def line(target, value, met, error=None, more=""):
    """Return one line of the table; ``met`` True or False."""
    found = value if isinstance(value, str) else f"{value:+.3f}" + ("" if error is None else f" ± {error:.3f}")
    return {"target": target, "found": found + (f" ({more})" if more else ""), "verdict": "met" if met else "missed"}


def peers_of(table):
    """Return the lines of the peers alone."""
    return table[~table["method"].isin([*trial.OURS, trial.EVERYTHING])]


def ours(table):
    """Return the line of the model."""
    return table[table["method"] == trial.MODEL].iloc[0]


def of_scenarios(chosen):
    """Return the verdicts that simulated groves give; ``chosen`` as `trial.kindest` answers."""
    lines = []
    for name, least in AHEAD.items():
        if name in chosen:
            rest = peers_of(chosen[name])
            best = rest.loc[rest["log score"].idxmax()]
            lines.append(line(f"log score ahead of the best peer, {name}: at least {least:+.3f}",
                              -best["log score gap"], -best["log score gap"] >= least, best["log score se"],
                              best["method"]))
    lines += _coverage(chosen) + _calibration(chosen) + _regret(chosen)
    if PICKED in chosen:
        own = ours(chosen[PICKED])
        lines.append(line("mean bias, a third picked for high counts: under 0.10", own["bias"], abs(own["bias"]) < 0.1,
                          own["bias own se"]))
    return lines


def _coverage(chosen):
    lines = []
    for name in (*COVERED, "short range"):
        if name in chosen:
            own = ours(chosen[name])
            found = [own[f"in {p}"] for p in (50, 80, 90)]
            said = "/".join(f"{100 * value:.1f}" for value in found)
            error = "/".join(f"{100 * own[f'in {p} own se']:.1f}" for p in (50, 80, 90))
            if name == "short range":
                met = all(value >= least for value, least in zip(found, (0.45, 0.76, 0.87), strict=True))
                target = "at least 45/76/87"
            else:
                met = all(abs(value - p) <= 0.05 for value, p in zip(found, (0.5, 0.8, 0.9), strict=True))
                target = "50/80/90 within 5 points"
            lines.append(line(f"limits hold, {name}: {target}", f"{said} ± {error}", met))
    return lines


def _calibration(chosen):
    lines = []
    for name, table in chosen.items():
        most = 0.03 if name == "typical" else 0.05
        found = ours(table)["ece"]
        lines.append(line(f"calibration error, {name}: at most {most}", f"{found:.3f}", found <= most))
    return lines


def _regret(chosen):
    lines = []
    six = [chosen[name] for name in groves.SIX if name in chosen]
    if len(six) == len(groves.SIX):
        mean = pd.concat(six).groupby("method")["regret 4"].mean()
        best = mean.drop([*(m for m in trial.OURS if m in mean), trial.EVERYTHING]).sort_values()
        ratio = float(mean[trial.MODEL] / best.iloc[0])
        lines.append(line("mean regret over six, L/c 4, over that of the best peer: at most 0.90",
                          f"{ratio:.3f} ({mean[trial.MODEL]:.3f}, {best.index[0]} {best.iloc[0]:.3f})", ratio <= 0.9))
    if "one hot spot" in chosen:
        table = chosen["one hot spot"].set_index("method")
        other = table.loc["inverse distance"]
        lines.append(line("regret of one hot spot at most that of inverse distance", -other["regret 4 gap"],
                          other["regret 4 gap"] >= 0, other["regret 4 se"]))
    return lines


def of_real(gaps):
    """Return the verdicts of real counts: ``gaps`` maps split to a table of method, gridmap ahead, se."""
    lines = []
    for split, table in gaps.items():
        by = table.set_index("method")
        for method, least in (("inverse distance", -0.005), ("kriging log1p, own Gaussian", 0.03)):
            found = by.loc[method]
            lines.append(line(f"real counts, {split}, ahead of {method}: at least {least:+.3f}",
                              found["gridmap ahead"], found["gridmap ahead"] >= least, found["se between sets"]))
    return lines


def of_walks(second, carried):
    """Return the verdicts of a chosen second pass and of older walks; tables of `walks.table`."""
    by = second.set_index("walk").loc["30 spread + 20 chosen"]
    lines = [line("30 + 20 chosen against 50 spread, cost: at most -0.015", by["against 50 spread"],
                  by["against 50 spread"] <= -0.015, by["se"])]
    for correlated, table in carried.items():
        by = table.set_index("walk")
        base, gap = by.loc["50 new", "cost"], by.loc["50 new + 50 old"]
        share, error = gap["against 50 new"] / base, gap["se"] / base
        most = -0.08 if correlated > 0.8 else 0.0
        lines.append(line(f"older walk, correlation {correlated}, cost against one visit alone: at most {most:+.2f}",
                          share, share <= most, error))
    return lines


def of_scale(lines):
    """Return the verdicts of time and memory; lines of `scale.table`."""
    found = {(one["method"], one["beats"], one["trees"]): one for one in lines}
    result = []
    for target, ours_is, theirs_is, measure, most in (
        ("50 beats, 1e5 trees: under 4 times PyKrige's time", (50, 100_000), "PyKrige", "s", 4.0),
        ("the same: under a third of its memory", (50, 100_000), "PyKrige", "mb", 1 / 3),
        ("2,000 beats, 2e4 trees: at most 0.4 of PyKrige's full solve", (2_000, 20_000), "PyKrige", "s", 0.4),
        ("the same: under a third of its memory", (2_000, 20_000), "PyKrige", "mb", 1 / 3),
        ("the same: within 4 times of its moving window", (2_000, 20_000), "PyKrige, 20 near", "s", 4.0),
    ):
        if ("gridmap", *ours_is) in found and (theirs_is, *ours_is) in found:
            ratio = found["gridmap", *ours_is][measure] / found[theirs_is, *ours_is][measure]
            result.append(line(target, f"{ratio:.2f}", ratio < most))
    for size, seconds, mb in (((50, 1_000_000), 5, 300), ((20_000, 1_000_000), 60, 1000)):
        if ("gridmap", *size) in found:
            one = found["gridmap", *size]
            result.append(line(f"{size[0]:,} beats, {size[1]:,} trees: within {seconds} s and {mb} MB",
                               f"{one['s']:.1f} s, {one['mb']:.0f} MB", one["s"] < seconds and one["mb"] < mb))
    return result
