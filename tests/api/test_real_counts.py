"""The main job on real counts with positions, through the command line: new grove, trees, counts, pressure, comparison.

Webworms: Beall (1940) Ecology 21:460-474, doi 10.2307/1930285, every unit of a beet field counted. Arthropods in a
wheat field: Holland, Winder & Perry (1999) Aspects of Applied Biology 54:53-60, 63 traps. Both as open data; neither
has a place on earth, so the grids are laid at a stated origin. Prices, sprayer and label are not needed here.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from api.cli import app

ORIGIN = "-9.40,-31.90"
# A unit of the webworm field is one row of 22 inches by 3 feet.
UNIT_M = (0.559, 0.914)


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def webworms(folder: Path) -> pd.DataFrame:
    """Blocks side by side, 5 m apart; which axis is which is not known for the source, so row runs north."""
    field = pd.read_csv(folder / "beall_webworms" / "webworms.csv")
    east = field["block"].str[1:].astype(int) * (field["col"].max() * UNIT_M[1] + 5)
    return pd.DataFrame(
        {
            "block": field["block"],
            "row": field["row"],
            "position": field["col"],
            "x_m": east + field["col"] * UNIT_M[1],
            "y_m": field["row"] * UNIT_M[0],
            "nymphs": field["count"],
        }
    )


def wheat_field(folder: Path) -> pd.DataFrame:
    traps = pd.read_csv(folder / "arthropods_wheat_grid" / "arthropods.csv")
    traps = traps[traps["date_no"] == 3]
    return pd.DataFrame(
        {
            "block": "field",
            "row": traps["row"],
            "position": traps["col"],
            "x_m": traps["x_m"],
            "y_m": traps["y_m"],
            "nymphs": traps["count"],
        }
    )


def compare(frame: pd.DataFrame, sample: int, folder: Path, seed: int) -> tuple[pd.DataFrame, dict[str, object]]:
    """Store a random sample as the walk, score all the rest."""
    grove = folder / f"real-{seed}.gpkg"
    chosen = np.random.default_rng(seed).permutation(len(frame)) < sample
    counts = frame[["block", "row", "position", "nymphs"]].assign(taps=3)
    frame.drop(columns="nymphs").to_csv(folder / "trees.csv", index=False)
    counts[chosen].to_csv(folder / "walk.csv", index=False)
    counts[~chosen].to_csv(folder / "rest.csv", index=False)
    run(
        "new",
        grove,
        "--name",
        "open data",
        "--at",
        ORIGIN,
        "--time-zone",
        "UTC",
        "--season-start",
        "01-01",
        "--currency",
        "XTS",
    )
    run("import-trees", grove, folder / "trees.csv", "--place-at", ORIGIN)
    run("import-counts", grove, folder / "walk.csv", "--date", "1996-06-21")
    figures = json.loads(run("pressure", grove, "--counts", "nymphs", "--csv", folder / "pressure.csv", "--json"))
    scores = json.loads(run("compare", grove, folder / "rest.csv", "--counts", "nymphs", "--json"))
    assert scores["fitted_counts"] == sample
    assert scores["held_out_counts"] == len(frame) - sample
    print(run("compare", grove, folder / "rest.csv", "--counts", "nymphs"))
    return pd.DataFrame(scores["scores"]).set_index("method"), figures


@pytest.mark.parametrize(("data", "sample"), [(webworms, 60), (wheat_field, 20)], ids=["webworms", "wheat field"])
def test_real_counts_go_the_whole_way(open_data, tmp_path, data, sample):
    frame = data(open_data)
    scores, figures = compare(frame, sample, tmp_path, seed=1)
    assert figures["trees"] == len(frame)
    assert figures["threshold_per_beat"] is None
    assert np.isfinite(scores["log_score_per_count"]).all()
    # The map has to hold its own: behind neither plainer way by over two standard errors of the paired difference.
    for peer in ("block_mean", "inverse_distance"):
        assert scores.loc[peer, "model_ahead"] > -2 * scores.loc[peer, "standard_error"]
    written = pd.read_csv(tmp_path / "pressure.csv")
    assert len(written) == len(frame)
    assert written["chance_over"].isna().all()
    assert (written["low_80"] <= written["median_per_beat"]).all()
