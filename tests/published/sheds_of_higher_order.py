"""Simulated sheds that a first-order model cannot be, under measured weather. Their numbers are invented.

A first-order shed stands beside them, as the easy case. Air and wall exchange heat, the sun falls on a roof
that warms the air beneath it, and timber takes up and gives back vapour.
"""

from collections.abc import Callable

import numpy as np

from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air
from tests.published.forecast_trials import Space
from tests.published.weather_years import HOUR, airport

SUN_NOON = 17.0  # UTC hour at which the sun stands highest at these airports
STEPS = 12  # of an hour


def first_order(origin: str) -> Space:
    """One store of heat behind the walls, three hours slow."""
    weather = airport(origin)
    air = lagged_temperature(weather.time, weather.temperature + 1.0, 3 * HOUR)
    return _space(weather, air, lagged_temperature(weather.time, air, 2 * HOUR))


def wall_and_air(origin: str) -> Space:
    """Air that follows the draught within the hour, and a heavy wall that holds the heat of days."""
    weather = airport(origin)

    def change(state: np.ndarray, outside: float, _sun: float) -> np.ndarray:
        air, wall = state
        return np.array(
            [(outside - air) / 1.2 + (wall - air) / 0.8, (air - wall) / 9.0 + (outside - wall) / 30.0]
        )

    air, wall = _run(weather.time, weather.temperature, change, 2)
    return _space(weather, air, 0.5 * (air + wall))


def roof_in_the_sun(origin: str) -> Space:
    """Sun through a tin roof, on cloudy and on clear days, over air and a hull below."""
    weather = airport(origin)

    def change(state: np.ndarray, outside: float, sun: float) -> np.ndarray:
        roof, air, hull = state
        return np.array(
            [
                (outside + 16.0 * sun - 1.5 * (sun == 0) - roof) / 0.5 + (air - roof) / 2.0,
                (roof - air) / 2.5 + (outside - air) / 2.0 + (hull - air) / 3.0,
                (air - hull) / 6.0,
            ]
        )

    _, air, hull = _run(weather.time, weather.temperature, change, 3)
    return _space(weather, air, hull)


SHEDS: dict[str, Callable[[str], Space]] = {
    "first order": first_order,
    "wall and air": wall_and_air,
    "roof in the sun": roof_in_the_sun,
}


def _run(
    time: np.ndarray,
    outside: np.ndarray,
    change: Callable[[np.ndarray, float, float], np.ndarray],
    stores: int,
) -> np.ndarray:
    """The stores by the hour, from the outside's temperature at first; changes are per hour. (stores, n)"""
    noise = np.random.default_rng(5)
    cloud = np.repeat(noise.uniform(0.1, 1.0, len(time) // 24 + 1), 24)[: len(time)]
    sun = cloud * np.maximum(0.0, np.cos(2 * np.pi * (time / HOUR - SUN_NOON) / 24))
    state = np.full(stores, outside[0])
    states = np.empty((stores, len(time)))
    for hour in range(len(time)):
        states[:, hour] = state
        for _ in range(STEPS):
            state = state + change(state, float(outside[hour]), float(sun[hour])) / STEPS
    return states


def _space(weather: tuple[np.ndarray, ...], air: np.ndarray, surface: np.ndarray) -> Space:
    """Vapour follows by two air changes an hour and by slow timber, never above saturation."""
    time, outside, dew = weather
    vapour = moist_air.saturation_pressure(dew)
    mixed = 0.7 * lagged_temperature(time, vapour, 0.6 * HOUR) + 0.3 * lagged_temperature(
        time, vapour, 12 * HOUR
    )
    inside = moist_air.dew_point(np.minimum(mixed, moist_air.saturation_pressure(air)))
    return Space(time, air, inside, surface, outside, dew)
