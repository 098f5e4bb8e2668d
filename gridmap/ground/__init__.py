"""Blocks, rows and places: outlines checked, rows laid or found and numbered, alleys, the ground of every tree."""

from gridmap.ground.alleys import alleys
from gridmap.ground.areas import block_areas, map_areas_ha
from gridmap.ground.cells import ACROSS, cells, row_direction
from gridmap.ground.contour import generate_contour_rows, generate_fan_rows
from gridmap.ground.dem import Dem
from gridmap.ground.dem_bytes import pack_dem, thinned, unpack_dem
from gridmap.ground.dem_file import M_PER_UNIT, dem_reference, read_dem, write_dem
from gridmap.ground.horn import horn_aspect_deg, horn_gradients, horn_slope_deg
from gridmap.ground.infer import RowFit, fit_rows, infer_rows, number_uphill
from gridmap.ground.match import SurveyMatch, match_survey
from gridmap.ground.metres_upslope import NEAR_A_HEIGHT_M, metres_upslope
from gridmap.ground.outlines import MOST_VERTICES, SLIVER_WIDTH_M, check_blocks, check_outline, overlaps
from gridmap.ground.redraw import Extension, extend_rows
from gridmap.ground.relief import contour_lines, hillshade, nice_interval_m
from gridmap.ground.renumber import bearing_of_rows, renumber_rows
from gridmap.ground.rows import UP_DOWN_DEG, generate_rows, number_places, row_directions
from gridmap.ground.surface import HeightSurface
from gridmap.ground.terrain import GroundArea, ground_area, terrain_from_dem, terrain_from_heights
from gridmap.ground.upslope import Upslope, block_upslope, upslope_from_bearing_m, upslope_m

__all__ = [
    "ACROSS",
    "MOST_VERTICES",
    "M_PER_UNIT",
    "NEAR_A_HEIGHT_M",
    "SLIVER_WIDTH_M",
    "UP_DOWN_DEG",
    "Dem",
    "Extension",
    "GroundArea",
    "HeightSurface",
    "RowFit",
    "SurveyMatch",
    "Upslope",
    "alleys",
    "bearing_of_rows",
    "block_areas",
    "block_upslope",
    "cells",
    "check_blocks",
    "check_outline",
    "contour_lines",
    "dem_reference",
    "extend_rows",
    "fit_rows",
    "generate_contour_rows",
    "generate_fan_rows",
    "generate_rows",
    "ground_area",
    "hillshade",
    "horn_aspect_deg",
    "horn_gradients",
    "horn_slope_deg",
    "infer_rows",
    "map_areas_ha",
    "match_survey",
    "metres_upslope",
    "nice_interval_m",
    "number_places",
    "number_uphill",
    "overlaps",
    "pack_dem",
    "read_dem",
    "renumber_rows",
    "row_direction",
    "row_directions",
    "terrain_from_dem",
    "terrain_from_heights",
    "thinned",
    "unpack_dem",
    "upslope_from_bearing_m",
    "upslope_m",
    "write_dem",
]
