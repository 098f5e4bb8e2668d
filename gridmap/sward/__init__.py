"""The sward: cover measured, the front of the grass and its climb, ground gained and lost, when to slash."""

from gridmap.sward.area_error import checked_places_needed, error_adjusted_areas
from gridmap.sward.front import FrontModel
from gridmap.sward.proportion import points_needed, wilson_limits
from gridmap.sward.trend import Trend, rank_trend

__all__ = [
    "FrontModel",
    "Trend",
    "checked_places_needed",
    "error_adjusted_areas",
    "points_needed",
    "rank_trend",
    "wilson_limits",
]
