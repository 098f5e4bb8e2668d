"""From a walk's counts to every tree's expected count with its doubt, hot spots, and how well a tree is known."""

from gridmap.pressure.baselines import block_mean_log_density, compare, inverse_distance_log_density
from gridmap.pressure.hot_spots import block_table, hot_spots
from gridmap.pressure.knowledge import DOUBTFUL, UNKNOWN, WELL_KNOWN, knowledge
from gridmap.pressure.model import PressureModel

__all__ = [
    "DOUBTFUL", "UNKNOWN", "WELL_KNOWN", "PressureModel", "block_mean_log_density", "block_table", "compare",
    "hot_spots", "inverse_distance_log_density", "knowledge",
]
