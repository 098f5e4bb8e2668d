"""The sward: cover measured, the front of the grass and its climb, ground gained and lost, when to slash."""

from gridmap.sward.aerial import AerialCover, measure_classes, measure_picture
from gridmap.sward.align import Shift, phase_shift, picture_shift
from gridmap.sward.area_error import checked_places_needed, error_adjusted_areas
from gridmap.sward.change import KINDS, area_by_band, ground_changed, polygons_changed, year_passed
from gridmap.sward.climb import Climb, climb, decimal_year
from gridmap.sward.cover import (
    COVER_COLUMNS,
    METHOD_NAMES,
    METHODS,
    PARTS,
    measured_cover,
    part_inside,
    row_cover,
)
from gridmap.sward.floor import row_floor
from gridmap.sward.front import FrontModel
from gridmap.sward.greenness import DORMANT, INDICES, greenness, otsu
from gridmap.sward.proportion import points_needed, wilson_limits
from gridmap.sward.runners import runner_growth
from gridmap.sward.settings import SwardSettings
from gridmap.sward.slashing import VERDICTS, against_slashing, part_readiness, refuge_rows, seed_readiness
from gridmap.sward.trend import Trend, rank_trend

__all__ = [
    "COVER_COLUMNS",
    "DORMANT",
    "INDICES",
    "KINDS",
    "METHODS",
    "METHOD_NAMES",
    "PARTS",
    "VERDICTS",
    "AerialCover",
    "Climb",
    "FrontModel",
    "Shift",
    "SwardSettings",
    "Trend",
    "against_slashing",
    "area_by_band",
    "checked_places_needed",
    "climb",
    "decimal_year",
    "error_adjusted_areas",
    "greenness",
    "ground_changed",
    "measure_classes",
    "measure_picture",
    "measured_cover",
    "otsu",
    "part_inside",
    "part_readiness",
    "phase_shift",
    "picture_shift",
    "points_needed",
    "polygons_changed",
    "rank_trend",
    "refuge_rows",
    "row_cover",
    "row_floor",
    "runner_growth",
    "seed_readiness",
    "wilson_limits",
    "year_passed",
]
