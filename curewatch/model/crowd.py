"""Milestones of many films: every weather of an outlook, every lot, every start time, with bands."""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.system import ResinSystem
from curewatch.model.film import Cure, History, at_times, cure, finish, require_history
from curewatch.model.flow_map import SingleArray, Walk, flow_map, step_of
from curewatch.model.lots import EARLY, LATE, MEDIAN, STRATA, Lot, lots, shared_out
from curewatch.model.milestones import glass_reached, hard_conversion, thresholds
from curewatch.physics.constants import GAS_CONSTANT
from curewatch.units import HOUR, FloatArray

BASE = 285.0  # K, taken off before squares are summed
FEWEST = 64  # members: fewer paths are repeated, so that the lots spread evenly


class Band(NamedTuple):
    """Nine of ten outcomes lie between early and late; nan where it is not reached. [s]"""

    early: FloatArray
    likely: FloatArray
    late: FloatArray


MOVING = {"hard": hard_conversion, "glass": glass_reached}  # marks that move with the temperature


class _Hurdles(NamedTuple):
    """What films are asked to pass."""

    levels: FloatArray  # of conversion, rising
    moving: tuple[FloatArray, ...]  # each (steps, members)


class _Plan(NamedTuple):
    """A walk that is ready to start."""

    walk: Walk
    step: float  # [s]
    fresh: SingleArray  # (members,), progress of the fresh mix [1]
    end: FloatArray  # (steps, members), temperature at the end of each step [K]


def cures(system: ResinSystem, history: History, chosen: Sequence[Lot] | None = None) -> Cure:
    """Cure of every member of a history, each with its lot.

    Parameters
    ----------
    system : ResinSystem
    history : History
        ``temperature`` (members, n). [s, K]
    chosen : sequence of Lot, optional
        One for all, or one each; shared out from the system's own uncertainty if not given.

    Returns
    -------
    Cure
        (members, steps + 1)
    """
    require_history(history)
    members = history.temperature.shape[0]
    plan = _plan(history, *_assigned(system, members, chosen), rows=1)
    values = np.empty((plan.end.shape[0] + 1, members), np.float32)
    values[0] = plan.fresh
    progress = values[:1].copy()
    for step in range(plan.end.shape[0]):
        plan.walk.gain(progress, step)
        values[step + 1] = progress[0]
    time = np.minimum(plan.step * np.arange(values.shape[0]), history.time[-1])
    return finish(system, history, time, values.T.astype(float))


