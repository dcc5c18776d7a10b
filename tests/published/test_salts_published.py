"""Humidity over saturated salts against the published table."""

import pytest

from curewatch.errors import OutOfValidity
from curewatch.physics import moist_air, saturated_salts
from tests.published.published_rows import rows


def test_humidity_over_saturated_salts() -> None:
    """Four salts from 0 to 30 degC give the tabulated humidity within its rounding."""
    for row in rows("saturated_salts"):
        kelvin = float(row["temperature_c"]) + 273.15
        for formula in saturated_salts.SALTS:
            found = 100 * float(saturated_salts.relative_humidity(formula, kelvin))
            assert found == pytest.approx(float(row[formula]), abs=0.011), (formula, row)


def test_one_kelvin_between_salt_and_probe_costs_humidity() -> None:
    """A probe 1 K warmer than its sodium chloride reads about 4.5 % low."""
    salt = saturated_salts.relative_humidity("NaCl", 293.15)
    pressure = moist_air.vapour_pressure(293.15, salt)
    seen = moist_air.relative_humidity(294.15, pressure)
    assert 100 * float(salt - seen) == pytest.approx(4.5, abs=0.1)


def test_a_salt_is_not_used_in_frost() -> None:
    """Below 0 degC the polynomials do not hold and say so."""
    with pytest.raises(OutOfValidity, match="temperature of NaCl"):
        saturated_salts.relative_humidity("NaCl", [280.0, 272.0])
