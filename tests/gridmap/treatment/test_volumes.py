"""Volume formulas against published worked examples. Pages as listed; read in stored copies."""

import math
import re

import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import box_m3, ellipsoid_m3, litres_per_ha, split_loads, tree_row_volume_m3_per_ha
from gridmap.units import L_PER_US_GALLON, M2_PER_ACRE, M2_PER_HA, M_PER_FOOT

ACRE_FT2 = 43_560
FT3_PER_ACRE = M_PER_FOOT**3 / M2_PER_ACRE * M2_PER_HA  # ft3/ac in m3/ha
GAL_PER_ACRE = L_PER_US_GALLON / M2_PER_ACRE * M2_PER_HA  # US gal/ac in L/ha


def test_area_rate_of_twelve_nozzles():
    # Sprayer manual, manualshive 942471, p. 18: 12 nozzles x 1.02 L/min, 6 km/h, rows 3.0 m -> 408 L/ha.
    assert litres_per_ha(12 * 1.02, 6, 3.0) == pytest.approx(408, abs=0.5)


def test_area_rate_in_metres_a_minute():
    # countryco.com.au training page: 24 L/min, 200 m/min, 12 m -> 100 L/ha.
    assert litres_per_ha(24, 200 * 60 / 1000, 12) == pytest.approx(100, rel=1e-12)


def test_flow_that_a_rate_needs():
    # azmanual 124774, p. 22: 8 km/h x 12 m / 600 = 0.16 ha/min; x 100 L/ha = 16 L/min.
    assert litres_per_ha(16, 8, 12) == pytest.approx(100, rel=1e-12)


def test_tree_row_volume_of_cornell():
    # Landers, Cornell University, "Tree row volume": 10 ft wide, 8 ft high, rows 18 ft -> 193,600 ft3/ac;
    # x 0.7 gal/1000 ft3 -> 136 gal/ac (135.5), x 1.0 -> 194 gal/ac (193.6).
    volume = tree_row_volume_m3_per_ha(8 * M_PER_FOOT, 10 * M_PER_FOOT, 18 * M_PER_FOOT)
    assert volume / FT3_PER_ACRE == pytest.approx(193_600, rel=1e-9)
    for coefficient, gallons in ((0.7, 135.5), (1.0, 193.6)):
        litres_per_m3 = coefficient * L_PER_US_GALLON / (1000 * M_PER_FOOT**3)
        assert volume * litres_per_m3 / GAL_PER_ACRE == pytest.approx(gallons, abs=0.05)


def test_tree_row_volume_of_the_standard_orchard():
    # Penn State Extension: trees 20 x 23 ft, rows 35 ft, 400 gal/ac, hence 0.7 gal/1000 ft3 (printed to one place).
    volume = tree_row_volume_m3_per_ha(20 * M_PER_FOOT, 23 * M_PER_FOOT, 35 * M_PER_FOOT) / FT3_PER_ACRE
    assert 400 / volume * 1000 == pytest.approx(0.7, abs=0.05)


def test_nursery_form_of_canopy_volume():
    # nurserymag.com: D 6.5 ft, H 11 - 3 = 8 ft, S 9 ft: gal/ac = 10 D H / S -> 58. The 10 stands for a coefficient in
    # gal/ft3 x 43,560 ft2/ac, so the same coefficient on our volume must give it back.
    volume = tree_row_volume_m3_per_ha(8 * M_PER_FOOT, 6.5 * M_PER_FOOT, 9 * M_PER_FOOT) / FT3_PER_ACRE
    assert volume * 10 / ACRE_FT2 == pytest.approx(58, abs=0.5)


def test_gallons_a_tree():
    # Penn State Extension: 100 gal/ac, trees 6 x 6 ft (1,210 trees/ac) -> 0.08 gal/tree; at 0.30 gal/min -> 16 s/tree
    # (worked on the rounded 0.08; unrounded 16.5).
    trees = M2_PER_ACRE / (6 * M_PER_FOOT) ** 2
    assert trees == pytest.approx(1210, rel=1e-9)
    assert 100 / trees == pytest.approx(0.08, abs=0.005)
    assert round(100 / trees, 2) / 0.30 * 60 == pytest.approx(16, abs=0.5)


def test_part_of_an_area():
    # what-when-how, pesticide safety: 3.5 ac x 15 gal/ac -> 52.5 gal.
    litres = 15 * GAL_PER_ACRE * 3.5 * M2_PER_ACRE / M2_PER_HA
    assert litres / L_PER_US_GALLON == pytest.approx(52.5, rel=1e-9)
    assert split_loads(52.5, 50) == (1, 2.5)


def test_box_overstates_a_round_tree_by_six_over_pi():
    """Identity, no published example: a tree as wide as its spacing fills pi/6 of its box."""
    assert ellipsoid_m3(3, 5) / box_m3(3, 5, 5) == pytest.approx(math.pi / 6, rel=1e-12)


def test_unit_canopy_row_is_100_m3():
    # Furness, Magarey, Miller & Drew 1998, Crop Protection 17:639: one unit is 1 m high x 1 m wide x 100 m of row.
    assert box_m3(1, 1, 100) == 100
    assert tree_row_volume_m3_per_ha(3, 4, 8) / 100 == pytest.approx(3 * 4 * 100 / 8)


def test_trees_of_a_hectare_make_its_tree_row_volume():
    """Identity, no published example."""
    assert box_m3(3, 4, 5) * M2_PER_HA / (8 * 5) == pytest.approx(tree_row_volume_m3_per_ha(3, 4, 8))


@pytest.mark.parametrize(("call", "message"), [
    (lambda: litres_per_ha(0, 6, 3), "Flow is 0 L/min: it must be over 0 L/min."),
    (lambda: litres_per_ha(12, 6, -3), "Row spacing is -3 m: it must be over 0 m."),
    (lambda: box_m3(0, 3, 5), "Canopy height is 0 m: it must be over 0 m."),
])
def test_lengths_are_checked(call, message):
    with pytest.raises(InputRefused, match=re.escape(message)):
        call()
