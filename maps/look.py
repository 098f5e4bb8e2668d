"""What a plan shows, and how."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from maps.style import LIGHT, PRINT, TEXT_PX, Palette


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a plan shows, and how.

    Parameters
    ----------
    palette : Palette
        Its colours.
    text_px : float
        Size of names [px].
    pressure : bool
        Colour the trees by expected count; otherwise rows are thin lines with a dot a tree.
    runs : str
        "frame" draws runs as frames over the data, "bar" as thick bars with the numbers of each group beside them.
    relief : bool
        Draw hill shade and contours where the scene has heights.
    """

    palette: Palette = LIGHT
    text_px: float = TEXT_PX
    pressure: bool = True
    runs: str = "frame"
    relief: bool = True


PRESSURE_LOOK: Final = Look()
# A worn drum loses shade and thin grey lines, and black ones would hide the rows.
PRINT_LOOK: Final = Look(palette=PRINT, pressure=False, runs="bar", relief=False)
