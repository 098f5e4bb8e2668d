"""Decision, runs, zone, mix and tank loads: from chances to something a person can spray.

The label and permit are the law, and local codes and a licensed adviser come before anything worked out here. No
product and no rate is known but what the grower typed in.
"""

from gridmap.treatment.again import COMPARABLE, COMPARABLE_EGG, USUAL_DAYS, FollowUp, follow_up
from gridmap.treatment.by_alley import DERIVED, alley_runs
from gridmap.treatment.calibration import (
    NozzleTest,
    RunOffTest,
    gun_litres_per_tree,
    nozzle_test,
    run_off_test,
    speed_km_per_h,
    unit_canopy_rows_per_ha,
)
from gridmap.treatment.cautions import CAUTIONS, cautions
from gridmap.treatment.check_trees import check_trees_needed, power_of, propose_check_trees
from gridmap.treatment.costs import Costs, clean_trees_for_one, product_of, tree_area_m2, work_out_costs, would_rather
from gridmap.treatment.diversity import GroupDiversity, group_diversity
from gridmap.treatment.efficacy import (
    WITHOUT_CHECK_TREES,
    Counted,
    Efficacy,
    abbott,
    abbott_from_mortality,
    change_of_counts,
    common_k,
    efficacy_of_counts,
    henderson_tilton,
)
from gridmap.treatment.field import NOT_WALKED, Field, lay_field, walked_blocks
from gridmap.treatment.humidity import (
    pressure_at_height_hpa,
    relative_humidity_pct,
    saturation_vapour_pressure_kpa,
    stull_wet_bulb_c,
    wet_bulb_c,
    wet_bulb_depression,
)
from gridmap.treatment.label_rules import Application, Finding, earliest_day, forbids, judge_label
from gridmap.treatment.loads import split_loads, tank_loads, with_loads
from gridmap.treatment.margin import within_margin
from gridmap.treatment.mix import ROUTES, Mix, amount_words, mix
from gridmap.treatment.needed import NEEDED, missing, require
from gridmap.treatment.options import Comparison, compare_options
from gridmap.treatment.order import TOLD, walking_order
from gridmap.treatment.record import FIELDS, RecordProfile, left_words, missing_fields, read_profiles, time_left
from gridmap.treatment.rows import Rows, lay_rows
from gridmap.treatment.runs import best_runs, number_runs
from gridmap.treatment.setback import Setback, apply_setbacks
from gridmap.treatment.settings import BOUGHT_IN, END_USES, RATE_BASES, RATE_UNITS, Label, Prices, Sprayer, Threshold
from gridmap.treatment.spray_hours import REASONS, SprayPlace, judge_hours
from gridmap.treatment.sun import SunTimes, sun_height_deg, sun_times
from gridmap.treatment.thermal_time import days_to_develop, degree_days
from gridmap.treatment.ticked import Progress, progress
from gridmap.treatment.volumes import box_m3, ellipsoid_m3, litres_per_ha, tree_row_volume_m3_per_ha
from gridmap.treatment.weather_limits import USUAL, WeatherLimits
from gridmap.treatment.zone import Zone, make_zone

__all__ = [
    "BOUGHT_IN",
    "CAUTIONS",
    "COMPARABLE",
    "COMPARABLE_EGG",
    "DERIVED",
    "END_USES",
    "FIELDS",
    "NEEDED",
    "NOT_WALKED",
    "RATE_BASES",
    "RATE_UNITS",
    "REASONS",
    "ROUTES",
    "TOLD",
    "USUAL",
    "USUAL_DAYS",
    "WITHOUT_CHECK_TREES",
    "Application",
    "Comparison",
    "Costs",
    "Counted",
    "Efficacy",
    "Field",
    "Finding",
    "FollowUp",
    "GroupDiversity",
    "Label",
    "Mix",
    "NozzleTest",
    "Prices",
    "Progress",
    "RecordProfile",
    "Rows",
    "RunOffTest",
    "Setback",
    "SprayPlace",
    "Sprayer",
    "SunTimes",
    "Threshold",
    "WeatherLimits",
    "Zone",
    "abbott",
    "abbott_from_mortality",
    "alley_runs",
    "amount_words",
    "apply_setbacks",
    "best_runs",
    "box_m3",
    "cautions",
    "change_of_counts",
    "check_trees_needed",
    "clean_trees_for_one",
    "common_k",
    "compare_options",
    "days_to_develop",
    "degree_days",
    "earliest_day",
    "efficacy_of_counts",
    "ellipsoid_m3",
    "follow_up",
    "forbids",
    "group_diversity",
    "gun_litres_per_tree",
    "henderson_tilton",
    "judge_hours",
    "judge_label",
    "lay_field",
    "lay_rows",
    "left_words",
    "litres_per_ha",
    "make_zone",
    "missing",
    "missing_fields",
    "mix",
    "nozzle_test",
    "number_runs",
    "power_of",
    "pressure_at_height_hpa",
    "product_of",
    "progress",
    "propose_check_trees",
    "read_profiles",
    "relative_humidity_pct",
    "require",
    "run_off_test",
    "saturation_vapour_pressure_kpa",
    "speed_km_per_h",
    "split_loads",
    "stull_wet_bulb_c",
    "sun_height_deg",
    "sun_times",
    "tank_loads",
    "time_left",
    "tree_area_m2",
    "tree_row_volume_m3_per_ha",
    "unit_canopy_rows_per_ha",
    "walked_blocks",
    "walking_order",
    "wet_bulb_c",
    "wet_bulb_depression",
    "with_loads",
    "within_margin",
    "work_out_costs",
    "would_rather",
]
