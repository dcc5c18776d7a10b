"""The coming hours as a person's questions need them: margins and humidities along every path.

An outlook gives paths of temperature and vapour pressure. Here each path also gets the condensation
margin and the humidity at the surface, and a way to ask for the lowest or highest of any of them
between two moments, for many starts at once.

Source
------
Extremes over spans: two overlapping spans of length 2^k cover any span (sparse table), so each answer
costs two look-ups however long the span.
"""

from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.physics import moist_air
from curewatch.units import FloatArray

STEP = 900.0  # s, of the grid on which margins are looked at: that of an outlook
IntArray = NDArray[np.int64]


class Paths(Protocol):
    """Paths of the shed, as an outlook gives them."""

    @property
    def time(self) -> FloatArray: ...  # (n,) UTC, rising [s]
    @property
    def air_temperature(self) -> FloatArray: ...  # (members, n) [K]
    @property
    def vapour_pressure(self) -> FloatArray: ...  # (members, n) [Pa]
    @property
    def surface_temperature(self) -> FloatArray: ...  # (members, n) [K]


class Weather(NamedTuple):
    """Everything along the paths on a regular grid: (members, n) over ``time`` (n,)."""

    time: FloatArray  # UTC [s]
    air_temperature: FloatArray  # [K]
    surface_temperature: FloatArray  # [K]
    vapour_pressure: FloatArray  # [Pa]
    margin: FloatArray  # surface temperature above the dew point [K]
    humidity: FloatArray  # of the air [1]
    surface_humidity: FloatArray  # at the surface [1]

    @property
    def members(self) -> int:
        return int(self.air_temperature.shape[0])


def weather(
    paths: Paths,
    start: float,
    *,
    step: float = STEP,
    length: float = np.inf,
    dews: dict[tuple[int, float], FloatArray] | None = None,
) -> Weather:
    """The paths from ``start`` on, so long [s] or to their end, on a regular grid that begins there.

    ``dews`` keeps the dew points of a pressure from a start for other paths with the same.

    Raises
    ------
    OutOfValidity
        The start lies outside the paths.
    """
    first, last = float(paths.time[0]), float(paths.time[-1])
    if not first <= start <= last - 2 * step:
        hours = (last - first) / 3600
        raise OutOfValidity("start, s UTC", start, f"the {hours:.0f} h of the outlook", "the outlook")
    count = int(min(last - start, length) / step) + 1
    time: FloatArray = start + step * np.arange(count, dtype=np.float64)
    pressure = along(paths.time, paths.vapour_pressure, time)
    known, key = {} if dews is None else dews, (id(paths.vapour_pressure), start)
    if key not in known:
        known[key] = moist_air.dew_point(pressure)
    return dressed(
        time,
        along(paths.time, paths.air_temperature, time),
        along(paths.time, paths.surface_temperature, time),
        pressure,
        known[key],
    )


def dressed(
    time: FloatArray,
    air_temperature: FloatArray,
    surface_temperature: FloatArray,
    pressure: FloatArray,
    dew_point: FloatArray | None = None,
) -> Weather:
    """Margins and humidities for paths that already lie on one grid."""
    return Weather(
        time,
        air_temperature,
        surface_temperature,
        pressure,
        surface_temperature - (moist_air.dew_point(pressure) if dew_point is None else dew_point),
        moist_air.relative_humidity(air_temperature, pressure),
        moist_air.relative_humidity(surface_temperature, pressure),
    )


def along(time: FloatArray, paths: FloatArray, wanted: FloatArray) -> FloatArray:
    """Paths (members, n) at other times, straight between the points."""
    index = np.clip(np.searchsorted(time, wanted, side="right") - 1, 0, time.size - 2)
    weight = (wanted - time[index]) / (time[index + 1] - time[index])
    low = paths[:, index]
    return np.asarray(low + (paths[:, index + 1] - low) * weight, dtype=float)


def lowest_between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Lowest value of each path from index ``first`` to ``last``, both included.

    Parameters
    ----------
    values : (members, n)
    first, last : (starts, members)
        0 <= first <= last < n.

    Returns
    -------
    (starts, members)
    """
    exponent = np.frexp((last - first + 1).astype(float))[1] - 1
    found = np.empty(first.shape)
    member = np.broadcast_to(np.arange(values.shape[0]), first.shape)
    level = values
    for power in range(int(exponent.max()) + 1):
        if power:
            half = 1 << (power - 1)
            level = np.minimum(level[:, :-half], level[:, half:])
        here = exponent == power
        if here.any():
            who, left = member[here], first[here]
            right = last[here] - (1 << power) + 1
            found[here] = np.minimum(level[who, left], level[who, right])
    return found


def highest_between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Highest value of each path from index ``first`` to ``last``; as :func:`lowest_between`."""
    return -lowest_between(-values, first, last)
