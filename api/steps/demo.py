"""The invented demo grove, through the same doors as a grove of one's own."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import data
from api.steps import (
    facts,
    ground,
    grove,
    outputs,
    rows,
    slashing,
    sward_record,
    sward_report,
    terrain,
    treatment,
    walk,
)
from api.steps.outcome import Outcome

WALKS = 4


def build_demo(path: Path) -> None:
    """Make the invented grove file: outlines, keep-outs, trees, four walks, the invented grower's own figures.

    Parameters
    ----------
    path : Path
        Where no file is yet.
    """
    grower = data.path("demo", "grower.json")
    about = json.loads(grower.read_text("utf-8"))["grove"]
    grove.new_grove(
        path,
        name=about["name"],
        at=f"{about['longitude']},{about['latitude']}",
        crs_named=about["crs"],
        time_zone=about["time_zone"],
        season_start=about["season_start"],
        currency=about["currency"],
        region=about["region"],
        invented=True,
        who="demo",
    )
    ground.import_outlines(path, data.path("demo", "outlines.geojson"), who="demo")
    ground.import_keep_outs(path, data.path("demo", "keep-outs.geojson"), who="demo")
    terrain.import_points(path, data.path("demo", "points.geojson"), who="demo")
    # Before the trees, so that they come in with their heights and the history stays short.
    terrain.import_dem(path, data.path("demo", "hill.tif"), who="demo")
    ground.import_trees(path, data.path("demo", "trees.csv"), who="demo")
    rows.find_rows(path, data.path("demo", "survey.csv"), who="demo")
    rows.lay_contour_rows(path, data.path("demo", "contour.geojson"), block="Stony Bit", who="demo")
    for number in range(1, WALKS + 1):
        walk.import_counts(path, data.path("demo", f"walk-{number}.csv"), walk=f"walk {number}", who="demo")
    slashing.set_sward(path, json.loads(data.path("demo", "sward.json").read_text("utf-8"))["sward"], who="demo")
    sward_record.import_cover(path, data.path("demo", "cover.csv"), who="demo")
    slashing.import_seed_checks(path, data.path("demo", "seed-checks.csv"), who="demo")
    facts.import_facts(path, grower, who="demo")


def run_demo(out: Path) -> Outcome:
    """Go the whole way with the invented grove and leave every output in a folder."""
    outputs.make_folder(out)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grove.gpkg"
        build_demo(path)
        weighed = treatment.make_zone(path, who="demo")
        done = outputs.write_outputs(path, out)
        grass = sward_report.tell_sward(path, out=out)
    return Outcome(
        said=(
            *done.said,
            *grass.said[1:],
            "Open pressure.html in a browser, print run-sheet.pdf and grass.pdf, open grove.gpkg in a desktop GIS.",
        ),
        figures={**done.figures, "files": [*done.figures["files"], *grass.figures["files"]]},
        tables={**done.tables, **weighed.tables},
        cautions=done.cautions,
    )
