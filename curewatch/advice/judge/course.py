"""What becomes of a layer along every path of the coming hours: when it sets, and what it met on the way.

One :class:`Course` holds, for each start and each path, the times of the milestones and the extremes
of what the film met from its start until it was set. The verdict on one start, the strip of coming
windows and every lever read the same course: there is one way to judge, and it is here.

*Set* means the conversion at which the surface is tack-free where air does not hinder it; a laminating
polyester stays tacky in air, but is past harm by dew at the same conversion.

A lot's rate factor is not known exactly: each path gets one of evenly spread factors, so that the bands
carry the weather and the lot together.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.advice.judge.weather import IntArray, Weather, highest_between, lowest_between
from curewatch.materials.resin import Resin
from curewatch.model.film import blush
from curewatch.model.film.blush import amine_left
from curewatch.model.film.damp_air import acceleration
from curewatch.model.film.ensemble import FEWEST, milestone_times, touch_waits, waits
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import History
from curewatch.model.film.heated_stepping import Ageing
from curewatch.model.film.lots import Lot
from curewatch.model.film.milestones import sanding_age
from curewatch.model.film.recoat_window import stated_age_rate
from curewatch.model.film.running_sum import filled, running
from curewatch.model.mass.buildup import Buildup
from curewatch.units import DAY, FloatArray

PAST_SET = 0.75  # conversion of a film past set, for the amine that it has left
ASKED = {"working_time", "recoat_from", "gel", "set", "firm", "glass"}  # marks of every layer
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
    warming: FloatArray  # of the surface, from the start until gel, or set where only that was asked [K]
    blush: FloatArray  # exposure until set; nan where only set was asked for [s]
    own_peak: FloatArray  # highest temperature of a layer with its own heat; nan of a film [K]


class Setting(NamedTuple):
    """When layers set, and how hot they get by themselves until then. (starts, members)"""

    set: FloatArray  # from the start; nan where it does not come [s]
    peak: FloatArray  # nan of a film [K]


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
    buildup: Buildup | None = None,
    measured: History | None = None,
    ahead: float = AHEAD,
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
    buildup : Buildup, optional
        Of a layer that warms itself; a film as warm as its surface if not given. Blush and the stated wait
        before sanding go by the surface alone: they are never shortened by the layer's own heat.
    measured : History, optional
        The temperature of the layer itself on the same paths, its own heat in it, from their beginning on: it
        cures along this. Blush and stated waits go by ``weather`` even so.
    ahead : float
        How long each start is followed. [s]

    Raises
    ------
    OutOfValidity
        A path leaves the range of the cure law, or a dose is refused.
    """
    ensemble = enough(weather) if chosen is None else weather
    own = _surfaces(ensemble) if measured is None else measured
    closing = {"aged"} if resin.bond.sheet_closes is not None else {"closes"}
    only = ASKED | (set() if resin.surface.wax else closing)
    times = _times(
        resin,
        ensemble,
        own,
        first,
        chosen=chosen,
        peroxide_percent=peroxide_percent,
        buildup=buildup,
        only=only,
        ahead=ahead,
    )
    glassy = np.isnan(times["set"]) & ~np.isnan(times["glass"])
    times["set"] = _touched(resin, ensemble, first, times["set"], ahead)
    gathering = blush.rate(resin, ensemble.surface_temperature, ensemble.surface_humidity, carbon_dioxide)
    gathered = running(ensemble.time, gathering)
    spread = _at(ensemble, gathered, first, (resin.blush.rest or 0.0) if rest is None else rest)
    sooner = _sooner(resin, ensemble, first, times["gel"])
    blushing = _blushing(resin, ensemble, first, times, gathered=gathered, spread=spread)
    marks = Marks(
        working_time=times["working_time"] / sooner,
        recoat_from=times["recoat_from"],
        gel=times["gel"] / sooner,
        set=times["set"],
        firm=times["firm"],
        ready_to_sand=_ready_to_sand(resin, ensemble, first, times["firm"]),
        laminate_before=np.fmin(
            _bonds_until(resin, own, ensemble.time[first] - ensemble.time[0], times) / sooner,
            _filled(ensemble, first, gathered, blushing.washed),
        ),
        glassy=glassy,
    )
    met = _met(ensemble, first, marks, blushing.exposure)
    hottest = met.own_peak if measured is None else _hottest(measured, met.start - ensemble.time[0])
    return met._replace(own_peak=times.get("peak", hottest))


def _hottest(measured: History, begins: FloatArray) -> FloatArray:
    """Of each layer whose own temperature is given, from its start on. (starts, members) [K]"""
    return np.stack([measured.temperature[:, measured.time >= begin].max(axis=1) for begin in begins])


