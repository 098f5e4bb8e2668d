"""The walk: which trees to beat, which way round, how long it takes, and when enough were beaten."""

from gridmap.walk.balanced import balanced_draw
from gridmap.walk.mistakes import Circumstances, Question, choosable, questions
from gridmap.walk.pace import Pace, pace
from gridmap.walk.plan import PlanSettings, on_edge, plan_walk
from gridmap.walk.route import shortest_round
from gridmap.walk.simulated import characteristic, verdict_table
from gridmap.walk.stop_lines import StopLines, stop_lines
from gridmap.walk.verdict import VerdictTable, table_of_lines, total_at_standard_taps
from gridmap.walk.ways import walking_m

__all__ = [
    "Circumstances", "Pace", "PlanSettings", "Question", "StopLines", "VerdictTable", "balanced_draw",
    "characteristic", "choosable", "on_edge", "pace", "plan_walk", "questions", "shortest_round", "stop_lines",
    "table_of_lines", "total_at_standard_taps", "verdict_table", "walking_m",
]
