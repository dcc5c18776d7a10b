"""Humid air against formulations, libraries and tables that others made."""

import numpy as np
import psychrolib
import pytest

from curewatch.physics import moist_air
from curewatch.units import celsius_from_kelvin, kelvin_from_celsius
from tests.published.published_rows import rows

KELVIN = kelvin_from_celsius(0.0)


def test_saturation_pressure_agrees_with_the_international_formulation() -> None:
    """Hyland-Wexler and IAPWS differ by less than 0.05 % above -20 degC, 0.1 % at -20 over water."""
    for row in rows("saturation_pressure"):
        temperature_c, expected = float(row["temperature_c"]), float(row["pressure_pa"])
        over_ice = row["over"] == "ice"
        law = moist_air.saturation_pressure_over_ice if over_ice else moist_air.saturation_pressure
        tolerance = 1.1e-3 if not over_ice and temperature_c <= -20 else 5e-4
        assert float(law(temperature_c + KELVIN)) == pytest.approx(expected, rel=tolerance), row


def test_supercooled_extrapolation_keeps_its_stated_error(record_property) -> None:
    """The dew point from the extrapolated equation is off by 0.02 K at -20, 0.08 at -40, 0.4 at -60 degC."""
    for temperature_c, allowed in ((-20.0, 0.02), (-40.0, 0.08), (-60.0, 0.4)):
        kelvin = temperature_c + KELVIN
        bracket = 53.878 - 1331.22 / kelvin - 9.44523 * np.log(kelvin) + 0.014025 * kelvin
        logarithm = 54.842763 - 6763.22 / kelvin - 4.21 * np.log(kelvin) + 0.000367 * kelvin
        pressure = np.exp(logarithm + np.tanh(0.0415 * (kelvin - 218.8)) * bracket)
        off = abs(float(moist_air.dew_point(pressure)) - kelvin)
        record_property("measured", f"{off:.3f} K at {temperature_c:.0f} degC")
        assert off < allowed


def test_dew_point_table() -> None:
    """Dew points where both libraries agree, within their own difference of 0.02 K."""
    for row in rows("dew_point"):
        pressure = moist_air.vapour_pressure(
            float(row["air_temperature_c"]) + KELVIN, float(row["relative_humidity_percent"]) / 100
        )
        found = celsius_from_kelvin(float(moist_air.dew_point(pressure)))
        assert found == pytest.approx(float(row["dew_point_c"]), abs=0.02), row


def test_relative_humidity_that_leaves_three_kelvin() -> None:
    """A surface as warm as the air keeps 3.0 K at the tabulated humidity."""
    for row in rows("condensation_margin"):
        temperature = float(row["surface_temperature_c"]) + KELVIN
        pressure = moist_air.saturation_pressure(temperature - 3.0)
        found = 100 * float(moist_air.relative_humidity(temperature, pressure))
        assert found == pytest.approx(float(row["relative_humidity_at_3K_margin_percent"]), abs=0.1), row


def test_dew_difference_bands_of_the_coating_trade() -> None:
    """A surface at 0 degC gives the printed low end within 3 %, one at 30 degC the high end within 4 %."""
    for row in rows("dew_difference_bands"):
        for surface_c, end, tolerance in ((0.0, "low", 3.0), (30.0, "high", 4.1)):
            surface = surface_c + KELVIN
            pressure = moist_air.saturation_pressure(surface - float(row["difference_f"]) / 1.8)
            found = 100 * float(moist_air.relative_humidity(surface, pressure))
            assert found == pytest.approx(float(row[f"rh_at_surface_{end}_percent"]), abs=tolerance), row


def test_grid_against_psychrolib() -> None:
    """Over water above 0 degC and over ice below, the other library's equations give the same pressures."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temperature_c in np.linspace(0.5, 60, 60):
        ours = float(moist_air.saturation_pressure(temperature_c + KELVIN))
        assert ours == pytest.approx(psychrolib.GetSatVapPres(temperature_c), rel=1e-7)
        for fraction in (0.3, 0.6, 0.9, 1.0):
            dew = psychrolib.GetTDewPointFromRelHum(temperature_c, fraction)
            pressure = moist_air.vapour_pressure(temperature_c + KELVIN, fraction)
            if dew > 0.1:  # below, that library's dew point is a frost point
                assert celsius_from_kelvin(float(moist_air.dew_point(pressure))) == pytest.approx(
                    dew, abs=2e-3
                )
    for temperature_c in np.linspace(-60, -0.5, 60):
        ours = float(moist_air.saturation_pressure_over_ice(temperature_c + KELVIN))
        assert ours == pytest.approx(psychrolib.GetSatVapPres(temperature_c), rel=1e-7)


@pytest.mark.long
def test_grid_against_coolprop() -> None:
    """A real-gas formulation gives the same dew point within 0.02 K from 1 to 50 degC."""
    from CoolProp.CoolProp import HAPropsSI  # two seconds that no other test needs

    for temperature_c in np.linspace(1.0, 50.0, 25):
        for fraction in (0.4, 0.7, 0.95):
            kelvin = temperature_c + KELVIN
            dew = HAPropsSI("D", "T", kelvin, "P", 101325.0, "R", fraction)
            if dew > KELVIN + 0.1:
                ours = float(moist_air.dew_point(moist_air.vapour_pressure(kelvin, fraction)))
                assert ours == pytest.approx(dew, abs=0.02), (temperature_c, fraction)


def test_below_freezing_a_library_that_changes_to_ice_is_too_dry() -> None:
    """A chip's 90 % at -15 degC, taken as over ice, gives a frost point 1.6 K too low: the unsafe side."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    ours = float(moist_air.frost_point(moist_air.vapour_pressure(KELVIN - 15.0, 0.9)))
    theirs = psychrolib.GetTDewPointFromRelHum(-15.0, 0.9)  # a frost point, by its change to ice
    assert celsius_from_kelvin(ours) - theirs == pytest.approx(1.6, abs=0.1)


def test_humidity_at_a_cold_surface() -> None:
    """Air of 18 degC and 70 % over a hull of 14 degC is 90 % at the hull."""
    pressure = moist_air.vapour_pressure(KELVIN + 18, 0.7)
    assert float(moist_air.relative_humidity(KELVIN + 14, pressure)) == pytest.approx(0.90, abs=0.005)
