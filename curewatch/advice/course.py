"""What becomes of a layup along every path of the coming hours: when it sets, and what it met on the way.

One :class:`Course` holds, for each start and each path, the times of the milestones and the extremes
of what the film met from its start until it was set. The verdict on one start, the strip of coming
windows and every lever read the same course: there is one way to judge, and it is here.

*Set* means the conversion at which the surface is tack-free where air does not hinder it; a laminating
polyester stays tacky in air, but is past harm by dew at the same conversion.

A lot's rate factor is not known exactly: each path gets one of evenly spread factors, so that the bands
carry the weather and the lot together.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.advice.weather import IntArray, Weather, along, highest_between, lowest_between
from curewatch.materials.system import ResinSystem
from curewatch.model import film
from curewatch.model.members import normal_members
from curewatch.physics import glass_transition as glass
from curewatch.physics.cure_kinetics import arrhenius
from curewatch.units import DAY, FloatArray

AHEAD = 3 * DAY  # s a layup is followed for
CHUNK = 16  # starts followed at once: bounds the memory
GLASS_NEAR = 0.02  # of conversion below the critical one: there the rate has dropped by a third


class Course(NamedTuple):
    """Arrays (starts, members). Times from the start [s]; nan where it does not happen in the outlook."""

    start: FloatArray  # (starts,) UTC [s]
    open_time: FloatArray
    stays_put: FloatArray
    gel: FloatArray
    set: FloatArray  # conversion of tack-free
    hard: FloatArray
    laminate_before: FloatArray  # the bond window closes
    glassy: NDArray[np.bool_]  # turned to glass before it was set: it stalls
    lowest_margin: FloatArray  # from the start until set [K]
    lowest_temperature: FloatArray  # of air and surface [K]
    highest_temperature: FloatArray
    highest_humidity: FloatArray  # of the air [1]
    blush: FloatArray  # exposure until set [s]


class Marks(NamedTuple):
    """When each path passes each conversion that matters. (starts, members), s from the start."""

    open_time: FloatArray
    stays_put: FloatArray
    gel: FloatArray
    set: FloatArray
    hard: FloatArray
    laminate_before: FloatArray
    glassy: NDArray[np.bool_]


def lot_factors(members: int, sd: float, median: float = 1.0) -> FloatArray:
    """Rate factors of a lot that is not known exactly, evenly spread and unrelated to the weather."""
    return np.asarray(median * np.exp(sd * normal_members(members, 5)[:, 4]))


def course(
    system: ResinSystem,
    weather: Weather,
    first: IntArray,
    *,
    rate_factor: FloatArray | None = None,
    peroxide_percent: float | None = None,
    carbon_dioxide: float = 420e-6,
) -> Course:
    """Follow a layup from each start along each path.

    Parameters
    ----------
    weather : Weather
        Paths on a regular grid.
    first : (starts,)
        Index into the grid of each start.
    rate_factor : (members,), optional
        Of the lot; spread by the system's own uncertainty if not given.
    peroxide_percent : float, optional
        Polyester and vinyl ester: per cent by mass of resin.
    carbon_dioxide : float
        Mole fraction in the shed. [1]

    Raises
    ------
    OutOfValidity
        A path leaves the range of the cure law, or a dose is refused.
    """
    factor = lot_factors(weather.members, system.rate_sd) if rate_factor is None else rate_factor
    parts = [
        _marks(system, weather, first[at : at + CHUNK], factor, peroxide_percent)
        for at in range(0, first.size, CHUNK)
    ]
    marks = Marks(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    return _met(system, weather, first, marks, carbon_dioxide)


def _marks(
    system: ResinSystem, weather: Weather, first: IntArray, factor: FloatArray, peroxide: float | None
) -> Marks:
    """One chunk of starts: their cure, and when it passes each mark."""
    step = float(weather.time[1] - weather.time[0])
    longest = min(int(AHEAD / step) + 1, weather.time.size - int(first.min()))
    column = np.minimum(first[:, None] + np.arange(longest), weather.time.size - 1)
    beyond = first[:, None] + np.arange(longest) > weather.time.size - 1  # past the outlook: not followed
    surface = weather.surface_temperature[:, column].transpose(1, 0, 2)
    conversion = _conversion(system, surface, step, factor, peroxide)
    conversion[np.broadcast_to(beyond[:, None, :], conversion.shape)] = np.nan
    thresholds, network = system.milestones, system.network
    glassy = glass.conversion_at(surface + system.kinetics.lead, network.uncured, network.full, network.shape)
    firm = glass.conversion_at(surface, network.uncured, network.full, network.shape)
    gel = crossing(conversion, thresholds.gel, step)
    set_ = crossing(conversion, thresholds.tack_free, step)
    stuck = crossing(conversion, glassy - GLASS_NEAR, step)
    return Marks(
        open_time=crossing(conversion, thresholds.open, step),
        stays_put=crossing(conversion, thresholds.stays_put, step),
        gel=gel,
        set=set_,
        hard=np.fmax(gel, crossing(conversion, firm, step)) + 0.0 * gel,
        laminate_before=np.fmin(crossing(conversion, system.bond.closes, step), stuck),
        glassy=np.isnan(set_) & ~np.isnan(stuck),
    )


def _conversion(
    system: ResinSystem, surface: FloatArray, step: float, factor: FloatArray, peroxide: float | None
) -> FloatArray:
    starts, members, points = surface.shape
    time: FloatArray = step * np.arange(points, dtype=np.float64)
    found = film.cure(
        system,
        film.History(time, surface.reshape(starts * members, points)),
        rate_factor=np.tile(factor, starts),
        peroxide_percent=peroxide,
    )
    return along(found.time, found.conversion, time).reshape(starts, members, points)


def crossing(value: FloatArray, threshold: float | FloatArray, step: float) -> FloatArray:
    """First time at which a value (..., n) reaches a threshold, straight between points; nan if never."""
    with np.errstate(invalid="ignore"):
        short = np.broadcast_to(threshold, value.shape) - value
        reached = short <= 0.0
    index = np.argmax(reached, axis=-1)
    here = np.take_along_axis(short, index[..., None], axis=-1)[..., 0]
    before = np.take_along_axis(short, np.maximum(index - 1, 0)[..., None], axis=-1)[..., 0]
    share = np.where(index > 0, before / np.where(before > here, before - here, 1.0), 1.0)
    time = step * (np.maximum(index - 1, 0) + np.where(index > 0, share, 0.0))
    return np.where(reached.any(axis=-1), time, np.nan)


def _met(
    system: ResinSystem, weather: Weather, first: IntArray, marks: Marks, carbon_dioxide: float
) -> Course:
    """What each path met between its start and its set, or the end of the outlook."""
    step = float(weather.time[1] - weather.time[0])
    begin = np.broadcast_to(first[:, None], marks.set.shape)
    end = weather.time.size - 1
    finite = np.where(np.isnan(marks.set), end, begin + np.ceil(np.nan_to_num(marks.set) / step))
    last = np.minimum(finite, end).astype(np.int64)
    coldest = np.minimum(weather.air_temperature, weather.surface_temperature)
    warmest = np.maximum(weather.air_temperature, weather.surface_temperature)
    return Course(
        weather.time[first],
        *marks,
        lowest_margin=lowest_between(weather.margin, begin, last),
        lowest_temperature=lowest_between(coldest, begin, last),
        highest_temperature=highest_between(warmest, begin, last),
        highest_humidity=highest_between(weather.humidity, begin, last),
        blush=_exposure(system, weather, begin, last, carbon_dioxide),
    )


def _exposure(
    system: ResinSystem, weather: Weather, begin: IntArray, last: IntArray, carbon_dioxide: float
) -> FloatArray:
    """Blush exposure between two moments of each path, from one running sum. (starts, members) [s]"""
    rate = blush_rate(system, weather.surface_temperature, weather.surface_humidity, carbon_dioxide)
    step = float(weather.time[1] - weather.time[0])
    running = np.zeros(rate.shape)
    np.cumsum(0.5 * step * (rate[:, 1:] + rate[:, :-1]), axis=1, out=running[:, 1:])
    member = np.broadcast_to(np.arange(rate.shape[0]), begin.shape)
    return np.asarray(running[member, last] - running[member, begin])


def blush_rate(
    system: ResinSystem, temperature: FloatArray, surface_humidity: FloatArray, carbon_dioxide: float
) -> FloatArray:
    """How fast blush exposure grows: 1 in saturated fresh air at 20 degC for an ordinary amine. [1]

    Source
    ------
    A construction of this project (no published formula in humidity and temperature exists): none at
    or below 40 % at the surface, growing to saturation (clear effect at 80 %, none measurable at 40 %:
    Bannister 2022); Arrhenius in temperature; in proportion to carbon dioxide.
    """
    energy = system.blush.energy
    speed = arrhenius(1.0, energy, temperature) / arrhenius(1.0, energy, 293.15)
    wet = np.clip((surface_humidity - 0.4) / 0.6, 0.0, 1.0)
    return np.asarray(wet * speed * (carbon_dioxide / 420e-6) * system.blush.amine_factor)
