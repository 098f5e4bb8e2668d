"""The pressure bench: python tests/bench/pressure [--groves 60] [--scenario NAME ...] [--only PART] [--short].

Prints tables in Markdown. Nothing is gated here; the short run is read by a test. Set OPENBLAS_NUM_THREADS=1.
"""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path

import edges
import groves
import numpy as np
import pandas as pd
import past
import real
import scale
import targets
import trial
import walks

PARTS = ("scenarios", "real", "walks", "past", "edges", "scale")


def markdown(frame):
    """Return a frame as a Markdown table."""
    cells = [[f"{v:.3f}" if isinstance(v, float) else str(v) for v in row] for row in frame.to_numpy(dtype=object)]
    lines = [list(frame.columns), ["---"] * len(frame.columns), *cells]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def scenarios(names, number, quick):
    """Run groves, print the table of each scenario and the summary."""
    tables = []
    for name in names:
        start, lines, kept = time.perf_counter(), [], []
        for seed in range(number):
            more, chances = trial.run(name, seed, quick=quick)
            lines += more
            kept += chances
        tables.append(trial.gather(lines, kept).assign(scenario=name))
        print(f"{name}: {number} groves in {time.perf_counter() - start:.0f} s", flush=True)
    chosen = trial.kindest(tables)
    for name, table in chosen.items():
        print(f"\n### {name} ({number} groves)\n")
        shown = table[["method", "log score", "log score gap", "log score se", "crps", "in 50", "in 80", "in 90",
                       "ece", "brier", "auc", "regret 2", "regret 4", "regret 4 gap", "regret 4 se", "regret 10",
                       "bias"]]
        print(markdown(shown), flush=True)
    print("\n### Summary\n")
    print(markdown(summary(chosen)), flush=True)
    return targets.of_scenarios(chosen)


def summary(chosen):
    """One line for each scenario: the model beside the best peer of each measure."""
    lines = []
    for name, table in chosen.items():
        ours = table[table["method"] == trial.MODEL].iloc[0]
        rest = table[~table["method"].isin([*trial.OURS, trial.EVERYTHING])]
        best = rest.loc[rest["log score"].idxmax()]
        cheap = rest.loc[rest["regret 4"].idxmin()]
        line = {"scenario": name, "log score": ours["log score"],
                "ahead of best": f"{-best['log score gap']:+.3f} ± {best['log score se']:.3f} ({best['method']})",
                "crps": ours["crps"], "best crps": float(rest["crps"].min()),
                "50/80/90": "/".join(f"{100 * ours[f'in {p}']:.0f}" for p in (50, 80, 90)),
                "ece": ours["ece"], "brier": ours["brier"], "best brier": float(rest["brier"].min()),
                "auc": ours["auc"], "best auc": float(rest["auc"].max())}
        for ratio in ("2", "4", "10"):
            low = rest[f"regret {ratio}"].min()
            line[f"regret {ratio}"] = f"{ours[f'regret {ratio}']:.3f} ({low:.3f})"
        line |= {"cheapest": f"{cheap['method']} ({cheap['regret 4 gap']:+.3f} ± {cheap['regret 4 se']:.3f})",
                 "bias": ours["bias"]}
        lines.append(line)
    six = [name for name in groves.SIX if name in chosen]
    frame = pd.concat([chosen[name] for name in six]) if six else pd.concat(chosen.values())
    mean = frame.groupby("method")["regret 4"].mean().sort_values()
    print("mean regret at L/c 4 over the first six: "
          + ", ".join(f"{name} {value:.3f}" for name, value in mean.items()) + "\n")
    return pd.DataFrame(lines)


def real_counts(repeats):
    """Print the log scores on real counts."""
    folder = os.environ.get("GRIDMAP_OPEN_DATA")
    if not folder:
        print("GRIDMAP_OPEN_DATA is not set: no real counts")
        return []
    frame = real.table(Path(folder), repeats)
    methods = frame.columns.difference(["set", "split", "repeat"], sort=False)
    gaps = {}
    for split, part in frame.groupby("split"):
        gap = part[methods].rsub(part["gridmap"], axis=0)
        # Repeats of a set share its counts: the error is that between sets.
        by_set = gap.groupby(part["set"]).mean()
        shown = pd.DataFrame({"method": methods, "log score": part[methods].mean().to_numpy(),
                              "gridmap ahead": gap.mean().to_numpy(),
                              "se between sets": (by_set.std() / np.sqrt(len(by_set))).to_numpy()})
        gaps[split] = shown
        print(f"\n### Real counts, {split}, {part['set'].nunique()} sets\n\n{markdown(shown)}", flush=True)
    return targets.of_real(gaps)


def more_walks(number):
    """Print what a chosen second pass and older walks are worth."""
    print(f"\n### Second pass ({number} groves)\n")
    second, carried = walks.table([walks.second_pass(seed) for seed in range(number)], "50 spread"), {}
    print(markdown(second), flush=True)
    for correlated in (0.9, 0.5):
        print(f"\n### Carried over, correlation {correlated} ({number} groves)\n")
        results = [walks.carried(seed, correlated) for seed in range(number)]
        carried[correlated] = walks.table(results, "50 new")
        print(markdown(carried[correlated]), flush=True)
    return targets.of_walks(second, carried)


def past_walks(number):
    """Print what the grove's own past walks are worth, way by way."""
    print(f"\n### Past walks, against the constant ({number} groves)\n\n{markdown(past.table(number))}", flush=True)
    return []


def edge_term(number):
    """Print whether a distance-to-edge term would earn its place."""
    folder = os.environ.get("GRIDMAP_OPEN_DATA")
    found = edges.table(number, Path(folder) if folder else None)
    print(f"\n### Edge term, log score per count\n\n{markdown(found)}", flush=True)
    return []


def speed():
    """Print time and memory."""
    lines, exponents = scale.table()
    print("\n### Time and memory\n")
    print(markdown(pd.DataFrame(lines).rename(columns={"s": "seconds", "mb": "MB over the interpreter"})))
    print("\n" + ", ".join(f"exponent in {name}: {value:.2f}" for name, value in exponents.items()), flush=True)
    return targets.of_scale(lines)


def main():
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--groves", type=int, default=60)
    parser.add_argument("--scenario", action="append", choices=groves.SCENARIOS)
    parser.add_argument("--only", action="append", choices=PARTS)
    parser.add_argument("--short", action="store_true", help="a few groves, three peers, under a minute")
    given = parser.parse_args()
    parts = given.only or (("scenarios",) if given.short else PARTS)
    number = 6 if given.short else given.groves
    each = {
        "scenarios": lambda: scenarios(given.scenario or groves.SCENARIOS, number, given.short),
        "real": lambda: real_counts(2 if given.short else 4), "walks": lambda: more_walks(number),
        "past": lambda: past_walks(number), "edges": lambda: edge_term(number), "scale": speed,
    }
    verdicts = [line for part in parts for line in each[part]()]
    if verdicts:
        print(f"\n### Targets\n\n{markdown(pd.DataFrame(verdicts))}", flush=True)


if __name__ == "__main__":
    main()
