"""The pressure picture: what a walk found, on one page that reads at arm's length."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from gridmap.errors import InputRefused
from maps.fonts import typeset
from maps.legend import draw_legend
from maps.look import PRESSURE_LOOK
from maps.plan import draw_plan
from maps.scene import Scene
from maps.style import LIGHT, pressure_colour, ramp_top
from maps.view import extent
from maps.words import count_words, finding, finding_detail, from_to, limits_words, number_words, plural, short_number

_WIDTH_PX: Final = 1600
_PLAN_PX: Final = 1020.0
_SIDE_PX: Final = 500.0
_TEXT_PX: Final = 20.0
# Over half of a block unknown: its table says so and gives no number.
MOSTLY_UNKNOWN: Final = 0.5


def pressure_picture(scene: Scene, path: Path | str) -> Path:
    """Draw where the pest sits and how sure that is, as a PNG of 1600 px width.

    Parameters
    ----------
    scene : Scene
        The grove and its walk.
    path : Path or str
        Where the picture goes; an older one is replaced.

    Returns
    -------
    Path
        Where it lies. The same scene gives the same bytes.

    Raises
    ------
    InputRefused
        When the grove holds nothing to draw, or the folder is not there.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise InputRefused(f"{target.parent} is no folder", "the picture needs one to lie in", "make the folder first")
    west, south, east, north = extent(scene)
    height = min(1000.0, max(640.0, _PLAN_PX * (north - south) / max(east - west, 1.0) + 90.0))
    plan = draw_plan(scene, width_px=_PLAN_PX, height_px=height, look=replace(PRESSURE_LOOK, text_px=_TEXT_PX))
    pictures = {"plan": plan.svg, "legend": draw_legend(scene, width_px=_SIDE_PX, text_px=_TEXT_PX)}
    target.write_bytes(typeset("pressure_picture.typ", picture_data(scene), pictures=pictures, form="png"))
    return target


def picture_data(scene: Scene) -> dict[str, Any]:
    """Everything the picture says in words, ready to be set."""
    threshold = (
        None
        if scene.threshold is None
        else f"Your action threshold: {short_number(scene.threshold)} {scene.counted} a beat"
    )
    return {
        "title": finding(scene),
        "detail": finding_detail(scene),
        "grove": scene.grove,
        "invented": scene.invented,
        "threshold": threshold,
        "blocks": block_lines(scene),
        "hot_spots": hot_spot_lines(scene),
        "software": scene.software,
        "width": _WIDTH_PX,
        "plan_width": _PLAN_PX,
        "side_width": _SIDE_PX,
        "text": _TEXT_PX,
        "dots": "White dots are the trees that were beaten. Hatching is doubt: the more lines, the less is known.",
    }


def block_lines(scene: Scene) -> list[dict[str, Any]]:
    """Write the block table: what a beat would bring in each block and how many trees are over, with 80 % limits."""
    top = ramp_top(scene.threshold, scene.tree_pressure()["median_per_beat"].dropna().tolist())
    shares = scene.unknown_share()
    lines = []
    for line in scene.block_table.to_dict("records"):
        said = shares.get(line["block"], 1.0) <= MOSTLY_UNKNOWN
        over, low, high = (line[name] for name in ("trees_over", "trees_over_low_80", "trees_over_high_80"))
        told = math.isfinite(over) and math.isfinite(low)
        lines.append(
            {
                "block": line["block"],
                "beaten": number_words(line["beaten"]),
                "unknown": not said,
                "count": limits_words(line["median_per_beat"], line["low_80"], line["high_80"])
                if said
                else "too few to say",
                "over": f"{over:,.0f} ({low:,.0f} to {high:,.0f})"
                if said and told
                else ""
                if scene.threshold is None
                else "?",
                "colour": pressure_colour(line["median_per_beat"], top) if said else LIGHT.paper,
            }
        )
    return lines


def hot_spot_lines(scene: Scene) -> list[dict[str, str]]:
    """Write the hot spots by rank: where, how many trees, the expected count a beat of their middle tree."""
    return [
        {
            "rank": str(spot["hot_spot"]),
            "where": f"{spot['block']}, {from_to(int(spot['from_row']), int(spot['to_row']), 'row', 'rows')}",
            "trees": plural(int(spot["trees"]), "tree", "trees"),
            "count": count_words(float(spot["median_per_beat"])),
        }
        for spot in scene.hot_spots.drop(columns="geometry").to_dict("records")
    ]
