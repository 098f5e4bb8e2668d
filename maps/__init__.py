"""Draws: the plan, the pressure picture, the take-away map, the run sheet.

Imports are lazy, so that a command that draws nothing doesn't wait for the typesetter.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from maps.legend import draw_legend
    from maps.look import PRESSURE_LOOK, PRINT_LOOK, Look
    from maps.picture import pressure_picture
    from maps.plan import Plan, draw_plan
    from maps.scene import Scene
    from maps.sheet import ZoneFacts, run_sheet
    from maps.takeaway import takeaway_map

_WHERE: Final = {
    "PRESSURE_LOOK": "look", "PRINT_LOOK": "look", "Look": "look", "Plan": "plan",
    "Scene": "scene", "ZoneFacts": "sheet", "draw_legend": "legend", "draw_plan": "plan",
    "pressure_picture": "picture", "run_sheet": "sheet", "takeaway_map": "takeaway",
}  # fmt: skip
__all__ = [
    "PRESSURE_LOOK", "PRINT_LOOK", "Look", "Plan", "Scene", "ZoneFacts", "draw_legend", "draw_plan",
    "pressure_picture", "run_sheet", "takeaway_map",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"maps has no {name}")
    return getattr(import_module(f"maps.{_WHERE[name]}"), name)
