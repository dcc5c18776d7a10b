"""What becomes of a layer along every path of the coming hours: when it sets, and what it met on the way.

One :class:`Course` holds, for each start and each path, the times of the milestones and the extremes
of what the film met from its start until it was set. The verdict on one start, the strip of coming
windows and every lever read the same course: there is one way to judge, and it is here.

*Set* means the conversion at which the surface is tack-free where air does not hinder it; a laminating
polyester stays tacky in air, but is past harm by dew at the same conversion.

A lot's rate factor is not known exactly: each path gets one of evenly spread factors, so that the bands
carry the weather and the lot together.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.advice.judge.weather import IntArray, Weather, highest_between, lowest_between
from curewatch.materials.resin import Resin
from curewatch.model.film import blush
from curewatch.model.film.ensemble import FEWEST, milestone_times
from curewatch.model.film.film import History
from curewatch.model.film.lots import Lot
from curewatch.model.film.milestones import sanding_age
from curewatch.model.film.recoat_window import stated_age_rate
from curewatch.model.film.running_sum import filled, running
from curewatch.units import DAY, FloatArray

AHEAD = 2 * DAY  # s a layer is followed for: what has not set by then is no plan for a shed


class Course(NamedTuple):
    """Arrays (starts, members). Times from the start [s]; nan where it does not happen in the outlook."""

    start: FloatArray  # (starts,) UTC [s]
    working_time: FloatArray
    recoat_from: FloatArray
    gel: FloatArray
    set: FloatArray  # conversion of tack-free
    firm: FloatArray  # may be handled
    ready_to_sand: FloatArray  # firm, and the stated wait is over
    laminate_before: FloatArray  # the recoat window closes, by whatever comes first
    glassy: NDArray[np.bool_]  # turned to glass before it was set: it stalls
    lowest_margin: FloatArray  # from the start until set [K]
    lowest_temperature: FloatArray  # of air and surface [K]
    highest_temperature: FloatArray
    highest_humidity: FloatArray  # of the air [1]
    blush: FloatArray  # exposure until set [s]


class Marks(NamedTuple):
    """When each path passes each conversion that matters. (starts, members), s from the start."""

    working_time: FloatArray
    recoat_from: FloatArray
    gel: FloatArray
    set: FloatArray
    firm: FloatArray  # may be handled
    ready_to_sand: FloatArray  # firm, and the stated wait is over
    laminate_before: FloatArray
    glassy: NDArray[np.bool_]


def course(
    resin: Resin,
    weather: Weather,
    first: IntArray,
    *,
    chosen: Sequence[Lot] | None = None,
    peroxide_percent: float | None = None,
    carbon_dioxide: float = 420e-6,
    rest: float | None = None,
    only_set: bool = False,
) -> Course:
    """Follow a layer from each start along each path.

    Parameters
    ----------
    weather : Weather
        Paths on a regular grid of whole 7.5 minutes; fewer than 64 paths are repeated.
    first : (starts,)
        Index into the grid of each start, rising.
    chosen : sequence of Lot, optional
        One, or one for each path; spread by the resin's own uncertainty if not given.
    peroxide_percent : float, optional
        Polyester and vinyl ester: per cent by mass of resin.
    carbon_dioxide : float
        Mole fraction in the shed. [1]
    rest : float, optional
        In the pot after mixing, before the film gathers blush; what the sheet asks for if not given. [s]
    only_set : bool
        Follow each path until it is set and no further: all other times are then nan.

    Raises
    ------
    OutOfValidity
        A path leaves the range of the cure law, or a dose is refused.
    """
    crowd = _enough(weather) if chosen is None else weather
    elapsed = crowd.time - crowd.time[0]
    times = milestone_times(
        resin,
        History(elapsed, crowd.surface_temperature),
        starts=elapsed[first],
        duration=AHEAD,
        peroxide_percent=peroxide_percent,
        conversions={"set": resin.milestones.tack_free, "closes": resin.bond.closes},
        chosen=chosen,
        only=("set",) if only_set else None,
    )
    gathering = blush.rate(resin, crowd.surface_temperature, crowd.surface_humidity, carbon_dioxide)
    gathered = running(crowd.time, gathering)
    spread = _at(crowd, gathered, first, (resin.blush.rest or 0.0) if rest is None else rest)
    never = np.full(times["set"].shape, np.nan)
    marks = Marks(
        working_time=times.get("working_time", never),
        recoat_from=times.get("recoat_from", never),
        gel=times.get("gel", never),
        set=times["set"],
        firm=times.get("firm", never),
        ready_to_sand=never if only_set else _ready_to_sand(resin, crowd, first, times["firm"]),
        laminate_before=never
        if only_set
        else _bonds_until(resin, crowd, first, times, gathered=gathered, spread=spread),
        glassy=np.isnan(times["set"]) & ~np.isnan(times.get("glass", never)),
    )
    return _met(crowd, first, marks, gathered, spread)


def _ready_to_sand(resin: Resin, weather: Weather, first: IntArray, firm: FloatArray) -> FloatArray:
    """Hard, and the stated wait is over; nan where either does not come. (starts, members) [s]"""
    wait = resin.milestones.sand
    if wait is None:
        return firm
    aged = running(weather.time, sanding_age(resin, weather.surface_temperature))
    return np.asarray(np.maximum(firm, _filled(weather, first, aged, _at(weather, aged, first) + wait)))


def _bonds_until(
    resin: Resin,
    weather: Weather,
    first: IntArray,
    times: dict[str, FloatArray],
    *,
    gathered: FloatArray,
    spread: FloatArray,
) -> FloatArray:
    """When a next layer no longer bonds chemically. (starts, members) [s from the start]"""
    if resin.surface.wax:
        return times["recoat_from"]
    if resin.bond.sheet_closes is None:
        closes = np.fmin(times["closes"], times["glass"])
    else:
        aged = running(weather.time, stated_age_rate(resin, weather.surface_temperature))
        closes = _filled(weather, first, aged, _at(weather, aged, first) + resin.bond.sheet_closes)
    if not resin.blush.amine_factor:
        return closes
    washed = _filled(weather, first, gathered, spread + resin.blush.wash_from)
    while_amine = washed <= np.nan_to_num(times["set"], nan=np.inf)
    return np.asarray(np.fmin(closes, np.where(while_amine, washed, np.nan)))


def _at(weather: Weather, total: FloatArray, first: IntArray, later: float = 0.0) -> FloatArray:
    """What has been gathered by each start, or so much later [s]. (starts, members)"""
    place = np.minimum(first + later / (weather.time[1] - weather.time[0]), weather.time.size - 1)
    before = np.minimum(place.astype(np.int64), weather.time.size - 2)
    low, high = total[:, before].T, total[:, before + 1].T
    return np.asarray(low + (place - before)[:, None] * (high - low))


def _filled(weather: Weather, first: IntArray, total: FloatArray, level: FloatArray) -> FloatArray:
    """When so much has been gathered. (starts, members) [s from the start]"""
    return filled(weather.time, total, level) - weather.time[first][:, None]


def _enough(weather: Weather) -> Weather:
    """The paths repeated, so that there are enough for the lots to spread evenly over them."""
    repeats = -(-FEWEST // weather.members)
    if repeats == 1:
        return weather
    return Weather(weather.time, *(np.tile(paths, (repeats, 1)) for paths in weather[1:]))


def _met(weather: Weather, first: IntArray, marks: Marks, gathered: FloatArray, spread: FloatArray) -> Course:
    """What each path met between its start and its set, or the end of the outlook."""
    step = float(weather.time[1] - weather.time[0])
    begin = np.broadcast_to(first[:, None], marks.set.shape)
    end = weather.time.size - 1
    finite = np.where(np.isnan(marks.set), end, begin + np.ceil(np.nan_to_num(marks.set) / step))
    last = np.minimum(finite, end).astype(np.int64)
    member = np.broadcast_to(np.arange(gathered.shape[0]), begin.shape)
    coldest = np.minimum(weather.air_temperature, weather.surface_temperature)
    warmest = np.maximum(weather.air_temperature, weather.surface_temperature)
    return Course(
        weather.time[first],
        *marks,
        lowest_margin=lowest_between(weather.margin, begin, last),
        lowest_temperature=lowest_between(coldest, begin, last),
        highest_temperature=highest_between(warmest, begin, last),
        highest_humidity=highest_between(weather.humidity, begin, last),
        blush=np.maximum(gathered[member, last] - spread, 0.0),
    )
