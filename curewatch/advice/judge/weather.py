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
from curewatch.materials.substrate import Substrate
from curewatch.model.air import surface as surface_model
from curewatch.model.air.outlook import ReadingErrors
from curewatch.model.air.past import Past
from curewatch.model.air.reading_errors import vapour_factor
from curewatch.model.mass.buildup import Buildup
from curewatch.order import median
from curewatch.physics import moist_air
from curewatch.units import FloatArray

STEP = 900.0  # s, of the grid on which margins are looked at: that of an outlook
IntArray = NDArray[np.int64]


class Paths(Protocol):
    """Paths of the shed, as an outlook gives them."""

    @property
    def time(self) -> FloatArray:
        """Moments of the grid, (n,). [s]"""

    @property
    def air_temperature(self) -> FloatArray:
        """Of the air at the work, (members, n). [K]"""

    @property
    def vapour_pressure(self) -> FloatArray:
        """Of water in that air, (members, n). [Pa]"""

    @property
    def surface_temperature(self) -> FloatArray:
        """Of the work's surface, (members, n). [K]"""

    @property
    def errors(self) -> ReadingErrors | None:
        """What the sensors read wrong, if the paths are readings."""


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
        """How many paths there are."""
        return int(self.air_temperature.shape[0])


class Dews:
    """The dew points of the last paths of vapour: changes of temperature alone leave them as they are."""

    MOST = 3  # paths of which they are kept

    def __init__(self) -> None:
        self._known: list[tuple[FloatArray, float, FloatArray]] = []  # paths, start, dew points; newest last

    def of(self, paths: FloatArray, start: float, pressure: FloatArray) -> FloatArray:
        """Of these paths from a start on, which have this pressure on the grid. (members, n) [K]"""
        known = next((each for each in self._known if each[0] is paths and each[1] == start), None)
        if known is not None:
            self._known = [each for each in self._known if each is not known]
        if known is None or known[2].shape[1] < pressure.shape[1]:
            known = (paths, start, moist_air.dew_point(pressure))
        self._known = [*self._known[1 - self.MOST :], known]
        return known[2][:, : pressure.shape[1]]


def weather(
    paths: Paths,
    start: float,
    *,
    step: float = STEP,
    length: float = np.inf,
    dews: Dews | None = None,
    for_blush: bool = True,
) -> Weather:
    """The paths as they truly are from ``start`` on, so long [s] or to their end, on a grid from there.

    ``dews`` keeps the dew points for other paths with the same vapour. Humidity at the surface is told
    where it is asked for, ``for_blush``; else nan.

    Shapes: time (n,), each quantity (members, n).

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
    air, surface, pressure = (
        along(paths.time, column, time)
        for column in (paths.air_temperature, paths.surface_temperature, paths.vapour_pressure)
    )
    if paths.errors is not None:
        air, surface = air - paths.errors.air, surface - paths.errors.surface
        pressure = pressure * along(paths.time, paths.errors.vapour, time)
    dew_point = (dews or Dews()).of(paths.vapour_pressure, start, pressure)
    return dressed(time, air, surface, pressure, dew_point, for_blush=for_blush)


def as_it_is(read: Weather, errors: ReadingErrors | None) -> Weather:
    """What was read and will be read, with each path's sensor errors taken off."""
    if errors is None:
        return read
    pressure = read.vapour_pressure * vapour_factor(errors, read.air_temperature, read.vapour_pressure)
    return dressed(
        read.time, read.air_temperature - errors.air, read.surface_temperature - errors.surface, pressure
    )


def joined(started: float, past: Past, substrate: Substrate, outlook: Paths) -> Weather:
    """Recorded past and coming paths on one grid that begins at the start. ``started`` [s]."""
    time: FloatArray = started + STEP * np.arange(
        int((outlook.time[-1] - started) / STEP) + 1, dtype=np.float64
    )
    before, after = time[time < outlook.time[0]], time[time >= outlook.time[0]]
    members = outlook.air_temperature.shape[0]
    columns = []
    skin = surface_model.through(past.time, past.air_temperature, past.surface_temperature, substrate)
    recorded = (past.air_temperature, skin, past.vapour_pressure)
    coming = (outlook.air_temperature, outlook.surface_temperature, outlook.vapour_pressure)
    for column, paths in zip(recorded, coming, strict=True):
        now = float(median(paths[:, 0]))
        known = np.isfinite(column)
        moments = np.append(past.time[known], outlook.time[0])
        values = np.append(column[known], now)
        earlier = np.interp(before, moments, values)
        columns.append(
            np.concatenate(
                [np.broadcast_to(earlier, (members, before.size)), along(outlook.time, paths, after)], axis=1
            )
        )
    return dressed(time, *columns)


