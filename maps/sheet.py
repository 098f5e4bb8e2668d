"""The run sheet: what goes along to the sprayer on paper."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gridmap import checks
from gridmap.errors import InputRefused
from gridmap.treatment import Label, Sprayer, amount_words
from gridmap.treatment import cautions as cautions_at
from gridmap.words import date_words
from maps.fonts import page_count, typeset
from maps.look import PRINT_LOOK
from maps.plan import draw_plan
from maps.scene import Scene
from maps.view import extent
from maps.words import number_words, plural, short_number, shortened

_LOADS: Final = (
    "load",
    "kind",
    "mix_l",
    "water_l",
    "product",
    "product_unit",
    "from_tree",
    "to_run",
    "to_tree",
    "covers",
)
# Maps that are tried from large to small: beside the cautions or below them, width and height [pt]. A grove that is not
# much wider than high stands beside the cautions, where it can be drawn larger.
_BESIDE_UNDER: Final = 1.9
_BESIDE: Final = ((True, 300.0, 290.0), (True, 290.0, 245.0), (True, 270.0, 200.0))
_BELOW: Final = ((False, 523.0, 240.0), (False, 523.0, 190.0), (False, 523.0, 150.0), (False, 523.0, 115.0))
# CSS: 96 px and 72 pt to the inch.
_PX_PER_PT: Final = 96 / 72
INSIDE_THE_EDGES: Final = "No spraying inside the dashed edges on the map."


@dataclass(frozen=True, kw_only=True)
class ZoneFacts:
    """What the sheet says of the zone itself.

    Parameters
    ----------
    zone : str
        Its identifier, as it stands in the grove file.
    worked_out : date or None
        Local date on which it was worked out.
    area_ha : float or None
        Its map area [ha].
    changed_by_hand : str
        What the grower changed after it was computed, in words; empty when nothing was.

    Examples
    --------
    >>> ZoneFacts(zone="4f2a").foot()
    'Zone 4f2a, as computed'
    """

    zone: str
    worked_out: date | None = None
    area_ha: float | None = None
    changed_by_hand: str = ""

    def foot(self) -> str:
        """Name the zone in the foot of each page."""
        return f"Zone {self.zone}, " + (
            f"changed by hand: {self.changed_by_hand}" if self.changed_by_hand else "as computed"
        )


def run_sheet(
    scene: Scene,
    path: Path | str,
    *,
    zone: ZoneFacts,
    loads: pd.DataFrame | None = None,
    label: Label | None = None,
    sprayer: Sprayer | None = None,
    cautions: Sequence[str] = (),
) -> Path:
    """Print the runs in walking order with their tank loads: A4 upright, black only, to be ticked off by hand.

    Parameters
    ----------
    scene : Scene
        The grove with its runs, in the order in which they are walked.
    path : Path or str
        Where the PDF goes; an older one is replaced.
    zone : ZoneFacts
        Identifier, date, area, what was changed by hand.
    loads : DataFrame, optional
        Tank loads as in the contract (mix and water [L], product in ``product_unit``); without them it says so.
    label, sprayer : Label, Sprayer, optional
        What the grower typed; what is missing becomes a line to be filled in by hand, nothing is assumed.
    cautions : sequence of str
        What is special today, after the standing cautions.

    Returns
    -------
    Path
        Where it lies. The same input gives the same bytes.

    Raises
    ------
    InputRefused
        When there are no runs, loads lack a column, or the folder is not there.
    """
    target = Path(path)
    if scene.runs.empty:
        raise InputRefused(
            "there are no runs to print",
            "a run sheet needs a zone with at least one tree",
            "work out a zone first, or leave the spraying be",
        )
    if not target.parent.is_dir():
        raise InputRefused(f"{target.parent} is no folder", "the sheet needs one to lie in", "make the folder first")
    data = sheet_data(scene, zone=zone, loads=loads, label=label, sprayer=sprayer, cautions=cautions)
    target.write_bytes(_set(scene, data))
    return target


def _set(scene: Scene, data: dict[str, Any]) -> bytes:
    """Set the sheet with the largest map that still leaves it the fewest pages."""
    west, south, east, north = extent(scene)
    compact = (east - west) / (north - south) < _BESIDE_UNDER
    best: tuple[int, dict[str, Any], dict[str, str]] | None = None
    for beside, width, height in [*(_BESIDE if compact else ()), *_BELOW]:
        plan = draw_plan(
            scene, width_px=width * _PX_PER_PT, height_px=height * _PX_PER_PT, look=replace(PRINT_LOOK, text_px=15.0)
        )
        sized = {**data, "beside": beside, "map_width": width}
        pages = page_count("run_sheet.typ", sized, pictures={"plan": plan.svg})
        if best is None or pages < best[0]:
            best = pages, sized, {"plan": plan.svg}
        if pages == 1:
            break
    if best is None:
        raise InputRefused("the map has no size", "a run sheet needs one")
    return typeset("run_sheet.typ", best[1], pictures=best[2], form="pdf")


def sheet_data(
    scene: Scene,
    *,
    zone: ZoneFacts,
    loads: pd.DataFrame | None,
    label: Label | None,
    sprayer: Sprayer | None,
    cautions: Sequence[str],
) -> dict[str, Any]:
    """Everything that the sheet says, in words, ready to be set."""
    if loads is not None:
        checks.columns(loads, _LOADS, "loads")
    litres = float(scene.runs["litres"].sum(min_count=1))
    totals = [
        plural(int(scene.runs["trees"].sum()), "tree", "trees"),
        _litres(litres, 0) if math.isfinite(litres) else "litres not known",
    ]
    if loads is not None:
        totals.append(plural(len(loads), "load", "loads"))
    tank = sprayer.tank_l if sprayer else None
    no_loads = (
        "Not worked out: what the tank holds was not typed." if tank is None else "Not worked out for this sheet."
    )
    worked_out = f", worked out {date_words(zone.worked_out)}" if zone.worked_out else ""
    area = f", {zone.area_ha:.2f} ha" if zone.area_ha is not None else ""
    return {
        "subtitle": f"{shortened(scene.grove, 60)}{worked_out}{area}",
        "totals": "   ".join(totals),
        "invented": scene.invented,
        "standing": standing_cautions(label),
        "cautions": list(cautions),
        "runs": _runs(scene),
        "loads": _loads(loads),
        "no_loads": no_loads,
        "tank": "Tank loads"
        + (f", {short_number(sprayer.tank_l)} L" if sprayer and sprayer.tank_l is not None else ""),
        "refills": _refills(scene, loads),
        "label": _label(label),
        "rate": _rate(label),
        "foot": zone.foot(),
        "software": scene.software,
        "attribution": scene.attribution,
        "map_alt": f"Map of {scene.grove} with the runs as thick bars",
    }


def standing_cautions(label: Label | None = None) -> list[str]:
    """Say what every run sheet warns of: label, protective equipment, drift, neighbours and bees, re-entry, harvest."""
    return [
        " ".join(cautions_at("run_sheet", label)),
        " ".join((INSIDE_THE_EDGES, *cautions_at("drift", label))),
        " ".join(cautions_at("date", label)),
    ]


def _runs(scene: Scene) -> list[list[str]]:
    columns: dict[str, Callable[[Any], str]] = {
        "run": _whole,
        "block": str,
        "row": _whole,
        "from_position": _whole,
        "to_position": _whole,
        "side": str,
        "trees": _whole,
        "length_m": number_words,
        "litres": _tenths,
        "load": _load_words,
    }
    return [[write(run[name]) for name, write in columns.items()] for run in scene.runs.to_dict("records")]


def _tenths(litres: float) -> str:
    return number_words(litres, 1)


def _load_words(load: Any) -> str:
    return "" if pd.isna(load) else str(load)


def _loads(loads: pd.DataFrame | None) -> list[dict[str, str]]:
    lines = []
    for load in [] if loads is None else loads.to_dict("records"):
        known = load["product"] is not None and not pd.isna(load["product"])
        product = amount_words(float(load["product"]), str(load["product_unit"])) if known else ""
        lines.append(
            {
                "load": f"{_whole(load['load'])} {load['kind']}",
                "mix": _litres(load["mix_l"], 1),
                "water": "" if pd.isna(load["water_l"]) else _litres(load["water_l"], 1),
                "product": product,
                "covers": str(load["covers"]),
            }
        )
    return lines


def _refills(scene: Scene, loads: pd.DataFrame | None) -> str:
    """Say where the tank is empty, to the tree."""
    if loads is None or len(loads) < 2:
        return ""
    position = dict(zip(scene.trees["tree"], scene.trees["position"], strict=True))
    ends = {int(run): tree for run, tree in zip(scene.runs["run"], scene.runs["to_position"], strict=True)}
    stops = []
    for here, after in zip(loads.iloc[:-1].to_dict("records"), loads.iloc[1:].to_dict("records"), strict=True):
        run, tree = int(here["to_run"]), position.get(here["to_tree"])
        if tree is None:
            raise InputRefused(
                f"load {here['load']} ends at tree {here['to_tree']}",
                "there is no such tree in the grove",
                "work out the loads again",
            )
        at = _nearest_refill(scene, here["to_tree"])
        if here["to_tree"] == after["from_tree"]:
            stops.append(f"in run {run} at tree {tree}{at}, then go on with that tree")
        else:
            where = f"at the end of run {run}" if ends.get(run) == tree else f"in run {run} after tree {tree}"
            stops.append(where + at)
    return f"Refill {'; '.join(stops)}."


def _nearest_refill(scene: Scene, tree: str) -> str:
    """Name the refill point nearest to a tree, and how far it is in a straight line; empty where none is known."""
    refills = scene.points[scene.points["kind"] == "refill"]
    if refills.empty:
        return ""
    far = refills.distance(scene.trees.loc[scene.trees["tree"] == tree, "geometry"].iloc[0])
    return f" ({shortened(str(refills.loc[far.idxmin(), 'name']), 30)}, {number_words(float(far.min()))} m away)"


def _label(label: Label | None) -> list[list[str]]:
    """Facts of the label, typed ones written out, the others left blank for the pen."""
    known = label or Label()
    days = "" if known.withholding_days is None else f"{short_number(known.withholding_days)} days"
    rate = "" if known.rate is None or known.rate_unit is None or known.rate_basis is None else known.rate_words()
    return [
        ["Product", known.product or ""],
        ["Rate", rate],
        ["Permit", known.permit or ""],
        ["Expires", date_words(known.expires) if known.expires else ""],
        ["Withholding", days],
        ["Re-entry", known.reentry or ""],
        ["Wear", ""],
        ["Setbacks", known.setbacks or ""],
    ]


def _rate(label: Label | None) -> str:
    if label is None or label.rate is None or label.rate_unit is None or label.rate_basis is None:
        return "No rate was typed, so no product is worked out."
    typed = f" on {date_words(label.typed_on)}" if label.typed_on else ""
    return f"Product at {label.rate_words()}, typed in by the grower{typed}."


def _litres(litres: float, places: int) -> str:
    return f"{litres:,.{places if litres >= 10 or places else 1}f} L"


def _whole(value: Any) -> str:
    return (
        "" if pd.isna(value) else f"{int(value)}" if isinstance(value, float) or str(value).isdecimal() else str(value)
    )
