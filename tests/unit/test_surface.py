"""Laws of the surface: margin, its error, and the lag of a body behind its air."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.errors import ConfigurationError, OutOfValidity, UsageError
from curewatch.materials.sensor_part import load_sensor_part, sensor_part_names
from curewatch.materials.substrate import load_substrate, substrate_names
from curewatch.model.air import surface
from curewatch.model.air.past import Past, no_past
from curewatch.physics import moist_air

AIR = st.floats(263.0, 303.0)


@given(AIR, st.floats(0.3, 1.0), st.floats(-5.0, 5.0))
def test_the_margin_is_zero_where_the_surface_reaches_the_dew_point(
    temperature: float, humidity: float, warmer: float
) -> None:
    """Moving the surface by so much moves the margin by so much, from zero at the dew point."""
    pressure = moist_air.vapour_pressure(temperature, humidity)
    dew = float(moist_air.dew_point(pressure))
    assert float(surface.condensation_margin(dew + warmer, pressure)) == pytest.approx(warmer, abs=1e-9)


@pytest.mark.long
@given(AIR, st.floats(0.4, 0.95))
def test_margin_error_is_what_small_errors_do(temperature: float, humidity: float) -> None:
    """Linear propagation agrees with simulated small errors of the chip and of the probe."""
    errors = np.random.default_rng(7).normal(size=(3, 4000)) * np.array([[0.02], [0.001], [0.03]])
    errors -= errors.mean(axis=1, keepdims=True)
    errors *= np.array([[0.02], [0.001], [0.03]]) / errors.std(axis=1, keepdims=True)
    pressures = moist_air.vapour_pressure(temperature + errors[0], humidity + errors[1])
    simulated = surface.condensation_margin(temperature + errors[2], pressures).std()
    pressure = moist_air.vapour_pressure(temperature, humidity)
    pressure_sd = surface.vapour_pressure_sd(temperature, humidity, 0.02, 0.001)
    stated = float(surface.margin_sd(pressure, pressure_sd, 0.03))
    assert stated == pytest.approx(simulated, rel=0.06)


def test_a_body_follows_a_step_by_its_time_constant() -> None:
    """After one time constant 63.2 % of a step has arrived, whatever the spacing of the moments."""
    for moments in (np.linspace(1.0, 3600.0, 4), np.linspace(1.0, 3600.0, 977)):
        time = np.concatenate([[0.0], moments])
        body = surface.lagged_temperature(time, np.full(len(time), 290.0), 3600.0, start=280.0)
        assert body[-1] == pytest.approx(290.0 - 10.0 * np.exp(-1.0), abs=1e-9)


def test_a_body_lags_a_steady_rise_by_its_time_constant_times_the_rate() -> None:
    """Behind air that warms 2 K/h for long, a body with a lag of half an hour stays 1 K behind."""
    time = np.arange(0.0, 12 * 3600.0, 600.0)
    air = 280.0 + 2.0 * time / 3600.0
    body = surface.lagged_temperature(time, air, 1800.0)
    assert air[-1] - body[-1] == pytest.approx(1.0, abs=1e-6)


def test_members_are_followed_each_by_its_own_body() -> None:
    """A stack of paths gives what each path gives alone."""
    time = np.arange(0.0, 7200.0, 900.0)
    air = 280.0 + np.random.default_rng(3).normal(size=(5, len(time)))
    together = surface.lagged_temperature(time, air, 2500.0, start=281.0)
    for path, body in zip(air, together, strict=True):
        assert np.allclose(surface.lagged_temperature(time, path, 2500.0, start=281.0), body, atol=1e-12)


def test_times_that_do_not_rise_are_refused() -> None:
    """A lag over moments out of order is an error, not a number."""
    with pytest.raises(OutOfValidity, match="time step"):
        surface.lagged_temperature([0.0, 600.0, 500.0], [280.0, 281.0, 282.0], 1800.0)
    with pytest.raises(OutOfValidity, match="time constant"):
        surface.lagged_temperature([0.0, 600.0], [280.0, 281.0], 0.0)


def test_an_estimate_is_wider_with_less_history_and_more_lag() -> None:
    """Steady air known for long leaves the base error; a short past or a fast change widens it."""
    substrate = load_substrate("timber")
    time = np.arange(0.0, 24 * 3600.0, 900.0)
    steady = surface.estimated(time, np.full(len(time), 285.0), substrate)
    assert steady.sd[-1] == pytest.approx(surface.UNPROBED_SD, rel=0.01)
    assert steady.sd[0] > 3 * steady.sd[-1]
    falling = surface.estimated(time, 285.0 - time / 3600.0, substrate)
    assert falling.temperature[-1] > 285.0 - time[-1] / 3600.0 + 1.0
    assert falling.sd[-1] > 1.1 * steady.sd[-1]


def test_each_substrate_and_part_is_whole_and_sourced() -> None:
    """Every number of every substrate and part names where it comes from."""
    for name in substrate_names():
        substrate = load_substrate(name)
        assert 60.0 < substrate.time_constant < 20 * 3600.0, name
        assert {"density", "heat_capacity", "thickness_mm"} <= set(substrate.origins)
        assert all(": " in origin for origin in substrate.origins.values())
    for name in sensor_part_names():
        part = load_sensor_part(name)
        assert 0 < part.temperature_sd <= part.temperature_worst, name
        if part.relative_humidity_sd is not None:
            assert part.relative_humidity_worst is not None
            assert 0 < part.relative_humidity_sd <= part.relative_humidity_worst < 0.1, name
        assert all(": " in origin for origin in part.origins.values())


def test_thickness_given_by_the_user_counts() -> None:
    """Twice as thick follows twice as slowly, and the origin says who gave it."""
    thin, thick = load_substrate("plywood", 0.009), load_substrate("plywood", 0.018)
    assert thick.time_constant == pytest.approx(2 * thin.time_constant)
    assert thick.origins["thickness_mm"].startswith("given")


def test_an_unknown_name_is_answered_with_those_that_exist() -> None:
    """A substrate or part that is not listed gives an error that lists them."""
    with pytest.raises(ConfigurationError, match="plywood, timber"):
        load_substrate("ferrocement")
    with pytest.raises(ConfigurationError, match="humidity-2"):
        load_sensor_part("hair hygrometer")
    with pytest.raises(UsageError, match=r"found .* mm\. Use 0\.5"):
        load_substrate("plywood", 12.0)


def test_hourly_readings_on_a_finer_grid_are_history_all_the_same() -> None:
    """Empty cells between readings do not break the history; a gap of four hours does."""
    time = np.arange(0.0, 24 * 3600.0, 900.0)
    air = np.full(len(time), np.nan)
    air[::4] = 285.0
    nothing = np.full(len(time), np.nan)
    past = Past(time, air, nothing, nothing, nothing, nothing)
    substrate = load_substrate("timber")
    whole = surface.estimated_now(past, float(time[-1]) + 60.0, 285.0, substrate)
    assert float(whole.sd) == pytest.approx(surface.UNPROBED_SD, rel=0.01)
    air[-20:-3] = np.nan
    broken = surface.estimated_now(past, float(time[-1]) + 60.0, 285.0, substrate)
    assert float(broken.sd) > 2 * surface.UNPROBED_SD
    first = surface.estimated_now(no_past(), 0.0, 285.0, substrate)
    assert float(first.temperature) == 285.0
    assert float(first.sd) > 4.0
