"""Wet bulb and humidity against printed tables and other people's programs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.treatment import (
    pressure_at_height_hpa,
    relative_humidity_pct,
    saturation_vapour_pressure_kpa,
    stull_wet_bulb_c,
    wet_bulb_c,
    wet_bulb_depression,
)
from gridmap.treatment.humidity import FAO_PSYCHROMETER_COEFFICIENT

# A printed psychrometric table, relative humidity [percent] at a dry bulb and a depression of 1 to 9 degC (school
# weather unit, studylib 18052207; rows of 15 degC and over, where all sources agree; read in a stored copy).
PRINTED = {
    15: (90, 80, 71, 62, 54, 45, 37, 29, 22),
    20: (91, 83, 75, 67, 59, 52, 45, 38, 32),
    25: (92, 85, 77, 71, 64, 57, 51, 45, 40),
    30: (93, 86, 80, 73, 67, 61, 56, 50, 45),
    34: (93, 87, 81, 75, 69, 64, 59, 54, 49),
}


@pytest.mark.parametrize("dry", PRINTED)
def test_humidity_is_that_of_the_printed_table(dry):
    # Printed in whole percents, so half a point is rounding; the coefficient is known no better than a tenth more.
    found = relative_humidity_pct(dry, dry - np.arange(1.0, 10.0))
    assert np.abs(found - np.array(PRINTED[dry])).max() < 0.62


@pytest.mark.parametrize("dry", PRINTED)
def test_depression_comes_back_from_the_printed_humidity(dry):
    # Half a point of humidity is up to 0.1 degC of depression.
    assert np.abs(wet_bulb_depression(dry, PRINTED[dry]) - np.arange(1.0, 10.0)).max() < 0.12


def test_saturation_of_fao_56():
    # Allen et al. (1998), FAO Irrigation and Drainage Paper 56, example 3: 3.075 and 1.705 kPa.
    assert saturation_vapour_pressure_kpa([24.5, 15.0]) == pytest.approx([3.075, 1.705], abs=0.0005)


def test_vapour_pressure_of_fao_56_example_4():
    # Example 4 (value from memory): 25.6 and 19.5 degC at 1,200 m: P 87.9 kPa, ea 1.91 kPa.
    pressure = pressure_at_height_hpa(1200)
    assert pressure / 10 == pytest.approx(87.9, abs=0.05)
    humidity = relative_humidity_pct(25.6, 19.5, pressure, coefficient=FAO_PSYCHROMETER_COEFFICIENT)
    assert humidity / 100 * saturation_vapour_pressure_kpa(25.6) == pytest.approx(1.91, abs=0.005)


def test_humidity_of_metpy():
    # MetPy's documentation, psychrometric_vapor_pressure_wet: 958 hPa, 25 and 12 degC -> e 627.52 Pa, RH 19.84 %;
    # relative_humidity_wet_psychrometric: 1000 hPa, 19 and 10 degC -> 30.43 %. Its saturation curve is Bolton's.
    assert relative_humidity_pct(25, 12, 958) == pytest.approx(19.84, abs=0.05)
    assert relative_humidity_pct(19, 10, 1000) == pytest.approx(30.43, abs=0.05)
    vapour_kpa = relative_humidity_pct(25, 12, 958) / 100 * saturation_vapour_pressure_kpa(25)
    assert vapour_kpa == pytest.approx(0.62752, rel=4e-3)


def test_humidity_of_the_army_manual():
    # US Army TM 5-3610-285-14, table: 68 degF dry, depression 6 degF -> 71 % (printed in whole percents).
    humidity = relative_humidity_pct(20.0, 20.0 - 6 / 1.8, coefficient=FAO_PSYCHROMETER_COEFFICIENT)
    assert humidity == pytest.approx(71, abs=1.0)


def test_stull_of_the_paper():
    # Stull (2011): 20 degC and 50 % -> 13.7 degC.
    assert stull_wet_bulb_c(20, 50) == pytest.approx(13.7, abs=0.05)


@given(st.floats(10, 40), st.floats(10, 98))
def test_the_two_formulas_agree_within_what_stull_claims(temperature, humidity):
    # Stull (2011): errors from -1 to 0.65 degC, here against the psychrometer of FAO 56.
    wet = wet_bulb_c(temperature, humidity, coefficient=FAO_PSYCHROMETER_COEFFICIENT)
    assert -1.1 < stull_wet_bulb_c(temperature, humidity) - wet < 0.75


@given(st.floats(-5, 45), st.floats(1, 100), st.floats(700, 1050))
def test_there_and_back(temperature, humidity, pressure):
    # No published example: the root put back into its equation.
    wet = wet_bulb_c(temperature, humidity, pressure)
    assert relative_humidity_pct(temperature, wet, pressure) == pytest.approx(humidity, abs=1e-6)


@given(st.floats(0, 45), st.floats(5, 94), st.floats(0, 5))
def test_drier_air_has_the_greater_depression(temperature, humidity, more):
    # Physical sense: more vapour, less drying; none in saturated air.
    assert wet_bulb_depression(temperature, humidity) >= wet_bulb_depression(temperature, humidity + more) - 1e-9
    assert wet_bulb_depression(temperature, 100) == 0


def test_high_ground_dries_faster():
    # Physical sense: at lower pressure the same air gives a lower wet bulb.
    assert wet_bulb_depression(25, 40, pressure_at_height_hpa(1000)) > wet_bulb_depression(25, 40)


def test_what_was_not_measured_stays_unknown():
    assert np.isnan(wet_bulb_depression([20.0, np.nan], [np.nan, 50.0])).all()


@pytest.mark.parametrize(("arguments", "message"), [
    ((25, 140), "Humidity is 140 percent: it must be 0 to 100 percent"),
    ((25, -1), "Humidity is -1 percent"),
    ((77, 40), "Temperature is 77 degC: it must be -40 to 60 degC"),
    ((25, 40, 101.3), "Pressure is 101.3 hPa: it must be 500 to 1100 hPa"),
])
def test_what_can_not_be_is_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        wet_bulb_depression(*arguments)
