"""A shed as a few reservoirs: air that follows the weather, and a hull that follows the air.

Theory of operation: the air's temperature relaxes to the outside's through the walls and the draught,
is warmed by the sun on the roof, and exchanges with the hull. The hull follows the air with its own lag
and loses a little to a cold roof at night. The vapour pressure follows the outside's by air changes
alone; the shed's air never holds more than saturation at its own temperature.

It is made for people without a shed and for tests. It is not the model that advice is given by, so that a
test against it is not a test of a model against itself. Every number is invented.
"""

import math
from typing import NamedTuple

from msgspec import Struct

from curewatch.physics.moist_air import saturation_pressure
from curewatch.simulation.weather import Outside
from curewatch.units import HOUR


class Walls(Struct, frozen=True):
    """How a shed follows the weather."""

    air_lag: float = 1.3 * HOUR  # of the air behind the outside [s]
    hull_lag: float = 2.2 * HOUR  # of the hull behind the air [s]
    air_change_lag: float = 0.9 * HOUR  # of the vapour pressure behind the outside's [s]
    sun_gain: float = 4.0  # how much warmer full sun would make the air in the end [K]
    roof_loss: float = 0.9  # how much colder than the air a hull under a cold tin roof ends at night [K]
    heater: float = 0.0  # how much warmer a heater would make the air in the end [K]


class InsideState(NamedTuple):
    """The shed's state at one moment. SI."""

    air_temperature: float
    hull_temperature: float
    vapour_pressure: float


def settled(walls: Walls, weather: Outside) -> InsideState:
    """The state that this weather would bring if it stayed."""
    air = weather.temperature + walls.sun_gain * weather.sun + walls.heater
    return InsideState(air, air - _roof(walls, weather), weather.vapour_pressure)


def step(walls: Walls, inside: InsideState, weather: Outside, seconds: float) -> InsideState:
    """The state ``seconds`` later, with the weather of that step. Exact for constant weather and hull."""
    target = weather.temperature + walls.sun_gain * weather.sun + walls.heater
    air = _relax(inside.air_temperature, target, seconds / walls.air_lag)
    hull = _relax(inside.hull_temperature, air - _roof(walls, weather), seconds / walls.hull_lag)
    vapour = _relax(inside.vapour_pressure, weather.vapour_pressure, seconds / walls.air_change_lag)
    return InsideState(air, hull, min(vapour, float(saturation_pressure(air))))


def _roof(walls: Walls, weather: Outside) -> float:
    return walls.roof_loss * (1.0 - min(1.0, 3.0 * weather.sun))


def _relax(value: float, target: float, share: float) -> float:
    return target + (value - target) * math.exp(-share)
