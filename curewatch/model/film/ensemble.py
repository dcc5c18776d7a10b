"""Milestones of many films: every weather of an outlook, every lot, every start time, with bands."""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.ensemble_steps import Ensemble, Heat, WantedMarks, followed, passed
from curewatch.model.film.film import Cure, History, finish, require_history
from curewatch.model.film.flow_map import STEP
from curewatch.model.film.lots import EARLY, LATE, MEDIAN, STRATA, Lot, lots, shared_out
from curewatch.model.film.milestones import (
    age_rate,
    closing_conversion,
    firm_conversion,
    glass_reached,
    thresholds,
)
from curewatch.model.film.running_sum import filled, running
from curewatch.order import quantiles
from curewatch.physics.constants import REFERENCE_TEMPERATURE
from curewatch.units import HOUR, FloatArray

FEWEST = 64  # members: fewer paths are repeated, so that the lots spread evenly


class Interval(NamedTuple):
    """Eight of ten outcomes lie between early and late; nan where it is not reached. [s]"""

    early: FloatArray
    likely: FloatArray
    late: FloatArray


MOVING = {  # marks that move with the temperature
    "firm": firm_conversion,
    "glass": glass_reached,
    "closes": closing_conversion,
}
ENDS = ("working_time", "glass", "closes")  # marks that a layer passes with its quickest part; else slowest
TOUCHED = ("tack_free", "firm")  # never sooner than the maker calls it tack-free


def cures(
    resin: Resin,
    history: History,
    chosen: Sequence[Lot] | None = None,
    heat: Heat | None = None,
    start: float = 0.0,
) -> Cure:
    """Cure of every member of a history, each with its lot; of a layer that warms itself its slowest part.

    Parameters and shapes as for :func:`cures_of_parts`.

    ``start`` [s].
    """
    return cures_of_parts(resin, history, chosen, heat, start)[0]


def cures_of_parts(
    resin: Resin,
    history: History,
    chosen: Sequence[Lot] | None = None,
    heat: Heat | None = None,
    start: float = 0.0,
) -> tuple[Cure, Cure]:
    """Cure of every member of a history, each with its lot: of its slowest part, and of its quickest.

    What a layer must have reached goes by the slowest part; what it must not pass goes by the quickest.

    Parameters
    ----------
    resin : Resin
    history : History
        ``temperature`` (members, n). [s, K]
    chosen : sequence of Lot, optional
        One for all, or one each; shared out from the resin's own uncertainty if not given.
    heat : Heat, optional
        For a layer that warms itself. A film as warm as its surface, and as quick everywhere, if not given.
    start : float
        When it is laid; the history must reach back to the layers below it. [s]

    Returns
    -------
    (Cure, Cure)
        (members, steps + 1), from the start
    """
    require_history(history)
    ensemble = Ensemble(resin, history, *_assigned(resin, history.temperature.shape[0], chosen), heat)
    met = followed(ensemble, start)
    time = np.minimum(start + met.time, history.time[-1])
    parts = (finish(resin, history, time, progress) for progress in (met.slowest, met.quickest))
    slow, quick = (
        part._replace(time=time - start, temperature=part.temperature + met.excess) for part in parts
    )
    return slow, quick


