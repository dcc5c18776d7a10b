"""The surface's margin against hand-worked values."""

import numpy as np
import pytest

from curewatch.materials.sensor_part import load_sensor_part
from curewatch.model.air import surface
from curewatch.physics import moist_air
from tests.published.published_rows import rows

TEMPERATURE, HUMIDITY = 283.15, 0.80


def test_worst_error_of_the_margin_by_class_of_part() -> None:
    """Adding the worst of chip and probe gives the tabulated error of the margin."""
    pressure = float(moist_air.vapour_pressure(TEMPERATURE, HUMIDITY))
    for row in rows("sensor_margin_error"):
        part = load_sensor_part(row["part"])
        by_chip_temperature = _dew_error(pressure, part.temperature_worst, 0.0)
        for humidity_error, column in (
            (part.relative_humidity_sd, "worst_typical_k"),
            (part.relative_humidity_worst, "worst_maximum_k"),
        ):
            assert humidity_error is not None
            found = by_chip_temperature + _dew_error(pressure, 0.0, humidity_error) + float(row["probe_k"])
            assert found == pytest.approx(float(row[column]), abs=0.1), (row, column)


def _dew_error(pressure: float, temperature_error: float, humidity_error: float) -> float:
    pressure_error = surface.vapour_pressure_sd(TEMPERATURE, HUMIDITY, temperature_error, humidity_error)
    return float(surface.margin_sd(pressure, pressure_error, 0.0))


def test_self_heating_cancels_when_the_pair_is_kept() -> None:
    """A chip 2 K too warm gives the right dew point; its humidity with another thermometer, 1.9 K less."""
    pressure = moist_air.vapour_pressure(TEMPERATURE, HUMIDITY)
    seen = moist_air.relative_humidity(TEMPERATURE + 2.0, pressure)
    kept = moist_air.dew_point(moist_air.vapour_pressure(TEMPERATURE + 2.0, seen))
    torn = moist_air.dew_point(moist_air.vapour_pressure(TEMPERATURE, seen))
    true = moist_air.dew_point(pressure)
    assert float(kept) == pytest.approx(float(true), abs=1e-9)
    assert float(true - torn) == pytest.approx(1.9, abs=0.1)


def test_three_kelvin_is_stricter_than_85_percent(record_property) -> None:
    """A surface as warm as its air keeps 3.0 K only below 85 % at every working temperature."""
    temperature = np.linspace(273.15, 303.15, 31)
    pressure = moist_air.vapour_pressure(temperature, 0.85)
    margin = surface.condensation_margin(temperature, pressure)
    record_property("measured", f"{margin.min():.2f} to {margin.max():.2f} K at 85 %")
    assert np.all(margin < 3.0)
