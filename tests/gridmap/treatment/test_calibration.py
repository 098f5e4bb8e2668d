"""Calibration against published worked examples of sprayer guides."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import (
    gun_litres_per_tree,
    nozzle_test,
    run_off_test,
    speed_km_per_h,
    tree_row_volume_m3_per_ha,
    unit_canopy_rows_per_ha,
)


def test_speed_over_a_hundred_metres():
    # The rule of sprayer guides, km/h = 360 / seconds for 100 m.
    assert speed_km_per_h(100, 60) == pytest.approx(360 / 60)
    assert speed_km_per_h(100, [40, 50]) == pytest.approx(8)


def test_gun_of_penn_state():
    # Penn State Extension: 100 gal/ac on 1,210 trees/ac is 0.08 gal a tree; at 0.30 gal/min it takes 16 s.
    assert gun_litres_per_tree(0.30, 16) == pytest.approx(100 / 1210, abs=0.003)


def test_nozzles_of_the_sprayer_manual():
    # Sprayer manual, manualshive 942471, p. 18: twelve nozzles of 1.02 L/min are 12.24 L/min.
    found = nozzle_test({str(n): 1.02 for n in range(12)}, 60)
    assert found.flow_l_per_min == pytest.approx(12.24)
    assert (found.outliers, found.remarks) == ((), ())


def test_worn_and_blocked_nozzles_are_named():
    # A tenth off the mean: common practice, no source. Four nozzles of 1 L/min, one blocked to 0.8 and one worn to 1.2.
    found = nozzle_test({"a": 0.5, "b": 0.5, "low": 0.4, "c": 0.5, "high": 0.6, "d": 0.5}, 30)
    assert found.outliers == ("low", "high")
    assert "20 % under the mean of 1.00: blocked; clean it" in found.remarks[0]
    assert "20 % over the mean of 1.00: worn; change it" in found.remarks[1]


@given(st.lists(st.floats(0.2, 2), min_size=1, max_size=12), st.floats(5, 120))
def test_the_parts_add_up(catches, seconds):
    # Identity, no published example: the whole flow is the sum of the nozzles', whatever the time of the catch.
    found = nozzle_test({str(i): litres for i, litres in enumerate(catches)}, seconds)
    assert found.flow_l_per_min == pytest.approx(sum(catches) * 60 / seconds)
    assert sum(off for _, _, off in found.by_nozzle) == pytest.approx(0, abs=1e-9)


def test_coefficient_weighs_by_volume():
    # Physical sense: litres predicted for the trees tested add up to the litres that they took.
    found = run_off_test([6.0, 12.0, 3.0], [20.0, 45.0, 11.0])
    assert found.litres_per_m3 * 76.0 == pytest.approx(21.0)
    assert "differ by" in found.remark
    assert "Three trees at least" in run_off_test([6.0], [20.0]).remark
    assert math.isnan(run_off_test([6.0], [20.0]).spread)


def test_unit_canopy_rows_are_tree_row_volume_in_hundreds():
    # Furness et al. (1998): one unit is 100 m3 of canopy, so that UCR/ha is tree row volume over 100 (definition; no
    # published numeric example found).
    assert unit_canopy_rows_per_ha(3.5, 3.0, 7.5) == pytest.approx(tree_row_volume_m3_per_ha(3.5, 3.0, 7.5) / 100)


@pytest.mark.parametrize(("call", "message"), [
    (lambda: nozzle_test({}, 30), "No nozzle was caught"),
    (lambda: nozzle_test({"a": 0.0}, 30), "Nothing was caught from any nozzle"),
    (lambda: nozzle_test({"a": -1}, 30), "Catch of nozzle a is -1 L: it must be at least 0"),
    (lambda: nozzle_test({"a": 1}, 0), "Time of the catch is 0 s"),
    (lambda: speed_km_per_h(100, []), "No time was given"),
    (lambda: gun_litres_per_tree(3, []), "No time was given"),
    (lambda: run_off_test([1.0], []), "1 trees have litres and 0 a canopy volume"),
    (lambda: unit_canopy_rows_per_ha(3, 3, 0), "Row spacing is 0 m"),
])
def test_what_can_not_be_is_refused(call, message):
    with pytest.raises(InputRefused, match=message):
        call()
