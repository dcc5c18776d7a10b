"""Milestones of many films: every weather of an outlook, every lot, every start time, with bands."""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.crossings import Hurdles, Passings
from curewatch.model.film.equivalent_temperature import Warmth, warmth
from curewatch.model.film.film import Cure, History, at_times, cure, finish, require_history
from curewatch.model.film.flow_map import FlowMap, SingleArray, flow_map, step_of
from curewatch.model.film.lots import EARLY, LATE, MEDIAN, STRATA, Lot, lots, shared_out
from curewatch.model.film.milestones import firm_conversion, glass_reached, thresholds
from curewatch.model.film.stepping import Walk
from curewatch.physics.constants import GAS_CONSTANT
from curewatch.units import HOUR, FloatArray

FEWEST = 64  # members: fewer paths are repeated, so that the lots spread evenly
TOGETHER = 8192  # fewest films that are walked by themselves: with fewer the calls cost more than the films
GROUPS = 3  # most; more cost in calls what they spare in films


class Interval(NamedTuple):
    """Nine of ten outcomes lie between early and late; nan where it is not reached. [s]"""

    early: FloatArray
    likely: FloatArray
    late: FloatArray


MOVING = {"firm": firm_conversion, "glass": glass_reached}  # marks that move with the temperature


class _Plan(NamedTuple):
    """A walk that is ready to start."""

    table: FlowMap
    half: FlowMap  # of half a step, for films whose temperature swings; the same where none does
    lot: NDArray[np.intp]  # (members,)
    warmth: Warmth
    fresh: SingleArray  # (members,), progress of the fresh mix [1]
    end: FloatArray  # (steps, members), temperature at the end of each step [K]

    @property
    def step(self) -> float:
        """Length of a step. [s]"""
        return self.table.step

    def walk(self, rows: int) -> Walk:
        """The films of so many starts, ready to go."""
        return Walk((self.table, self.half), self.lot, self.warmth, rows)

    def part(self, members: NDArray[np.intp]) -> "_Plan":
        """The same for some of the members."""
        return _Plan(
            self.table,
            self.half,
            self.lot[members],
            self.warmth.part(members),
            self.fresh[members],
            self.end[:, members],
        )


