"""Whatever a sensor has recorded, the outlook is whole numbers that air can have, or a refusal by name."""

import numpy as np
import pytest

from curewatch.materials.substrate import load_substrate
from curewatch.model.air import prospect, shed
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.past import Past
from curewatch.physics import moist_air

NOW, DAY = 1_764_000_000.0, 86400.0


def wild_past(chance: np.random.Generator) -> Past:
    """Any spacing and length, constant or wandering, hot, frozen or soaked, with holes or silent for good."""
    step = float(chance.choice([300.0, 900.0, 3600.0]))
    count = max(1, int(chance.choice([0.02, 2.0, 4.1, 7.0, 20.0]) * DAY / step))
    time = NOW - step * np.arange(count, 0, -1) + chance.choice([0.0, 450.0, 3600.0])
    air = chance.uniform(245, 305) + chance.choice([0, 6]) * np.sin(2 * np.pi * time / DAY)
    air = np.clip(air + chance.choice([0, 0.1]) * np.cumsum(chance.normal(size=count)), 235, 325)
    humidity = np.clip(
        chance.uniform(0.02, 1) + chance.choice([0, 0.1]) * chance.normal(size=count), 0.005, 1
    )
    vapour = moist_air.vapour_pressure(air, humidity)
    columns = [air, vapour, air - 1, air - 2, 0.9 * vapour]
    return Past(time, *(with_holes(column, chance) for column in columns))


def with_holes(column: np.ndarray, chance: np.random.Generator) -> np.ndarray:
    holed = column.copy()
    for _ in range(chance.integers(0, 6)):
        begin = chance.integers(0, len(column))
        holed[begin : begin + chance.integers(1, max(2, len(column) // 6))] = np.nan
    if chance.random() < 0.1:
        holed[:] = np.nan
    return holed


def told(past: Past, chance: np.random.Generator) -> Outlook:
    air = float(chance.uniform(240, 320))
    vapour = float(moist_air.vapour_pressure(air, chance.uniform(0.01, 1)))
    surface = air - 1.0 if chance.random() < 0.5 else None
    length = float(chance.choice([6, 72, 120])) * 3600
    return prospect.coming_hours(
        past, NOW, air, vapour, surface, substrate=load_substrate("plywood"), length=length, members=64
    )


@pytest.mark.parametrize("seed", range(0, 60, 6))
def test_every_outlook_is_whole_and_possible(seed: int) -> None:
    """No hole, no supersaturated air, a margin and a humidity for every member: over wild pasts."""
    for one in range(seed, seed + 6):
        chance = np.random.default_rng(one)
        found = told(wild_past(chance), chance)
        for paths in (found.air_temperature, found.vapour_pressure, found.surface_temperature):
            assert np.isfinite(paths).all(), one
        saturated = moist_air.saturation_pressure(found.air_temperature)
        assert np.all(found.vapour_pressure <= saturated * (1 + 1e-9)), one
        assert np.isfinite(found.condensation_margin()).all(), one
        assert np.isfinite(found.surface_humidity()).all(), one


@pytest.mark.parametrize("seed", range(8))
def test_every_shed_has_numbers_and_doubts(seed: int) -> None:
    """From any past there is a shed with positive time constant, air changes and spreads."""
    found = shed.identify(wild_past(np.random.default_rng(seed)))
    for number in (found.time_constant, found.air_changes, found.heat_loss, found.heat_capacity):
        assert np.isfinite(number)
        assert number > 0
    assert found.time_constant_sd >= 0
    assert found.basis
