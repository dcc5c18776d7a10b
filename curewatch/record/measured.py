"""What the shed went through, minute by minute, as recorded: the grid that everything is judged on.

A minute is known only if readings no further apart than :data:`BRIDGED` lie about it; there it is the
straight line between them. Everything else is unknown, never guessed: a gap stays a gap.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from curewatch.advice.alert.probe import ProbePath, Surroundings, believed
from curewatch.advice.judge.rules import Conditions
from curewatch.errors import ConfigurationError
from curewatch.logbook import LogbookStore, Series
from curewatch.materials.sensor_part import SensorPart, load_sensor_part
from curewatch.materials.substrate import Substrate
from curewatch.model.air import surface
from curewatch.model.film.blush import FRESH_AIR
from curewatch.order import median
from curewatch.physics import moist_air
from curewatch.readings import Flag
from curewatch.units import MINUTE, FloatArray

BRIDGED = 15 * MINUTE  # s between two readings that still tell what lay between (assumed, as for a stale one)


class Post(NamedTuple):
    """A sensor and what it stands for."""

    name: str
    role: str
    part: SensorPart


class Measured(NamedTuple):
    """Minute by minute; arrays (n,), ``nan`` where nothing is known."""

    time: FloatArray  # UTC [s]
    air_temperature: FloatArray  # [K]
    relative_humidity: FloatArray  # [1]
    surface_temperature: FloatArray  # [K]
    dew_point: FloatArray  # [K]
    outside_temperature: FloatArray  # [K]
    film_temperature: FloatArray  # of a film: the surface; while no sensor of it spoke, the air, lagged [K]
    carbon_dioxide: FloatArray  # mole fraction: measured, else as configured; known at every minute [1]
    surface_estimated: bool  # no probe: from the air and the substrate's lag
    temperature_sd: float  # [K]
    humidity_sd: float  # [1]
    margin_sd: float  # [K]
    probe: ProbePath | None = None  # in the layer, as far as it is believed; none where nothing of it is

    @property
    def margin(self) -> FloatArray:
        """Surface temperature less dew point. [K]"""
        return self.surface_temperature - self.dew_point

    def conditions(self) -> Conditions:
        """As the rule sets read it."""
        return Conditions(
            self.time,
            self.air_temperature,
            self.relative_humidity,
            self.surface_temperature,
            self.margin,
            self.temperature_sd,
            self.humidity_sd,
            self.margin_sd,
        )


def measure(
    logbook: LogbookStore,
    posts: Iterable[Post],
    start: float,
    end: float,
    substrate: Substrate | None,
    *,
    carbon_dioxide: float = FRESH_AIR,
) -> Measured:
    """Lay the readings of these sensors on the minutes from ``start`` to ``end``. UTC [s]

    ``carbon_dioxide`` holds where no sensor measured it. [1]
    """
    time = np.arange(np.ceil(start / MINUTE) * MINUTE, end + 1.0, MINUTE)
    by_role: dict[str, list[Post]] = {}
    for post in posts:
        by_role.setdefault(post.role, []).append(post)
    seen = {
        role: [logbook.series(post.name, start - BRIDGED, end + BRIDGED).dated() for post in of_role]
        for role, of_role in by_role.items()
    }
    air = _first_known(time, seen.get("air", []), "temperature")
    damp = _first_known(time, seen.get("air", []), "relative_humidity")
    skin = _first_known(time, seen.get("surface", []), "temperature")
    gas = _first_known(time, seen.get("air", []), "carbon_dioxide")
    estimated = not np.isfinite(skin).any() and substrate is not None
    film = np.where(np.isnan(skin), air, skin)
    if substrate is not None:
        film = surface.through(time, air, skin, substrate)
        skin = film if estimated else skin
    return Measured(
        time,
        air,
        damp,
        skin,
        _dew_point(air, damp),
        _first_known(time, seen.get("outside", []), "temperature"),
        film,
        np.where(np.isnan(gas), carbon_dioxide, gas),
        estimated,
        *_errors(by_role, air, damp, estimated=estimated),
    )


def as_probed(logbook: LogbookStore, measured: Measured, name: str, start: float, end: float) -> Measured:
    """With what a probe in a layer measured, as far as it is believed. UTC [s]"""
    series = logbook.series(name, start, end).dated()
    around = Surroundings(measured.time, measured.air_temperature, measured.surface_temperature)
    usable = ((series.flags & Flag.CLOCK_DOUBT) == 0) & np.isfinite(series.quantities["temperature"])
    found = believed(name, series.time[usable], series.quantities["temperature"][usable], end, around)
    return measured._replace(probe=found) if found.time.size else measured


def _first_known(time: FloatArray, all_seen: Iterable[Series], quantity: str) -> FloatArray:
    """The first sensor's value where it is known, else the next one's."""
    found = np.full(time.size, np.nan)
    for seen in all_seen:
        found = np.where(np.isnan(found), between(time, seen.time, seen.quantities[quantity]), found)
    return found


def between(time: FloatArray, at: FloatArray, value: FloatArray) -> FloatArray:
    """Values at these times, straight between readings no more than BRIDGED apart; else ``nan``."""
    known = np.isfinite(value)
    at, value = at[known], value[known]
    if not at.size:
        return np.full(time.size, np.nan)
    after = np.clip(np.searchsorted(at, time), 0, at.size - 1)
    before = np.clip(np.searchsorted(at, time, side="right") - 1, 0, at.size - 1)
    apart = at[after] - at[before]
    outside = (time < at[0] - MINUTE) | (time > at[-1] + MINUTE)
    line: FloatArray = np.interp(time, at, value)
    return np.where((apart > BRIDGED) | outside, np.nan, line)


def _dew_point(air: FloatArray, damp: FloatArray) -> FloatArray:
    known = np.isfinite(air) & (damp > 0.001)
    found = np.full(air.size, np.nan)
    if known.any():
        found[known] = moist_air.dew_point(moist_air.vapour_pressure(air[known], damp[known]))
    return found


def _errors(
    by_role: Mapping[str, list[Post]], air: FloatArray, damp: FloatArray, *, estimated: bool
) -> tuple[float, float, float]:
    """One standard deviation of temperature, humidity and margin, at the middle of what was measured."""
    unknown = load_sensor_part("unknown")
    chip = by_role["air"][0].part if by_role.get("air") else unknown
    probe = by_role["surface"][0].part if by_role.get("surface") else unknown
    temperature_sd, humidity_sd = chip.temperature_sd, chip.relative_humidity_sd or 0.05
    known = np.isfinite(air) & np.isfinite(damp)
    if not known.any():
        return temperature_sd, humidity_sd, 2.0
    warm, humid = float(median(air[known])), float(median(damp[known]))
    pressure = float(moist_air.vapour_pressure(warm, humid))
    pressure_sd = float(surface.vapour_pressure_sd(warm, humid, temperature_sd, humidity_sd))
    skin_sd = surface.UNPROBED_SD if estimated else probe.temperature_sd
    return temperature_sd, humidity_sd, float(surface.margin_sd(pressure, pressure_sd, skin_sd))


def part_of(name: str) -> SensorPart:
    """The class of parts of this name; the widest one if the name is not known any more."""
    try:
        return load_sensor_part(name)
    except ConfigurationError:
        return load_sensor_part("unknown")
