"""What heat, drying and a warmed surface do to the coming hours, and what they take."""

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import outlook, shed, warming
from curewatch.physics import moist_air

HOUR, NOW = 3600.0, 1_764_000_000.0
PLYWOOD = load_substrate("plywood")
SHED = replace(shed.assumed(), time_constant=3 * HOUR, heat_loss=250.0, air_changes=1 / HOUR, volume=60.0)


def cold_night(relative_humidity: float = 0.85) -> outlook.Outlook:
    pressure = float(moist_air.vapour_pressure(280.15, relative_humidity))
    return outlook.persistence(NOW, 280.15, pressure, substrate=PLYWOOD, members=32)


def steady() -> outlook.Outlook:
    """One member at 7 degC that stays."""
    time = outlook.moments(NOW)
    air = np.full((1, len(time)), 280.15)
    vapour = np.full((1, len(time)), float(moist_air.vapour_pressure(280.15, 0.85)))
    return outlook.Outlook(time, air, vapour, air.copy(), "a steady night", 0.0)


def test_holding_ten_kelvin_in_balance_takes_heat_loss_times_ten() -> None:
    """After a day at 17 degC over 7 degC outside-fed air a 250 W/K shed takes 2500 W."""
    found = warming.warmed(steady(), SHED, 290.15, NOW, NOW + 24 * HOUR, substrate=PLYWOOD)
    assert found.power[0, 90] == pytest.approx(2500.0, rel=1e-9)
    assert found.outlook.air_temperature[0, 48] == pytest.approx(290.15)


def test_energy_is_what_was_lost_and_what_is_stored() -> None:
    """First law: energy in = heat loss x rise over time, since all that was stored leaks out in the end."""
    found = warming.warmed(steady(), SHED, 290.15, NOW, NOW + 12 * HOUR, substrate=PLYWOOD)
    rise = found.outlook.air_temperature[0] - 280.15
    kept = np.exp(-900.0 / SHED.time_constant)
    # the rise between moments under the step's constant power, integrated exactly
    settled = (rise[1:] - kept * rise[:-1]) / (1 - kept)
    integral = (settled * 900.0 + (rise[:-1] - settled) * SHED.time_constant * (1 - kept)).sum()
    stored = SHED.heat_capacity * rise[-1]
    assert found.energy[0] == pytest.approx(SHED.heat_loss * integral + stored, rel=1e-9)


def test_after_the_heater_the_warmth_decays_with_the_shed() -> None:
    """One time constant after the end 37 % of the rise is left, and no power is asked for."""
    found = warming.warmed(steady(), SHED, 290.15, NOW, NOW + 12 * HOUR, substrate=PLYWOOD)
    later = (12 + 3) * 4
    assert found.outlook.air_temperature[0, later] - 280.15 == pytest.approx(10 * np.exp(-1.0), rel=1e-6)
    assert np.allclose(found.power[0, 49:], 0.0, atol=1e-9)


def test_members_that_are_warm_enough_take_nothing() -> None:
    """No member is cooled, and only cold ones are heated."""
    free = cold_night()
    found = warming.warmed(free, SHED, 281.0, NOW, NOW + 24 * HOUR, substrate=PLYWOOD)
    assert np.all(found.outlook.air_temperature >= free.air_temperature - 1e-12)
    assert np.all(found.power >= -1e-9)
    heated = slice(8, 97)
    assert np.all(found.outlook.air_temperature[:, heated] >= 281.0 - 1e-9)


def test_dry_heat_opens_the_margin() -> None:
    """Electric heat leaves the dew point; the surface comes later than the air."""
    free = steady()
    electric = warming.warmed(free, SHED, 290.15, NOW, NOW + 8 * HOUR, substrate=PLYWOOD)
    assert np.array_equal(electric.outlook.vapour_pressure, free.vapour_pressure)
    assert free.condensation_margin()[0, 30] < electric.outlook.condensation_margin()[0, 30]
    assert electric.outlook.surface_temperature[0, 4] < electric.outlook.air_temperature[0, 4]


def test_drying_holds_the_humidity_and_counts_the_water() -> None:
    """At 60 % in balance a dehumidifier takes out what one air change an hour brings in."""
    free = steady()
    found = warming.dried(free, SHED, 0.60, NOW, NOW + 24 * HOUR)
    humidity = moist_air.relative_humidity(
        found.outlook.air_temperature[0, 50], found.outlook.vapour_pressure[0, 50]
    )
    assert float(humidity) == pytest.approx(0.60)
    brought = 0.25 * float(moist_air.saturation_pressure(280.15)) / (moist_air.WATER_GAS_CONSTANT * 280.15)
    assert found.rate[0, 50] == pytest.approx(brought * 60.0 / HOUR, rel=1e-6)
    assert 0.5 < found.water[0] / (brought * 60.0 * 24) < 1.1


def test_dry_air_needs_no_drying() -> None:
    """Members below the wanted humidity are left as they are."""
    free = cold_night(0.40)
    found = warming.dried(free, SHED, 1.0, NOW, NOW + 10 * HOUR)
    assert np.array_equal(found.outlook.vapour_pressure, free.vapour_pressure)
    assert np.all(found.water == 0)


def test_a_warmed_surface_changes_nothing_but_itself() -> None:
    """A lamp on the hull widens the margin there by its rise and leaves the air alone."""
    free = cold_night()
    found = warming.surface_warmed(free, 5.0, NOW, NOW + 6 * HOUR, substrate=PLYWOOD)
    assert np.array_equal(found.air_temperature, free.air_temperature)
    assert np.allclose(found.surface_temperature[:, 20] - free.surface_temperature[:, 20], 5.0)
    assert np.all(found.surface_temperature[:, -1] - free.surface_temperature[:, -1] < 1e-6)


@pytest.mark.parametrize(
    ("lever", "named"),
    [
        (lambda free: warming.warmed(free, SHED, 400.0, NOW, NOW + HOUR, substrate=PLYWOOD), "target"),
        (lambda free: warming.warmed(free, SHED, 290.0, NOW, NOW - HOUR, substrate=PLYWOOD), "end"),
        (lambda free: warming.dried(free, SHED, 0.0, NOW, NOW + HOUR), "relative humidity"),
        (lambda free: warming.surface_warmed(free, -1.0, NOW, NOW + HOUR, substrate=PLYWOOD), "rise"),
    ],
)
def test_impossible_levers_are_refused(lever, named) -> None:  # type: ignore[no-untyped-def]
    """An oven, a lever that ends before it begins, bone-dry air: errors that name the quantity."""
    free = steady()
    with pytest.raises(OutOfValidity, match=named):
        lever(free)
