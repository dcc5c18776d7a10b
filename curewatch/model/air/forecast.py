"""A forecast of the air outside, laid beside the shed's own past hours.

*Theory of operation.* A forecast helps only as far as forecasts like it have helped this shed. So for each
past hour the kept forecast is taken that was then as old as the newest one is now, and what it foretold
stands beside what came. :mod:`curewatch.model.air.weighing` learns from that how much to heed the newest.
Nothing is known before it was received, and nothing is told past a forecast's end.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.model.air.weighing import FEWEST_ROWS, Weights
from curewatch.physics import moist_air
from curewatch.units import HOUR, FloatArray

SHORTEST = 6 * HOUR  # a forecast that is fed reaches at least so far ahead
LIKE_AGE = 6 * HOUR  # kept forecasts count where their age then lies this near to the newest one's now
WIDEST_STEP = 6 * HOUR  # between two moments of a forecast; over a wider one it says nothing


class Forecast(NamedTuple):
    """Air outside as somebody foretold it. Arrays (n,), times rising."""

    issued: float  # UTC; its error grows from here [s]
    received: float  # UTC; nobody could use it before [s]
    time: FloatArray  # UTC [s]
    temperature: FloatArray  # [K]
    vapour_pressure: FloatArray  # [Pa]


def checked(forecast: Forecast) -> Forecast:
    """The forecast itself, if it can be used at all.

    Raises
    ------
    OutOfValidity
        Fewer than two moments, times that do not rise, or values that are no numbers.
    """
    time = np.asarray(forecast.time, dtype=np.float64)
    if len(time) < 2 or not np.all(np.diff(time) > 0):
        raise OutOfValidity("moments of the forecast", len(time), "two or more, rising", "a forecast")
    moist_air.dew_point(forecast.vapour_pressure)
    moist_air.saturation_pressure(forecast.temperature)
    return forecast


def usable(forecast: Forecast, at: float) -> bool:
    """Whether it speaks of now and of the next hours. ``at`` [s]."""
    time = forecast.time
    return bool(len(time) > 1 and time[0] <= at + HOUR and time[-1] >= at + HOUR)


def foretold(
    newest: Forecast, earlier: Sequence[Forecast], at: float, hours: int, horizon: int
) -> FloatArray:
    """What was foretold at each past hour by a forecast as old then as the newest is now.

    Parameters
    ----------
    newest : Forecast
        The one that counts now; it fills the last row alone.
    earlier : sequence of Forecast
        Those that were kept.
    at : float
        UTC of now, the last of the past hours. [s]
    hours, horizon : int
        How many past hours, now among them, and how many hours ahead of each.

    Returns
    -------
    ndarray, shape (hours, 2, horizon + 1)
        Air temperature and dew point outside, from each hour on; ``nan`` where nothing was told. [K]

    Raises
    ------
    OutOfValidity
        See :func:`checked`.
    """
    grid: FloatArray = at + HOUR * np.arange(1.0 - hours, horizon + 1.0)
    origin, age = grid[:hours], at - newest.issued
    told = np.full((hours, 2, horizon + 1), np.nan)
    nearest = np.full(hours, LIKE_AGE)
    for each, dew in zip(earlier, _dew_points(earlier), strict=True):
        away = np.abs(origin - each.issued - age)
        better = np.flatnonzero((away <= nearest) & (origin >= each.received))
        if len(better):
            nearest[better] = away[better]
            first = better[0]
            windows = _from_each(each, dew, grid[first : better[-1] + horizon + 1], horizon)
            told[better] = windows[better - first]
    (dew,) = _dew_points([checked(newest)])
    told[-1] = _from_each(newest, dew, grid[-horizon - 1 :], horizon)[0]
    return told


def _dew_points(forecasts: Sequence[Forecast]) -> list[FloatArray]:
    """Of each, found in one go."""
    if not forecasts:
        return []
    ends = np.cumsum([len(each.time) for each in forecasts])[:-1]
    return np.split(moist_air.dew_point(np.concatenate([each.vapour_pressure for each in forecasts])), ends)


def _from_each(forecast: Forecast, dew: FloatArray, grid: FloatArray, horizon: int) -> FloatArray:
    """What it tells from each hour of a grid on: (hours, 2, horizon + 1)."""
    told = np.stack([_on_hours(forecast.time, series, grid) for series in (forecast.temperature, dew)])
    windows = np.lib.stride_tricks.sliding_window_view(told, horizon + 1, axis=1)
    return np.asarray(windows.transpose(1, 0, 2))


def _on_hours(time: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """Straight lines between its moments, its first value an hour earlier; ``nan`` elsewhere."""
    step = np.diff(time)[np.clip(np.searchsorted(time, when, side="right") - 1, 0, len(time) - 2)]
    told = np.interp(when, time, series)
    told[(when < time[0] - HOUR) | (when > time[-1]) | (step > WIDEST_STEP)] = np.nan
    return np.asarray(told)


def remark(newest: Forecast, at: float, weights: Weights | None) -> str:
    """In one line: how the newest forecast counts, or why it does not. ``at`` [s]."""
    if not usable(newest, at):
        return f"the forecast is not used: it speaks of {_span(newest, at)}"
    if weights is None:
        return "the forecast is not used yet: too few hours are recorded here to learn what it is worth"
    old = f"issued {max(0.0, at - newest.issued) / HOUR:.0f} h ago"
    days = weights.rows / 24
    if weights.far_off:
        return f"the forecast ({old}) is not used: it is far from what the sensors measure now"
    if weights.rows < FEWEST_ROWS:
        return (
            f"the forecast ({old}) is not used yet: {days:.0f} days of forecasts as old as it are kept, "
            f"{FEWEST_ROWS / 24:.0f} are needed to learn what it is worth here"
        )
    if not weights.share.any():
        return f"the forecast ({old}) is not used: {days:.0f} days of kept ones did not help here"
    reach = 1 + int(np.flatnonzero(weights.share.any(axis=0))[-1])
    kept = f"{days:.0f} days of kept ones"
    return f"the forecast of the air outside ({old}) counts for {reach} h: {kept} helped here"


def _span(forecast: Forecast, at: float) -> str:
    first, last = ((moment - at) / HOUR for moment in (forecast.time[0], forecast.time[-1]))
    return f"{first:+.0f} h to {last:+.0f} h from the last reading"
