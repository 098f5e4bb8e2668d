"""From a walk's counts to every tree's expected count with its doubt, hot spots, change, and where to look next."""

from gridmap.pressure.baselines import block_mean_log_density, compare, inverse_distance_log_density
from gridmap.pressure.change import Change, change_between
from gridmap.pressure.hot_spots import block_table, hot_spots
from gridmap.pressure.knowledge import DOUBTFUL, UNKNOWN, WELL_KNOWN, knowledge
from gridmap.pressure.model import PressureModel
from gridmap.pressure.past import PastLevel, past_level
from gridmap.pressure.stage import stage_share
from gridmap.pressure.stopping import MoreTrees, worth_of_more
from gridmap.pressure.where_next import worth_of_knowing

__all__ = [
    "DOUBTFUL", "UNKNOWN", "WELL_KNOWN", "Change", "MoreTrees", "PastLevel", "PressureModel", "block_mean_log_density",
    "block_table", "change_between", "compare", "hot_spots", "inverse_distance_log_density", "knowledge",
    "past_level", "stage_share", "worth_of_knowing", "worth_of_more",
]
