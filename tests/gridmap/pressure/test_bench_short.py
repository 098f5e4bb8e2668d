"""The short run of the pressure bench: it runs, and its main lines are what the page of the model says."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[2] / "bench" / "pressure"


@pytest.mark.slow
def test_short_run_of_the_bench():
    """No published example: a grown-up peer must not be ahead in the mean, and spraying everything must cost more."""
    run = subprocess.run([sys.executable, str(BENCH), "--short"], capture_output=True, text=True, timeout=240)
    assert run.returncode == 0, run.stderr
    line = re.search(r"mean regret at L/c 4 over the first six: (.*)", run.stdout)[1]
    regret = {name: float(value) for name, value in re.findall(r"([^,]+?) (-?[\d.]+)(?:, |$)", line)}
    print(regret)
    assert regret["gridmap"] < 0.6 * regret["spray everything"]
    # Six groves a scenario: standard error some 0.04.
    assert regret["gridmap"] < 1.25 * min(regret[name] for name in ("block mean", "inverse distance"))
    assert len(re.findall(r"^### ", run.stdout, re.MULTILINE)) == 10