def milestone_times(
    resin: Resin,
    history: History,
    *,
    starts: ArrayLike = (0.0,),
    duration: float = 72 * HOUR,
    peroxide_percent: float | None = None,
    conversions: dict[str, float] | None = None,
    chosen: Sequence[Lot] | None = None,
    only: Collection[str] | None = None,
    moot: dict[str, tuple[str, ...]] | None = None,
    heat: Heat | None = None,
    bare: History | None = None,
) -> dict[str, FloatArray]:
    """When each mark is passed, for every start and every member.

    Parameters
    ----------
    resin : Resin
    history : History
        One path (n,) or an outlook's members (members, n); its time begins at 0. [s, K]
    starts : array_like, shape (starts,)
        Rising; whole steps of 7.5 minutes from the beginning of the history. [s]
    duration : float
        How long each start is followed, or to the end of the history. [s]
    peroxide_percent : float, optional
        As for a film.
    conversions : dict, optional
        Further marks: name -> conversion.
    chosen : sequence of Lot, optional
        As for :func:`cures`.
    only : collection of str, optional
        The marks that are asked for: stepping ends once all are passed.
    moot : dict, optional
        Marks that are not waited for once all of some others are passed: name -> those.
    heat : Heat, optional
        For a layer that warms itself. What it reaches counts once its slowest part has come to it, what it
        must not pass (working time, closes, glass) once its quickest has. A film if not given.
    bare : History, optional
        The surface without the layer's own heat, where that is in the history: a stated wait passes by it.

    Returns
    -------
    dict of ndarray, shape (starts, members)
        ``working_time``, ``recoat_from``, ``gel``, ``tack_free``, ``firm``, ``glass`` (the diffusion limit
        takes over: it goes on slowly if at all), ``closes`` (too few groups left) and the further ones:
        seconds from that start, nan where not reached. Fewer than 64 members are repeated up to 64.
        With ``heat`` also ``peak``, the layer's highest temperature [K], and ``aged`` where it is asked for.

    Raises
    ------
    OutOfValidity
        The starts do not rise by whole steps, or a temperature leaves the range of the cure law.
    """
    require_history(history)
    begins = np.asarray(starts, dtype=float)
    paths = np.atleast_2d(history.temperature)
    repeats = -(-FEWEST // paths.shape[0]) if chosen is None else 1
    ensemble = History(history.time, np.tile(paths, (repeats, 1)))
    chosen, lot = _assigned(resin, ensemble.temperature.shape[0], chosen, max(STRATA, repeats))
    dose = resin.dose_factor(peroxide_percent)
    chosen = [Lot(each.resin, each.factor * dose) for each in chosen]
    if heat is not None and heat.air is not None:
        heat = heat._replace(air=np.tile(np.atleast_2d(heat.air), (repeats, 1)))
    first = begins / STEP
    if begins.size == 0 or np.any(np.abs(first - np.round(first)) > 1e-6) or np.any(np.diff(first) <= 0):
        raise OutOfValidity(
            "start in s",
            float(begins.ravel()[0]) if begins.size else 0.0,
            "rising, whole steps of 450 s",
            "a stepping",
        )
    asked, places = _wanted({**thresholds(resin), **(conversions or {})}, only, moot or {})
    found, aged, peak = passed(Ensemble(resin, ensemble, chosen, lot, heat), begins, duration, asked)
    never = np.full(found.shape[1:], np.nan)
    result = {name: never if place is None else found[place] for name, place in places.items()}
    if resin.milestones.touch is not None:
        touched = touch_waits(resin, ensemble if bare is None else bare, begins)
        result.update({name: np.maximum(result[name], touched) for name in TOUCHED if name in result})
    result.update({name: each for name, each in (("aged", aged), ("peak", peak)) if each is not None})
    return result


def _wanted(
    marks: dict[str, float], only: Collection[str] | None, moot: dict[str, tuple[str, ...]]
) -> tuple[WantedMarks, dict[str, int | None]]:
    """What is looked for, and where in it each mark is; None for one that does not come. [1]"""
    if only is not None:
        marks = {name: value for name, value in marks.items() if name in only}
    moving = {name: level for name, level in MOVING.items() if only is None or name in only}
    levels = {name: (mark, name in ENDS) for name, mark in marks.items() if not np.isnan(mark)}
    distinct = sorted(set(levels.values()))  # a polyester gels as it carries the next layer
    place = {name: distinct.index(level) for name, level in levels.items()}
    place |= {name: number for number, name in enumerate(moving, start=len(distinct))}
    ends = np.array([*(end for _, end in distinct), *(name in ENDS for name in moving)], dtype=bool)
    idle = {
        place[name]: tuple(place[each] for each in after if each in place) for name, after in moot.items()
    }
    asked = WantedMarks(np.array([mark for mark, _ in distinct]), tuple(moving.values()), ends, idle)
    return asked, {name: place.get(name) for name in (*marks, *moving)}


def touch_waits(resin: Resin, surface: History, begins: FloatArray) -> FloatArray:
    """When the maker's wait until tack-free is over; nan if not by the end. (starts, members) [s from each]

    ``surface`` (members, n), ``begins`` (starts,) [s].
    """
    wait, reference = resin.milestones.touch, resin.milestones.touch_temperature
    return waits(
        surface,
        age_rate(resin, surface.temperature, reference or REFERENCE_TEMPERATURE),
        begins,
        wait or 0.0,
    )


def waits(path: History, rate: FloatArray, begins: FloatArray, wait: float) -> FloatArray:
    """When each path has aged so long. (starts, members) [s from each start]

    ``rate`` (members, n) [1], ``begins`` (starts,) [s], ``wait`` [s].
    """
    aged = running(path.time, rate)
    at = np.stack([np.interp(begins, path.time, row) for row in aged], axis=1)
    return np.asarray(filled(path.time, aged, at + wait) - begins[:, None])


def band(times: FloatArray, axis: int = -1) -> Interval:
    """Early, likely and late of some outcomes; an outcome that is never reached is later than all. [s]

    (..., members)
    """
    outcomes = np.where(np.isnan(times), np.inf, times)
    with np.errstate(invalid="ignore"):
        three = quantiles(outcomes, (EARLY, MEDIAN, LATE), axis)
    three = np.where(np.isfinite(three), three, np.nan)
    return Interval(three[0], three[1], three[2])


def _assigned(
    resin: Resin, members: int, chosen: Sequence[Lot] | None, strata: int = STRATA
) -> tuple[list[Lot], NDArray[np.intp]]:
    if chosen is None:
        own = lots(resin, min(strata, members))
        return own, shared_out(members, len(own))
    if len(chosen) == 1:
        return list(chosen), np.zeros(members, dtype=np.intp)
    if len(chosen) != members:
        raise OutOfValidity(
            "number of lots", len(chosen), f"1 or {members}, as many as members", "an ensemble"
        )
    distinct = sorted({(id(each.resin), each.factor) for each in chosen}, key=lambda key: key[::-1])
    place = {key: index for index, key in enumerate(distinct)}
    kept = {place[id(each.resin), each.factor]: each for each in chosen}
    index = np.array([place[id(each.resin), each.factor] for each in chosen], dtype=np.intp)
    return [kept[number] for number in range(len(kept))], index


class Envelope(NamedTuple):
    """One film with what the lot leaves open: bands of (n,) over ``time``."""

    time: FloatArray  # [s]
    conversion: Interval  # [1]
    glass_transition: Interval  # [K]
    temperature: FloatArray  # [K]


def envelope(
    resin: Resin,
    history: History,
    likely: Cure,
    *,
    peroxide_percent: float | None = None,
    heat: Heat | None = None,
) -> Envelope:
    """Conversion and glass transition of one path, as 8 in 10 lots would have them.

    ``history`` is one path (n,). ``likely`` is the resin as it stands.

    ``peroxide_percent`` [% by mass of resin]; what is found is (n,) [1, K].
    """
    dose = resin.dose_factor(peroxide_percent)
    several = [Lot(each.resin, each.factor * dose) for each in lots(resin, FEWEST)]
    paths = History(history.time, np.tile(history.temperature, (len(several), 1)))
    ensemble = cures(resin, paths, several, heat)

    def spread(values: FloatArray, middle: FloatArray) -> Interval:
        low, high = quantiles(values, (EARLY, LATE), 0)
        centre = np.interp(ensemble.time, likely.time, middle)
        return Interval(np.minimum(low, centre), centre, np.maximum(high, centre))

    return Envelope(
        ensemble.time,
        spread(ensemble.conversion, likely.conversion),
        spread(ensemble.glass_transition, likely.glass_transition),
        np.interp(ensemble.time, likely.time, likely.temperature),
    )
