"""The short run of the pressure bench: it runs, and its main lines are what the page of the model says."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).parents[2] / "bench" / "pressure"


@pytest.mark.slow
def test_short_run_of_the_bench():
    """No published example: a grown-up peer must not be ahead in the mean, and spraying everything must cost more."""
    one_thread = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    words = [sys.executable, str(BENCH), "--short"]
    run = subprocess.run(words, capture_output=True, text=True, timeout=600, env=one_thread)
    assert run.returncode == 0, run.stderr
    line = re.search(r"mean regret at L/c 4 over the first six: (.*)", run.stdout)[1]
    regret = {name: float(value) for name, value in re.findall(r"([^,]+?) (-?[\d.]+)(?:, |$)", line)}
    print(regret)
    assert regret["gridmap"] < 0.6 * regret["spray everything"]
    # Six groves a scenario: standard error some 0.04.
    assert regret["gridmap"] < 1.25 * min(regret[name] for name in ("block mean", "inverse distance"))
    assert len(re.findall(r"^### ", run.stdout, re.MULTILINE)) == 11
    scores = re.findall(r"log score ahead of the best peer, (.+?): at least (\S+) \| (\S+) ± (\S+)", run.stdout)
    assert [name for name, *_ in scores] == ["typical", "tree nugget", "one hot spot", "no structure", "all zeros"]
    for name, least, found, error in scores:
        assert float(found) > float(least) - 2 * float(error), name
    covered = re.findall(r"limits hold, (.+?): .*? \| ([\d.]+)/([\d.]+)/([\d.]+) ±", run.stdout)
    assert len(covered) == 4
    # Standard errors of six groves: up to 5, 3 and 2 points.
    for name, *found in covered:
        assert (np.abs(np.array(found, dtype=float) - [50, 80, 90]) < [12, 9, 7]).all(), name