def milestone_times(
    system: ResinSystem,
    history: History,
    *,
    starts: ArrayLike = (0.0,),
    duration: float = 72 * HOUR,
    peroxide_percent: float | None = None,
    conversions: dict[str, float] | None = None,
    chosen: Sequence[Lot] | None = None,
    only: Collection[str] | None = None,
) -> dict[str, FloatArray]:
    """When each mark is passed, for every start and every member.

    Parameters
    ----------
    system : ResinSystem
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
        The marks that are asked for: a walk ends once all are passed.

    Returns
    -------
    dict of ndarray, shape (starts, members)
        ``open_time``, ``stays_put``, ``gel``, ``tack_free``, ``hard``, ``glass`` (the diffusion limit
        takes over: it goes on slowly if at all) and the further ones: seconds from that start, nan
        where not reached. Fewer than 64 members are repeated up to 64.
    """
    require_history(history)
    begins = np.asarray(starts, dtype=float)
    paths = np.atleast_2d(history.temperature)
    repeats = -(-FEWEST // paths.shape[0]) if chosen is None else 1
    crowd = History(history.time, np.tile(paths, (repeats, 1)))
    chosen, lot = _assigned(system, crowd.temperature.shape[0], chosen, max(STRATA, repeats))
    dose = system.dose_factor(peroxide_percent)
    chosen = [Lot(each.system, each.factor * dose) for each in chosen]
    plan = _plan(crowd, chosen, lot, rows=begins.size)
    first = begins / plan.step
    if begins.size == 0 or np.any(np.abs(first - np.round(first)) > 1e-6) or np.any(np.diff(first) <= 0):
        raise OutOfValidity(
            "start in s",
            float(begins.ravel()[0]) if begins.size else 0.0,
            "rising, whole steps of 450 s",
            "a walk",
        )
    marks = {**thresholds(system), **(conversions or {})}
    moving = MOVING
    if only is not None:
        marks = {name: value for name, value in marks.items() if name in only}
        moving = {name: level for name, level in MOVING.items() if name in only}
    names = sorted((name for name in marks if not np.isnan(marks[name])), key=lambda name: marks[name])
    levels = np.array([marks[name] for name in names])
    hurdles = _Hurdles(levels, tuple(level(system, plan.end) for level in moving.values()))
    found = _crossings(system, plan, np.round(first).astype(int), round(duration / plan.step), hurdles)
    never = np.full(found.shape[1:], np.nan)
    result = {name: found[names.index(name)] if name in names else never for name in marks}
    return {**result, **dict(zip(moving, found[levels.size :], strict=True))}


def band(times: FloatArray, axis: int = -1) -> Band:
    """Early, likely and late of some outcomes; an outcome that is never reached is later than all. [s]"""
    outcomes = np.where(np.isnan(times), np.inf, times)
    with np.errstate(invalid="ignore"):
        three = np.quantile(outcomes, (EARLY, MEDIAN, LATE), axis=axis, method="hazen")
    three = np.where(np.isfinite(three), three, np.nan)
    return Band(three[0], three[1], three[2])


def _assigned(
    system: ResinSystem, members: int, chosen: Sequence[Lot] | None, strata: int = STRATA
) -> tuple[list[Lot], NDArray[np.intp]]:
    if chosen is None:
        own = lots(system, min(strata, members))
        return own, shared_out(members, len(own))
    if len(chosen) == 1:
        return list(chosen), np.zeros(members, dtype=np.intp)
    if len(chosen) != members:
        raise OutOfValidity("number of lots", len(chosen), f"1 or {members}, as many as members", "a crowd")
    distinct = sorted({(id(each.system), each.factor) for each in chosen}, key=lambda key: key[::-1])
    place = {key: index for index, key in enumerate(distinct)}
    kept = {place[id(each.system), each.factor]: each for each in chosen}
    index = np.array([place[id(each.system), each.factor] for each in chosen], dtype=np.intp)
    return [kept[number] for number in range(len(kept))], index


def _plan(history: History, chosen: Sequence[Lot], lot: NDArray[np.intp], *, rows: int) -> _Plan:
    coldest, warmest = float(history.temperature.min()), float(history.temperature.max())
    step = step_of(list(chosen), warmest)
    count = max(1, int(np.ceil(float(history.time[-1]) / step - 1e-9)))
    edge: FloatArray = step * np.arange(count + 1, dtype=float)
    table = flow_map(list(chosen), coldest, warmest, step)
    fresh = np.array([-each.system.kinetics.inhibitor for each in chosen], np.float32)[lot]
    at_edges = at_times(history, edge)
    steady = _steady(history, edge, at_edges, chosen[0].system.kinetics.energy_2 / GAS_CONSTANT)
    return _Plan(Walk(table, lot, steady.T, rows), step, fresh, at_edges[:, 1:].T)


def _steady(history: History, edge: FloatArray, at_edges: FloatArray, warmth: float) -> FloatArray:
    """The steady temperature at which each step goes as far as along the path: (members, steps). [K]

    Mean of the path, and half its variance times the curvature of Arrhenius' law (``warmth`` = E/R),
    both integrated exactly between the points of the history. The temperature in the middle of a
    step will not do: it misses 1e-3 of conversion in a shed with a heater.
    """
    if np.all(np.isin(history.time, edge)):  # straight within each step
        mean = 0.5 * (at_edges[:, 1:] + at_edges[:, :-1])
        spread = (at_edges[:, 1:] - at_edges[:, :-1]) ** 2 / 12.0
    else:
        mean, spread = _moments(history, edge)
    return np.asarray(mean + 0.5 * spread * (warmth / mean**2 - 2.0 / mean))


def _moments(history: History, edge: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean [K] and variance [K2] of each path between the edges: (members, steps)."""
    time, path = history.time, history.temperature - BASE
    slope = np.diff(path) / np.diff(time)
    length, begin = np.diff(time), path[:, :-1]
    once = begin * length + 0.5 * slope * length**2
    twice = begin**2 * length + begin * slope * length**2 + slope**2 * length**3 / 3.0
    index = np.clip(np.searchsorted(time, edge, side="right") - 1, 0, length.size - 1)
    beyond = edge - time[index]
    start, rise = begin[:, index], slope[:, index]

    def between(whole: FloatArray, part: FloatArray) -> FloatArray:
        sums = np.concatenate([np.zeros((whole.shape[0], 1)), np.cumsum(whole, axis=1)], axis=1)
        return np.diff(sums[:, index] + part, axis=1) / np.diff(edge)

    mean = between(once, beyond * (start + 0.5 * rise * beyond))
    square = between(twice, beyond * (start * (start + rise * beyond) + rise**2 * beyond**2 / 3.0))
    return mean + BASE, np.maximum(square - mean**2, 0.0)


def _crossings(
    system: ResinSystem,
    plan: _Plan,
    first: NDArray[np.intp],
    longest: int,
    hurdles: _Hurdles,
) -> FloatArray:
    """Walk all starts together: (levels + moving, starts, members). [s]"""
    count, members = plan.end.shape
    levels = hurdles.levels
    moving = np.empty((count, len(hurdles.moving), members), np.float32)
    for kind, level in enumerate(hurdles.moving):
        moving[:, kind] = level
    marks = levels.size + moving.shape[1]
    found = np.full((marks, first.size, members), np.nan)
    progress = np.tile(plan.fresh, (first.size, 1))
    ladder = np.append(levels, np.inf).astype(np.float32)
    rung = np.zeros(progress.shape, np.int8)
    upcoming = np.full(progress.shape, ladder[0], np.float32)
    passed_by = np.zeros((moving.shape[1], *progress.shape), np.float32)  # infinite once passed
    waiting = np.full(first.size, members * marks)
    low = 0
    for step in range(int(first[0]), count):
        high = int(np.searchsorted(first, step, side="right"))
        while low < high and (waiting[low] == 0 or step - first[low] >= longest):
            low += 1
        if low == first.size:
            break
        rows = slice(low, high)
        if low == high:
            continue
        gained = plan.walk.gain(progress[rows], step)
        now, elapsed = progress[rows], step - first
        passed = np.flatnonzero(now >= upcoming[rows])
        while passed.size:
            row, member = np.divmod(passed, members)
            at = rung[rows].ravel()[passed]
            short = now.ravel()[passed] - ladder[at]
            share = 1.0 - short / np.maximum(gained.ravel()[passed], 1e-12)
            found[at, low + row, member] = plan.step * (elapsed[low + row] + np.clip(share, 0.0, 1.0))
            rung[low + row, member] += 1
            upcoming[low + row, member] = ladder[at + 1]
            np.subtract.at(waiting, low + row, 1)
            passed = passed[now.ravel()[passed] >= ladder[at + 1]]
        for kind, level in enumerate(moving[step]):
            passed = np.flatnonzero(now >= level + passed_by[kind, rows])
            if passed.size:
                row, member = np.divmod(passed, members)
                before = moving[max(step - 1, 0), kind, member] - (now - gained)[row, member]
                after = now[row, member] - level[member]
                share = np.where(before > 0.0, before / np.maximum(before + after, 1e-12), 0.0)
                found[levels.size + kind, low + row, member] = plan.step * (elapsed[low + row] + share)
                passed_by[kind, low + row, member] = np.inf
                np.subtract.at(waiting, low + row, 1)
    return found


class Envelope(NamedTuple):
    """One film with what the lot leaves open: bands of (n,) over ``time``."""

    time: FloatArray  # [s]
    conversion: Band  # [1]
    glass_transition: Band  # [K]
    temperature: FloatArray  # [K]


def envelope(system: ResinSystem, history: History, *, peroxide_percent: float | None = None) -> Envelope:
    """Conversion and glass transition of one path, as nine of ten lots would have them.

    ``history`` is one path (n,). The likely lot is the system as it stands.
    """
    dose = system.dose_factor(peroxide_percent)
    several = [Lot(each.system, each.factor * dose) for each in lots(system, FEWEST)]
    paths = History(history.time, np.tile(history.temperature, (len(several), 1)))
    crowd = cures(system, paths, several)
    likely = cure(system, history, peroxide_percent=peroxide_percent)

    def spread(values: FloatArray, middle: FloatArray) -> Band:
        low, high = np.quantile(values, (EARLY, LATE), axis=0, method="hazen")
        centre = np.interp(crowd.time, likely.time, middle)
        return Band(np.minimum(low, centre), centre, np.maximum(high, centre))

    return Envelope(
        crowd.time,
        spread(crowd.conversion, likely.conversion),
        spread(crowd.glass_transition, likely.glass_transition),
        crowd.temperature[0],
    )