def setting(
    resin: Resin,
    weather: Weather,
    first: IntArray,
    *,
    chosen: Sequence[Lot],
    peroxide_percent: float | None = None,
    buildup: Buildup | None = None,
) -> Setting:
    """When a layer is set along each path [s], and how hot it gets by then [K]; followed no further.

    A thick one is followed until it may be handled: a lot whose peak comes after its set has had it by then.
    Parameters and errors as of :func:`course`.
    """
    only = ("set", "firm") if buildup is not None and buildup.thick else ("set",)
    times = _times(
        resin,
        weather,
        _surfaces(weather),
        first,
        chosen=chosen,
        peroxide_percent=peroxide_percent,
        buildup=buildup,
        only=only,
    )
    set_ = _touched(resin, weather, first, times["set"], AHEAD)
    return Setting(set_, times.get("peak", np.full(set_.shape, np.nan)))


def _touched(resin: Resin, bare: Weather, first: IntArray, set_: FloatArray, ahead: float) -> FloatArray:
    """No sooner than the maker calls it tack-free, by the bare surface. (starts, members) [s from the start]

    ``ahead`` [s]: later than that, and it does not come.
    """
    if resin.milestones.touch is None:
        return set_
    touched = touch_waits(resin, _surfaces(bare), bare.time[first] - bare.time[0])
    return np.where(touched > ahead, np.nan, np.maximum(set_, touched))


def _surfaces(weather: Weather) -> History:
    """The bare surface of each path, from the beginning of the paths."""
    return History(weather.time - weather.time[0], weather.surface_temperature)


def _times(
    resin: Resin,
    bare: Weather,
    own: History,
    first: IntArray,
    *,
    chosen: Sequence[Lot] | None,
    peroxide_percent: float | None,
    buildup: Buildup | None,
    only: Collection[str],
    ahead: float = AHEAD,
) -> dict[str, FloatArray]:
    """When each of these marks is passed. (starts, members) [s from the start]

    ``own``: as warm as the layer cures, from the beginning of the paths.

    Whether a layer comes to its glass asks nobody once it is set and has closed.
    """
    ageing = _ageing(resin) if "aged" in only else None
    moot = {"glass": ("set", *({"closes"} & set(only)))} if "glass" in only else None
    return milestone_times(
        resin,
        own,
        starts=bare.time[first] - bare.time[0],
        duration=ahead,
        peroxide_percent=peroxide_percent,
        conversions={"set": resin.milestones.tack_free},
        chosen=chosen,
        only=only,
        moot=moot,
        heat=None if buildup is None else Heat(buildup, bare.air_temperature, ageing),
        bare=_surfaces(bare),
    )


def until_set(weather: Weather, first: IntArray, found: Setting) -> Course:
    """What each path met until it is set as found; what else becomes of it is not told (nan).

    ``first`` (starts,).
    """
    never = np.full(found.set.shape, np.nan)
    others = dict.fromkeys(Marks._fields, never)
    others |= {"set": found.set, "glassy": np.zeros(found.set.shape, dtype=bool)}
    return _met(weather, first, Marks(**others), never)._replace(own_peak=found.peak)


def _ageing(resin: Resin) -> Ageing | None:
    """How a layer ages by the recoat window that its maker's sheet states; none if it states none."""
    bond = resin.bond
    if bond.sheet_closes is None:
        return None
    reference = blush.REFERENCE if bond.sheet_temperature is None else bond.sheet_temperature
    return Ageing(resin.kinetics.energy_2, reference, bond.sheet_closes)


def _ready_to_sand(resin: Resin, weather: Weather, first: IntArray, firm: FloatArray) -> FloatArray:
    """Hard, and the stated wait is over; nan where either does not come. (starts, members) [s]"""
    wait = resin.milestones.sand
    if wait is None:
        return firm
    aged = running(weather.time, sanding_age(resin, weather.surface_temperature))
    return np.asarray(np.maximum(firm, _filled(weather, first, aged, _at(weather, aged, first) + wait)))


def _bonds_until(
    resin: Resin,
    own: History,
    begins: FloatArray,
    times: dict[str, FloatArray],
) -> FloatArray:
    """When a next layer no longer bonds chemically, blush aside. (starts, members) [s from the start]

    ``begins`` (starts,): from the beginning of the paths. [s]
    """
    if resin.surface.wax:
        return times["recoat_from"]
    if resin.bond.sheet_closes is None:
        return np.fmin(times["closes"], times["glass"])
    if "aged" in times:
        return times["aged"]
    return waits(own, stated_age_rate(resin, own.temperature), begins, resin.bond.sheet_closes)


