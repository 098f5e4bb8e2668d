"""Draw the ground of the invented demo grove: rows along a line, rows found in a survey, the hill.

Run it with ``python docs/pictures/ground.py``; it leaves contour-rows.svg, found-rows.svg and hill.svg there.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from api.steps.demo import build_demo
from api.steps.places_ground import kept_dem
from api.store import GroveFile
from maps import Scene, draw_plan
from maps.look import PRESSURE_LOOK

HERE = Path(__file__).parent
PICTURES = {"contour-rows": ["Stony Bit"], "found-rows": ["East Gate"], "hill": None}


def main() -> None:
    """Build the demo grove in a temporary folder and draw each picture."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grove.gpkg"
        build_demo(path)
        with GroveFile.open(path, read_only=True) as grove:
            blocks, trees, dem, info = grove.blocks(), grove.trees(), kept_dem(grove), grove.grove
            keep_outs = grove.keep_outs()
    for name, chosen in PICTURES.items():
        own = blocks if chosen is None else blocks[blocks["block"].isin(chosen)]
        scene = Scene(
            grove=info.name, invented=True, blocks=own, trees=trees[trees["block"].isin(own["block"])], dem=dem,
            **({"keep_outs": keep_outs} if chosen is None else {}),
        )
        plan = draw_plan(scene, width_px=720, height_px=520, look=replace(PRESSURE_LOOK, pressure=False, runs="bar"))
        (HERE / f"{name}.svg").write_text(plan.svg, "utf-8")


if __name__ == "__main__":
    main()
