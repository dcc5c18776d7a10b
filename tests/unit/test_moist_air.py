"""Laws that humid air keeps whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.errors import OutOfValidity
from curewatch.physics import moist_air

LIQUID = st.floats(193.15, 473.15)
ICE = st.floats(173.15, 273.16)
FRACTION = st.floats(0.01, 1.0)


@given(LIQUID)
def test_dew_point_undoes_saturation_pressure(temperature: float) -> None:
    """Saturated air has its own temperature as dew point, to a millionth of a kelvin."""
    pressure = moist_air.saturation_pressure(temperature)
    assert abs(float(moist_air.dew_point(pressure)) - temperature) < 1e-6


@given(ICE)
def test_frost_point_undoes_saturation_pressure_over_ice(temperature: float) -> None:
    """Air saturated over ice has its own temperature as frost point."""
    pressure = moist_air.saturation_pressure_over_ice(temperature)
    assert abs(float(moist_air.frost_point(pressure)) - temperature) < 1e-6


@given(st.floats(233.15, 333.15), FRACTION)
def test_relative_humidity_undoes_vapour_pressure(temperature: float, fraction: float) -> None:
    """Going to vapour pressure and back gives the humidity that went in."""
    pressure = moist_air.vapour_pressure(temperature, fraction)
    assert float(moist_air.relative_humidity(temperature, pressure)) == pytest.approx(fraction, rel=1e-12)


@given(st.floats(233.15, 333.15), st.floats(0.05, 0.99))
def test_unsaturated_air_has_its_dew_point_below_it(temperature: float, fraction: float) -> None:
    """The dew point of unsaturated air is below its temperature, and rises with humidity."""
    lower = float(moist_air.dew_point(moist_air.vapour_pressure(temperature, fraction)))
    higher = float(moist_air.dew_point(moist_air.vapour_pressure(temperature, fraction + 0.005)))
    assert lower < higher < temperature


@given(st.floats(220.0, 272.0))
def test_frost_forms_before_dew(temperature: float) -> None:
    """Below 0 degC the frost point stands above the dew point of the same air."""
    pressure = moist_air.saturation_pressure(temperature)
    assert float(moist_air.frost_point(min(float(pressure), 611.0))) >= temperature - 1e-9


@given(st.floats(200.0, 470.0))
def test_slope_is_the_derivative(temperature: float) -> None:
    """The stated slope is what differences of the saturation pressure say."""
    step = 1e-3
    difference = moist_air.saturation_pressure(temperature + step) - moist_air.saturation_pressure(
        temperature - step
    )
    assert float(moist_air.saturation_slope(temperature)) == pytest.approx(
        float(difference) / (2 * step), rel=1e-5
    )


@given(st.floats(240.0, 330.0), st.floats(10.0, 5000.0))
def test_density_and_pressure_of_vapour_are_two_faces(temperature: float, pressure: float) -> None:
    """Vapour density goes back to the pressure it came from."""
    density = moist_air.vapour_density(temperature, pressure)
    again = float(moist_air.vapour_pressure_from_density(temperature, density))
    assert again == pytest.approx(pressure, rel=1e-12)


def test_arrays_go_in_and_come_out_in_shape() -> None:
    """Any shape comes back in its shape, each value as if alone; a scalar comes back as a float."""
    temperature = np.linspace(263.0, 313.0, 24).reshape(2, 3, 4)
    pressure = moist_air.saturation_pressure(temperature)
    dew = moist_air.dew_point(pressure)
    assert dew.shape == (2, 3, 4)
    assert float(moist_air.dew_point(pressure[1, 2, 3])) == pytest.approx(float(dew[1, 2, 3]), abs=1e-9)
    assert isinstance(moist_air.dew_point(1200.0), float)


@pytest.mark.parametrize(
    ("law", "value"),
    [
        (moist_air.saturation_pressure, 193.0),
        (moist_air.saturation_pressure, 20.0),  # degC by mistake
        (moist_air.saturation_pressure, float("nan")),
        (moist_air.saturation_pressure_over_ice, 274.0),
        (moist_air.dew_point, 0.0),
        (moist_air.dew_point, -5.0),
        (moist_air.frost_point, 900.0),
        (moist_air.humidity_ratio, 101325.0),
    ],
)
def test_outside_its_source_an_equation_refuses(law, value) -> None:  # type: ignore[no-untyped-def]
    """No clamp and no silent NaN: the error names the quantity, the value and the source."""
    with pytest.raises(OutOfValidity) as caught:
        law([300.0, value] if law is moist_air.saturation_pressure else value)
    assert caught.value.source
    assert "holds for" in str(caught.value)


def test_a_percentage_by_mistake_is_refused() -> None:
    """A relative humidity of 70 is not a fraction."""
    with pytest.raises(OutOfValidity, match="relative humidity is 70"):
        moist_air.vapour_pressure(290.0, 70.0)


def test_masses_of_ordinary_air() -> None:
    """At 20 degC and 50 % a cubic metre holds 8.6 g of water in 1.19 kg of air, by hand from the gas law."""
    pressure = moist_air.vapour_pressure(293.15, 0.5)
    assert float(moist_air.vapour_density(293.15, pressure)) == pytest.approx(8.64e-3, rel=5e-3)
    assert float(moist_air.dry_air_density(293.15, pressure)) == pytest.approx(1.190, rel=5e-3)
    assert float(moist_air.humidity_ratio(pressure)) == pytest.approx(7.26e-3, rel=5e-3)
