"""The weather outside a simulated shed: a day's course, a damp air mass that moves in, and unrest.

Every number here is invented; the shapes are those of a maritime autumn.
"""

import math
from collections.abc import Iterator
from itertools import count
from random import Random
from typing import NamedTuple

from msgspec import Struct

from curewatch.physics.moist_air import saturation_pressure
from curewatch.units import DAY, HOUR, ZERO_CELSIUS

HIGHEST_HUMIDITY = 0.985  # air near the ground seldom reads more than this without fog (assumed)


class WeatherPlan(Struct, frozen=True):
    """What the weather does. Times of day count from a midnight, UTC."""

    mean: float = ZERO_CELSIUS + 11.0  # of the day [K]
    swing: float = 4.5  # half the difference between day and night [K]
    warmest: float = 15.0 * HOUR  # when it is warmest [s]
    dew_point: float = ZERO_CELSIUS + 6.5  # before the damp air [K]
    damp_dew_point: float = ZERO_CELSIUS + 9.0  # of the damp air [K]
    damp_from: float | None = 18.5 * HOUR  # middle of the change, of that day; None: it stays dry [s]
    damp_within: float = 1.0 * HOUR  # how long the change takes [s]
    unrest: float = 0.25  # standard deviation of gusts and clouds, in temperature [K]
    unrest_time: float = 20 * 60.0  # how long a gust or cloud lasts [s]


class Outside(NamedTuple):
    """One moment outside."""

    temperature: float  # [K]
    vapour_pressure: float  # [Pa]
    sun: float  # from 0 at night to 1


def outside(weather: WeatherPlan, since: float, step: float, random: Random) -> Iterator[Outside]:
    """The weather every ``step``, without end, beginning ``since`` a midnight, which may be before it. [s]"""
    keep = math.exp(-step / weather.unrest_time)
    stir = weather.unrest * math.sqrt(1.0 - keep * keep)
    gust = random.gauss(0.0, weather.unrest)
    for index in count():
        yield _moment(weather, since + index * step, gust)
        gust = keep * gust + stir * random.gauss(0.0, 1.0)


def _moment(weather: WeatherPlan, since: float, gust: float) -> Outside:
    """The weather this long after the midnight."""
    phase = math.tau * (since - weather.warmest) / DAY
    temperature = weather.mean + weather.swing * math.cos(phase) + gust
    dew_point = weather.dew_point + (weather.damp_dew_point - weather.dew_point) * _damp(weather, since)
    wettest = HIGHEST_HUMIDITY * float(saturation_pressure(temperature))
    sun = max(0.0, math.sin(math.tau * (since % DAY - 6.5 * HOUR) / DAY))
    return Outside(temperature, min(float(saturation_pressure(dew_point)), wettest), sun)


def _damp(weather: WeatherPlan, since: float) -> float:
    """How much of the damp air has come, 0 to 1."""
    if weather.damp_from is None:
        return 0.0
    away = 4.0 * (since - weather.damp_from) / weather.damp_within
    return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, away))))