def reaching_back(
    there: Weather, laid: float, past: Past, substrate: Substrate, outlook: Paths
) -> tuple[Weather, int]:
    """The same paths from a moment before their first on [UTC s], and by how many steps earlier that is."""
    begin = float(there.time[0])
    steps = max(0, int(np.ceil((begin - laid) / STEP)))
    earlier = as_it_is(joined(begin - STEP * steps, past, substrate, outlook), outlook.errors)
    columns = (
        np.concatenate([old[..., :steps], new], axis=-1) for old, new in zip(earlier, there, strict=True)
    )
    return Weather(*columns), steps


def from_below(there: Weather, past: Past, buildup: Buildup | None, outlook: Paths) -> tuple[Weather, int]:
    """The paths from the laying of what still is warm below on, and at which step their first start lies."""
    if buildup is None or buildup.substrate is None or not buildup.before:
        return there, 0
    laid = float(there.time[0]) + buildup.before[0].at
    return reaching_back(there, laid, past, buildup.substrate, outlook)


def dressed(
    time: FloatArray,
    air_temperature: FloatArray,
    surface_temperature: FloatArray,
    pressure: FloatArray,
    dew_point: FloatArray | None = None,
    *,
    for_blush: bool = True,
) -> Weather:
    """Margins and humidities for paths that already lie on one grid.

    Each (members, n); ``time`` (n,). [s, K, K, Pa, K]
    """
    return Weather(
        time,
        air_temperature,
        surface_temperature,
        pressure,
        surface_temperature - (moist_air.dew_point(pressure) if dew_point is None else dew_point),
        moist_air.relative_humidity(air_temperature, pressure),
        moist_air.relative_humidity(surface_temperature, pressure)
        if for_blush
        else np.broadcast_to(np.nan, pressure.shape),
    )


def along(time: FloatArray, paths: FloatArray, wanted: FloatArray) -> FloatArray:
    """Paths (members, n) at other times, straight between the points. [s, any, s] -> [of the paths]"""
    begin = int(np.searchsorted(time, wanted[0])) if wanted.size else 0
    if np.array_equal(time[begin : begin + wanted.size], wanted):
        return paths[:, begin : begin + wanted.size]
    index = np.clip(np.searchsorted(time, wanted, side="right") - 1, 0, time.size - 2)
    weight = (wanted - time[index]) / (time[index + 1] - time[index])
    count, first = wanted.size, int(index[0])
    if np.array_equal(index, np.arange(first, first + count)):  # as fine as the paths
        low, high = paths[:, first : first + count], paths[:, first + 1 : first + count + 1]
    else:
        low, high = paths[:, index], paths[:, index + 1]
    return np.asarray(low + (high - low) * weight, dtype=float)


def lowest_between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Lowest value of each path from index ``first`` to ``last``, both included. [of the values]

    Parameters
    ----------
    values : (members, n)
    first, last : (starts, members)
        0 <= first <= last < n.

    Returns
    -------
    (starts, members)
    """
    return _extreme(np.minimum, values, first, last)


def highest_between(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Highest value of each path from index ``first`` to ``last``; shapes as :func:`lowest_between`.

    [of the values]
    """
    return _extreme(np.maximum, values, first, last)


def _extreme(of_two: np.ufunc, values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    begin = int(first.min())
    level, first, last = values[:, begin : int(last.max()) + 1], first - begin, last - begin
    if len(first) == 1 and not first.any():  # of one start: all that was met so far, told where each ends
        return np.asarray(of_two.accumulate(level, axis=1)[np.arange(len(level)), last[0]][None])
    exponent = np.frexp((last - first + 1).astype(float))[1] - 1
    found = np.empty(first.shape)
    member = np.broadcast_to(np.arange(values.shape[0]), first.shape)
    for power in range(int(exponent.max()) + 1):
        if power:
            half = 1 << (power - 1)
            level = of_two(level[:, :-half], level[:, half:])
        here = exponent == power
        if here.any():
            who, left = member[here], first[here]
            right = last[here] - (1 << power) + 1
            found[here] = of_two(level[who, left], level[who, right])
    return found
