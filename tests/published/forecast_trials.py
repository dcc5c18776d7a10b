"""Forecasts with errors of a known kind over real places: what the outlook gains or loses by them.

A made forecast is what came outside, plus an error of its own: half its variance is one constant an issue,
half wanders with a correlation of 0.9 an hour; its size grows as :data:`ERROR` says.
"""

import math
from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

import numpy as np

from curewatch.clock import utc_from_iso
from curewatch.model.air import prospect
from curewatch.model.air.forecast import Forecast
from curewatch.model.air.past import Past
from curewatch.model.air.shed import identify, sun
from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air
from tests.published.published_rows import rows
from tests.published.weather_years import HOUR, airport

ERROR = ((0.0, 6.0, 24.0, 72.0), (0.8, 1.0, 1.6, 2.5))  # hours after issue, standard deviation [K]
REACH = 73  # hours told
SPREAD = np.interp(np.arange(REACH), *ERROR) * np.sqrt(0.5)
PUSH = math.sqrt(1 - 0.81)  # by which an error that wanders keeps its size
DAMP_ERROR = 1.2  # of the dew point, as a multiple of the air's (assumed)
EVERY, LATE = 6, HOUR  # hours between issues, and how late each arrives
KEPT = 60 * 4  # issues
AHEAD = (1, 3, 6, 12, 24)  # hours at which errors are compared
WORDS = ("air", "dew point", "margin")


class Space(NamedTuple):
    """One place by the hour, (n,): inside, a second thermometer, outside. [K]"""

    time: np.ndarray
    air: np.ndarray
    dew_point: np.ndarray
    surface: np.ndarray
    outside: np.ndarray
    outside_dew_point: np.ndarray


def roof(table: str) -> Space:
    """A real unheated roof space, whole; gaps are bridged by straight lines."""
    found = rows(table)
    stamps = np.array([utc_from_iso(row["time"]) for row in found])
    time = np.arange(stamps[0], stamps[-1] + 1, HOUR)

    def column(key: str) -> np.ndarray:
        known = [bool(row[key]) for row in found]
        return np.interp(time, stamps[known], [float(row[key]) for row in found if row[key]])

    air, surface, outside = (column(f"{key}temperature_c") + 273.15 for key in ("", "second_", "outside_"))
    dews = [
        moist_air.dew_point(column(key) / 100 * moist_air.saturation_pressure(warm))
        for key, warm in (("humidity_percent", air), ("outside_humidity_percent", outside))
    ]
    return Space(time, air, dews[0], surface, outside, dews[1])


def hangar(origin: str) -> Space:
    """An airport's weather, in which the air of the shed is that outside; its surface lags by two hours."""
    weather = airport(origin)
    surface = lagged_temperature(weather.time, weather.temperature, 2 * HOUR)
    return Space(weather.time, *weather[1:], surface, *weather[1:])


def issues(space: Space, *, seed: int = 3, scale: float = 1.0, bias: float = 0.0) -> list[Forecast]:
    """A forecast every six hours all along; ``bias`` lies on every one of them. [K]"""
    noise = np.random.default_rng(seed)
    made = []
    for first in range(0, len(space.time) - REACH, EVERY):
        part = slice(first, first + REACH)
        air = space.outside[part] + scale * _error(noise) + bias
        dew = np.minimum(space.outside_dew_point[part] + scale * DAMP_ERROR * _error(noise) + bias, air)
        issued = float(space.time[first])
        made.append(
            Forecast(issued, issued + LATE, space.time[part], air, moist_air.saturation_pressure(dew))
        )
    return made


def _error(noise: np.random.Generator) -> np.ndarray:
    *drawn, constant = noise.normal(size=REACH + 1).tolist()
    wandering = list(accumulate(drawn, lambda before, pushed: 0.9 * before + PUSH * pushed))
    return SPREAD * (np.array(wandering) + constant)


def past_of(space: Space, now: int, *, sensor_outside: bool, days: int = 60) -> Past:
    """The last days before an hour; the surface has a probe."""
    known = slice(max(0, now - 24 * days), now + 1)
    unknown = np.full(len(space.time[known]), np.nan)
    vapour, damp = (
        moist_air.saturation_pressure(dew[known]) for dew in (space.dew_point, space.outside_dew_point)
    )
    outside = (space.outside[known], damp) if sensor_outside else (unknown, unknown)
    return Past(space.time[known], space.air[known], vapour, space.surface[known], *outside)


def received(made: Sequence[Forecast], at: float) -> list[Forecast]:
    """Those that had arrived by then, the newest last, as many as are kept."""
    first = int(np.searchsorted([each.received for each in made], at, side="right"))
    return list(made[max(0, first - KEPT) : first])


class Losses(NamedTuple):
    """Root mean square errors, (air, dew point, margin) x :data:`AHEAD`. [K]"""

    without: np.ndarray
    told: np.ndarray

    @property
    def worst(self) -> float:
        """The largest that the forecast makes an error by, as a share of it. [1]"""
        return float((self.told / self.without).max() - 1)


def losses(
    space: Space,
    made: Sequence[Forecast],
    *,
    sensor_outside: bool,
    every: int = 1,
    first_edition: bool = False,
) -> Losses:
    """With and without the forecasts, from every so manieth hour of a place on."""
    told, without = [], []
    last = AHEAD[-1]
    for now in range(24 * 70, len(space.time) - REACH, every):
        past = past_of(space, now, sensor_outside=sensor_outside)
        came = np.stack([space.air, space.dew_point, space.surface - space.dew_point])[
            :, now + 1 : now + 1 + last
        ]
        kept = received(made, float(space.time[now]))
        without.append(told_changes(space, now, past, ()) - came)
        if first_edition:
            told.append(by_the_first_edition(space, now, past, kept[-1]) - came)
        else:
            told.append(told_changes(space, now, past, kept) - came)
    return Losses(
        *(np.sqrt(np.mean(np.square(part), axis=0))[:, np.array(AHEAD) - 1] for part in (without, told))
    )


def told_changes(space: Space, now: int, past: Past, kept: Sequence[Forecast]) -> np.ndarray:
    """Means of the paths: air, dew point, margin by the hour."""
    found = prospect.coming_hours(
        past,
        float(space.time[now]),
        float(space.air[now]),
        float(moist_air.saturation_pressure(space.dew_point[now])),
        float(space.surface[now]),
        forecast=kept[-1] if kept else None,
        earlier=kept[:-1],
        length=AHEAD[-1] * HOUR,
        step=HOUR,
        members=64,
    )
    dew = moist_air.dew_point(found.vapour_pressure)
    paths = (found.air_temperature, dew, found.surface_temperature - dew)
    return np.stack([each.mean(axis=0)[1:] for each in paths])


def by_the_first_edition(space: Space, now: int, past: Past, newest: Forecast) -> np.ndarray:
    """The defect: the shed's own past dropped, and the forecast sent through a first-order shed."""
    at = float(space.time[now])
    shed = identify(past)
    when = at + HOUR * np.arange(AHEAD[-1] + 1)
    air = (
        np.interp(when, newest.time, newest.temperature) + shed.offset + shed.sun_gain * sun(when, shed.noon)
    )
    damp = np.interp(when, newest.time, newest.vapour_pressure) + shed.vapour_surplus
    inside = lagged_temperature(when, air, shed.time_constant, space.air[now])
    start = float(moist_air.saturation_pressure(space.dew_point[now]))
    dew = moist_air.dew_point(lagged_temperature(when, damp, 1 / shed.air_changes, start))
    surface = inside + space.surface[now] - space.air[now]
    return np.stack([inside, dew, surface - dew])[:, 1:]