def cures(resin: Resin, history: History, chosen: Sequence[Lot] | None = None) -> Cure:
    """Cure of every member of a history, each with its lot.

    Parameters
    ----------
    resin : Resin
    history : History
        ``temperature`` (members, n). [s, K]
    chosen : sequence of Lot, optional
        One for all, or one each; shared out from the resin's own uncertainty if not given.

    Returns
    -------
    Cure
        (members, steps + 1)
    """
    require_history(history)
    members = history.temperature.shape[0]
    plan = _plan(history, *_assigned(resin, members, chosen))
    walk = plan.walk(rows=1)
    values = np.empty((plan.end.shape[0] + 1, members), np.float32)
    values[0] = plan.fresh
    progress = values[:1].copy()
    for step in range(plan.end.shape[0]):
        walk.gain(progress, step)
        values[step + 1] = progress[0]
    time = np.minimum(plan.step * np.arange(values.shape[0]), history.time[-1])
    return finish(resin, history, time, values.T.astype(float))


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
        The marks that are asked for: a walk ends once all are passed.

    Returns
    -------
    dict of ndarray, shape (starts, members)
        ``working_time``, ``recoat_from``, ``gel``, ``tack_free``, ``firm``, ``glass`` (the diffusion limit
        takes over: it goes on slowly if at all) and the further ones: seconds from that start, nan
        where not reached. Fewer than 64 members are repeated up to 64.
    """
    require_history(history)
    begins = np.asarray(starts, dtype=float)
    paths = np.atleast_2d(history.temperature)
    repeats = -(-FEWEST // paths.shape[0]) if chosen is None else 1
    crowd = History(history.time, np.tile(paths, (repeats, 1)))
    chosen, lot = _assigned(resin, crowd.temperature.shape[0], chosen, max(STRATA, repeats))
    dose = resin.dose_factor(peroxide_percent)
    chosen = [Lot(each.resin, each.factor * dose) for each in chosen]
    plan = _plan(crowd, chosen, lot)
    first = begins / plan.step
    if begins.size == 0 or np.any(np.abs(first - np.round(first)) > 1e-6) or np.any(np.diff(first) <= 0):
        raise OutOfValidity(
            "start in s",
            float(begins.ravel()[0]) if begins.size else 0.0,
            "rising, whole steps of 450 s",
            "a walk",
        )
    marks = {**thresholds(resin), **(conversions or {})}
    moving = MOVING
    if only is not None:
        marks = {name: value for name, value in marks.items() if name in only}
        moving = {name: level for name, level in MOVING.items() if name in only}
    names = sorted((name for name in marks if not np.isnan(marks[name])), key=lambda name: marks[name])
    levels = np.array([marks[name] for name in names])
    hurdles = Hurdles(levels, tuple(level(resin, plan.end) for level in moving.values()))
    found = _crossings(plan, np.round(first).astype(int), round(duration / plan.step), hurdles)
    never = np.full(found.shape[1:], np.nan)
    result = {name: found[names.index(name)] if name in names else never for name in marks}
    return {**result, **dict(zip(moving, found[levels.size :], strict=True))}


def band(times: FloatArray, axis: int = -1) -> Interval:
    """Early, likely and late of some outcomes; an outcome that is never reached is later than all. [s]"""
    outcomes = np.where(np.isnan(times), np.inf, times)
    with np.errstate(invalid="ignore"):
        three = np.quantile(outcomes, (EARLY, MEDIAN, LATE), axis=axis, method="hazen")
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
        raise OutOfValidity("number of lots", len(chosen), f"1 or {members}, as many as members", "a crowd")
    distinct = sorted({(id(each.resin), each.factor) for each in chosen}, key=lambda key: key[::-1])
    place = {key: index for index, key in enumerate(distinct)}
    kept = {place[id(each.resin), each.factor]: each for each in chosen}
    index = np.array([place[id(each.resin), each.factor] for each in chosen], dtype=np.intp)
    return [kept[number] for number in range(len(kept))], index


def _plan(history: History, chosen: Sequence[Lot], lot: NDArray[np.intp]) -> _Plan:
    coldest, warmest = float(history.temperature.min()), float(history.temperature.max())
    step = step_of(list(chosen), warmest)
    count = max(1, int(np.ceil(float(history.time[-1]) / step - 1e-9)))
    edge: FloatArray = step * np.arange(count + 1, dtype=float)
    table = flow_map(list(chosen), coldest, warmest, step)
    fresh = np.array([-each.resin.kinetics.inhibitor for each in chosen], np.float32)[lot]
    at_edges = at_times(history, edge)
    met = warmth(history, edge, at_edges, chosen[0].resin.kinetics.energy_2 / GAS_CONSTANT)
    half = flow_map(list(chosen), coldest, warmest, 0.5 * step) if met.swings.step.size else table
    return _Plan(table, half, lot, met, fresh, at_edges[:, 1:].T)


def _crossings(plan: _Plan, first: NDArray[np.intp], longest: int, hurdles: Hurdles) -> FloatArray:
    """All starts and members, those of like warmth together: (levels + moving, starts, members). [s]

    A start is done with once its last film has passed every mark. Warm films need not wait for the cold.
    """
    members = plan.fresh.size
    found = np.empty((hurdles.levels.size + len(hurdles.moving), first.size, members))
    ordered = np.argsort(plan.end.mean(axis=0), kind="stable")
    for group in np.array_split(ordered, min(GROUPS, max(1, first.size * members // TOGETHER), members)):
        moving = tuple(level[:, group] for level in hurdles.moving)
        found[:, :, group] = _walked(plan.part(group), first, longest, Hurdles(hurdles.levels, moving))
    return found


def _walked(plan: _Plan, first: NDArray[np.intp], longest: int, hurdles: Hurdles) -> FloatArray:
    """Walk all starts together: (levels + moving, starts, members). [s]"""
    count, members = plan.end.shape
    walk, passed = plan.walk(first.size), Passings(plan.step, members, first, hurdles)
    progress = np.tile(plan.fresh, (first.size, 1))
    low = 0
    for step in range(int(first[0]), count):
        high = int(np.searchsorted(first, step, side="right"))
        while low < high and (step - first[low] >= longest or passed.all_by(low, step)):
            low += 1
        if low == first.size:
            break
        if low < high:
            gained = walk.gain(progress[low:high], step)
            passed.note(step, low * members, progress[low:high].ravel(), gained.ravel())
    return passed.times()


class Envelope(NamedTuple):
    """One film with what the lot leaves open: bands of (n,) over ``time``."""

    time: FloatArray  # [s]
    conversion: Interval  # [1]
    glass_transition: Interval  # [K]
    temperature: FloatArray  # [K]


def envelope(resin: Resin, history: History, *, peroxide_percent: float | None = None) -> Envelope:
    """Conversion and glass transition of one path, as nine of ten lots would have them.

    ``history`` is one path (n,). The likely lot is the resin as it stands.
    """
    dose = resin.dose_factor(peroxide_percent)
    several = [Lot(each.resin, each.factor * dose) for each in lots(resin, FEWEST)]
    paths = History(history.time, np.tile(history.temperature, (len(several), 1)))
    crowd = cures(resin, paths, several)
    likely = cure(resin, history, peroxide_percent=peroxide_percent)

    def spread(values: FloatArray, middle: FloatArray) -> Interval:
        low, high = np.quantile(values, (EARLY, LATE), axis=0, method="hazen")
        centre = np.interp(crowd.time, likely.time, middle)
        return Interval(np.minimum(low, centre), centre, np.maximum(high, centre))

    return Envelope(
        crowd.time,
        spread(crowd.conversion, likely.conversion),
        spread(crowd.glass_transition, likely.glass_transition),
        crowd.temperature[0],
    )
