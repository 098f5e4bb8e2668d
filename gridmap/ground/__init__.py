"""Blocks, rows and places: outlines checked, straight rows laid and numbered, the ground of every tree."""

from gridmap.ground.areas import block_areas, map_areas_ha
from gridmap.ground.cells import ACROSS, cells, row_direction
from gridmap.ground.outlines import MOST_VERTICES, SLIVER_WIDTH_M, check_blocks, check_outline, overlaps
from gridmap.ground.rows import UP_DOWN_DEG, generate_rows, number_places, row_directions

__all__ = [
    "ACROSS",
    "MOST_VERTICES",
    "SLIVER_WIDTH_M",
    "UP_DOWN_DEG",
    "block_areas",
    "cells",
    "check_blocks",
    "check_outline",
    "generate_rows",
    "map_areas_ha",
    "number_places",
    "overlaps",
    "row_direction",
    "row_directions",
]