def _sooner(resin: Resin, weather: Weather, first: IntArray, gel: FloatArray) -> FloatArray:
    """How much faster each film cures for the water at its surface until it gels. (starts, members) [1]"""
    total = running(weather.time, weather.surface_humidity)
    until = np.fmin(gel, weather.time[-1] - weather.time[first][:, None])
    return acceleration(resin, (_at(weather, total, first, gel) - _at(weather, total, first)) / until)


class _Blushing(NamedTuple):
    """Blush of every film of a course. (starts, members)"""

    exposure: FloatArray  # until set, or the end of the outlook [s]
    washed: FloatArray  # what a fresh mix would have gathered when so much must be washed off [s]


def _blushing(
    resin: Resin,
    weather: Weather,
    first: IntArray,
    times: dict[str, FloatArray],
    *,
    gathered: FloatArray,
    spread: FloatArray,
) -> _Blushing:
    """The sum over amine left, which falls evenly between two marks of each film; past set, that at 0.75.

    Against the sum over the film's own curve: within 3 % (tests/unit/test_recoat_window.py).
    """
    level = {"working_time": resin.milestones.open, "recoat_from": resin.milestones.recoat_from,
             "gel": resin.milestones.gel, "set": resin.milestones.tack_free}  # fmt: skip
    exposure, come, missing = np.zeros(spread.shape), spread, np.full(spread.shape, resin.blush.wash_from)
    washed, high = spread, 1.0
    for name, conversion in level.items():
        upto, low = (
            np.maximum(_at(weather, gathered, first, times[name]), come),
            float(amine_left(conversion)),
        )
        met = upto - come
        gained = 0.5 * (high + low) * met
        part = np.minimum(missing, gained)  # of it, until so much must be washed off
        falls = 2.0 * (high - low) * part / np.maximum(met, 1e-9)
        washed = washed + 2.0 * part / (high + np.sqrt(np.maximum(high**2 - falls, 0.0)))
        exposure, missing = exposure + gained, missing - part
        come, high = upto, low
    return _Blushing(exposure, washed + missing / float(amine_left(PAST_SET)))


def _at(weather: Weather, total: FloatArray, first: IntArray, later: FloatArray | float = 0.0) -> FloatArray:
    """What has been gathered by each start, or so much later [s], nan: by the end. (starts, members)"""
    step = float(weather.time[1] - weather.time[0])
    place = first[:, None] + np.broadcast_to(later, (first.size, total.shape[0])) / step
    place = np.fmin(place, weather.time.size - 1)
    before = np.minimum(place.astype(np.int64), weather.time.size - 2)
    member = np.arange(total.shape[0])
    low, high = total[member, before], total[member, before + 1]
    return np.asarray(low + (place - before) * (high - low))


def _filled(weather: Weather, first: IntArray, total: FloatArray, level: FloatArray) -> FloatArray:
    """When so much has been gathered. (starts, members) [s from the start]"""
    return filled(weather.time, total, level) - weather.time[first][:, None]


def enough(weather: Weather) -> Weather:
    """The paths (members, n) repeated, so that there are enough for the lots to spread evenly over them."""
    repeats = -(-FEWEST // weather.members)
    if repeats == 1:
        return weather
    return Weather(weather.time, *(np.tile(paths, (repeats, 1)) for paths in weather[1:]))


def _met(weather: Weather, first: IntArray, marks: Marks, exposure: FloatArray) -> Course:
    """What each path met between its start and its set, or the end of the outlook."""
    step = float(weather.time[1] - weather.time[0])
    begin = np.broadcast_to(first[:, None], marks.set.shape)
    end = weather.time.size - 1
    finite = np.where(np.isnan(marks.set), end, begin + np.ceil(np.nan_to_num(marks.set) / step))
    last = np.minimum(finite, end).astype(np.int64)
    coldest = np.minimum(weather.air_temperature, weather.surface_temperature)
    warmest = np.maximum(weather.air_temperature, weather.surface_temperature)
    wet = np.where(np.isnan(marks.gel), marks.set, marks.gel)
    until = begin + np.ceil(np.where(np.isnan(wet), end, wet / step))
    warmest_wet = highest_between(weather.surface_temperature, begin, np.minimum(until, end).astype(np.int64))
    return Course(
        weather.time[first],
        *marks,
        lowest_margin=lowest_between(weather.margin, begin, last),
        lowest_temperature=lowest_between(coldest, begin, last),
        highest_temperature=highest_between(warmest, begin, last),
        highest_humidity=highest_between(weather.humidity, begin, last),
        warming=warmest_wet - weather.surface_temperature[:, first].T,
        blush=exposure,
        own_peak=np.full(exposure.shape, np.nan),
    )
