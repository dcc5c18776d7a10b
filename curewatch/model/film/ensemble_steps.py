"""An ensemble on its paths: tables and temperatures for one length of step, and the stepping past its marks.

A film goes by its age until diffusion matters, then by itself
(:mod:`curewatch.model.film.under_way`). So do layers with their own heat, from their laying. Both go in
short steps while they react, and in long ones once they are calm: what is left takes days.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.early import Entries, early
from curewatch.model.film.equivalent_temperature import EquivalentTemperature, on_rows, parts_of, warmth
from curewatch.model.film.film import History, at_times
from curewatch.model.film.flow_map import LEVEL, FlowMap, SingleArray, Slant, flow_map, step_of
from curewatch.model.film.heated_stepping import (
    HEATED_HALVINGS,
    HEATED_LIMIT,
    Ageing,
    HeatedStepper,
    Reacting,
    halved,
    lag,
    slopes_of,
    stages,
)
from curewatch.model.film.lots import Lot
from curewatch.model.film.running_sum import filled, running
from curewatch.model.film.stepping import Stepper
from curewatch.model.film.under_way import Calm, Mark, Route, UnderWay, on_paths
from curewatch.model.mass.buildup import Buildup
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.physics.heat_balance import RisingCapacity
from curewatch.units import FloatArray

ROOM = 298.15  # K
LONG = 900.0  # s, of a calm start
LONGEST = 3600.0  # s, of one that is followed when next to nothing goes on: less than STILL in a long step
STILL = 0.0003  # conversion
RESTLESS = 0.0006  # conversion in such a step: it was warmed, and that step is taken in shorter ones
CALM_FROM, CALM_GAIN = 0.65, 0.01  # conversion that all have passed; most of them gain in a short step
LUKEWARM = 3.0  # K, of a calm layer above its surface
COOL = 0.5  # K, of a layer above its surface: it still cools too fast to be told in long steps
STEP_ON_WARM, HOT_BELOW = 112.5, 40.0  # s, K: of a layer on one that may run away under it
GRID = 0.25  # K between temperatures at which a moving mark is worked out
HOTTEST, COOLEST = 120.0, 10.0  # K, how much warmer or colder than its surface a layer may pass it
StepArray = NDArray[np.intp]
Level = Callable[[Resin, FloatArray], FloatArray]


class Heat(NamedTuple):
    """What an ensemble needs to know of its own heat."""

    buildup: Buildup
    air: FloatArray | None = None  # (members, n), in which it is laid; as warm as its surface if none [K]
    ageing: Ageing | None = None  # by a maker's statement
    fine: bool = False  # in short steps: the warmth itself is asked for, and not times alone


class WantedMarks(NamedTuple):
    """What is asked for: conversions, rising, and levels that move with the temperature."""

    conversions: FloatArray
    moving: tuple[Level, ...]
    ends: NDArray[np.bool_]  # which of all of them a layer passes with its quickest part
    moot: dict[int, tuple[int, ...]]  # of which nobody asks once all of these are passed


class Passed(NamedTuple):
    """What became of every start and member."""

    times: FloatArray  # (marks, starts, members), from the start; nan where it does not come [s]
    aged: FloatArray | None = None  # (starts, members), when the age of the statement is reached [s]
    peak: FloatArray | None = None  # (starts, members), highest temperature of a layer [K]


class RateTable(NamedTuple):
    """The steps of an ensemble's paths, all of one length."""

    resin: Resin
    table: FlowMap
    parts: FlowMap  # of a part of a step, where the temperature swings; the same where none does
    lot: NDArray[np.intp]  # (members,)
    warmth: EquivalentTemperature
    fresh: SingleArray  # (members,), progress of the fresh mix [1]
    edge: FloatArray  # (steps + 1, members), temperature where steps meet [K]
    heat: "_Laid | None" = None

    @property
    def step(self) -> float:
        """Length of a step. [s]"""
        return self.table.step

    @property
    def steps(self) -> int:
        """How many there are."""
        return int(self.edge.shape[0]) - 1

    @property
    def end(self) -> FloatArray:
        """Temperature at the end of each step. (steps, members) [K]"""
        return self.edge[1:]

    def stepper(self) -> Stepper | HeatedStepper:
        """What carries its films or layers over a step."""
        if self.heat is None:
            return Stepper((self.table, self.parts), self.lot, self.warmth)
        buildup, ageing = self.heat.buildup, self.heat.ageing
        found = stages(self.resin, buildup, self.step), ageing, buildup.bend(self.resin)
        return HeatedStepper(self._reacting(self.heat), self.warmth.steady, self.edge, found)

    def onward(
        self, stepper: Stepper | HeatedStepper, state: SingleArray
    ) -> tuple[Stepper | HeatedStepper, SingleArray]:
        """What carries them on in these steps, and the state (rows, films) that another stepper left."""
        mine = self.stepper()
        if isinstance(mine, HeatedStepper) and isinstance(stepper, HeatedStepper):
            return mine, mine.taken_over(state, stepper)
        return mine, state

    def begun(self, stepper: Stepper | HeatedStepper, first: StepArray) -> SingleArray:
        """State (rows, starts * members) of all that is laid at these steps (starts,), rising.

        What lies below a layer has been followed from its own laying to each of them.
        """
        members = np.arange(self.lot.size)
        if isinstance(stepper, Stepper) or self.heat is None:
            return np.tile(self.fresh, first.size)[None]
        above, last = self.heat.above, len(stepper.stages) - 1
        if not last:
            return stepper.lay(0, np.tile(members, first.size), above[first].ravel())
        below = self._beneath(stepper, first, self.heat)
        return stepper.lay(last, np.tile(members, first.size), above[first].ravel(), below)

    def _beneath(self, stepper: HeatedStepper, first: StepArray, heat: "_Laid") -> SingleArray:
        """What lies below as it is at each of these steps, stepped once."""
        members, found, state = np.arange(self.lot.size), list[SingleArray](), None
        laid = [int(first[0]) + stage.begin for stage in stepper.stages[:-1]]
        if laid[0] < 0:
            raise OutOfValidity("layer below in s", laid[0] * self.step, "within the paths", "a stepping")
        for step in range(laid[0], int(first[-1]) + 1):
            for stage in (stage for stage, begin in enumerate(laid) if begin == step):
                state = stepper.lay(stage, members, heat.above[step], state)
            assert state is not None
            if step == first[len(found)]:
                found.append(state.copy())
            stepper.advance(state, members + step * members.size)
        return np.concatenate(found, axis=1)

    def _reacting(self, heat: "_Laid") -> list[Reacting]:
        """The nodes of each resin, the lowest first."""
        buildup, found, begin = heat.buildup, list[Reacting](), 0
        for ply, nodes, rise in zip(buildup.plies, buildup.nodes(), buildup.rises(self.resin), strict=True):
            end, lot, fresh = begin + nodes, self.lot, self.fresh
            table = heat.tables.get(ply.lot, self.table) if ply.lot else self.table
            if ply.lot:
                lot, fresh = np.zeros_like(lot), np.full_like(fresh, -ply.lot.resin.kinetics.inhibitor)
            if found and found[-1].table is table and found[-1].rise == rise:
                found[-1] = found[-1]._replace(nodes=slice(found[-1].nodes.start, end))
            else:
                found.append(Reacting(slice(begin, end), table, lot, fresh, rise))
            begin = end
        return found

    def route(self, levels: list[Mark], history: History, begin: FloatArray, duration: float) -> Route:
        """What films go by, laid at ``begin`` (starts,) and followed for ``duration``. [s]"""
        last = np.ceil((begin + duration) / self.step - 1e-9).astype(np.intp)
        return Route(self.stepper(), self.edge, self.step, levels, history, begin, last, self.resin.law())


class _Laid(NamedTuple):
    """A build-up on the paths of an ensemble."""

    buildup: Buildup
    above: SingleArray  # (steps, members), of the air above the surface where each step begins [K]
    ageing: Ageing | None
    tables: dict[Lot, FlowMap]  # of what lies below and is another resin


class Ensemble(NamedTuple):
    """Films or layers that differ in path and lot."""

    resin: Resin
    history: History  # temperature (members, n)
    lots: list[Lot]
    lot: NDArray[np.intp]  # (members,)
    heat: Heat | None = None

    @property
    def short(self) -> float:
        """A step that it can take while it reacts. [s]"""
        warmest = float(self.history.temperature.max())
        if self.heat is None:
            return step_of(self.lots, warmest)
        warmest = max(warmest, ROOM)  # so that paths have one step by themselves and beside warmer ones
        found = step_of([*self.lots, *self._below()], warmest, HEATED_LIMIT, HEATED_HALVINGS)
        if self.heat.buildup.before or self.heat.fine:
            return min(found, STEP_ON_WARM)
        return halved(self.lots, self.heat.buildup, warmest, found)

    def _below(self) -> list[Lot]:
        """Of what lies below and is another resin."""
        return [] if self.heat is None else [ply.lot for ply in self.heat.buildup.before if ply.lot]

    def rate_table(self, step: float, known: EquivalentTemperature | None = None) -> RateTable:
        """Its paths in steps of this length [s]; ``known`` of shorter steps spares their moments."""
        history, resin = self.history, self.lots[0].resin
        count = max(1, int(np.ceil(float(history.time[-1]) / step - 1e-9)))
        edge: FloatArray = step * np.arange(count + 1, dtype=float)
        at_edges = on_rows(history, edge)
        activation, film = resin.kinetics.energy_2 / GAS_CONSTANT, self.heat is None
        met = warmth(history, edge, at_edges, activation, swings=film, known=known)
        slopes = (LEVEL,) if self.heat is None else slopes_of(resin, self.heat.buildup, step)
        table = self._table(self.lots, step, slopes[-1])
        swinging = met.swings.step.size > 0
        return RateTable(
            self.resin,
            table,
            self._table(self.lots, step / parts_of(step)) if swinging else table,
            self.lot,
            met,
            np.array([-each.resin.kinetics.inhibitor for each in self.lots], np.float32)[self.lot],
            at_edges,
            None if self.heat is None else self._laid(self.heat, edge, at_edges, slopes),
        )

    def _table(self, lots: list[Lot], step: float, slope: Slant = LEVEL) -> FlowMap:
        warmth = self.history.temperature
        hot = HOT_BELOW if self.heat is not None and self.heat.buildup.before else 0.0
        return flow_map(lots, float(warmth.min()), float(warmth.max()) + hot, step, slope)

    def _laid(self, heat: Heat, edge: FloatArray, at_edges: FloatArray, slopes: tuple[Slant, ...]) -> _Laid:
        above = np.zeros((edge.size - 1, at_edges.shape[1]), np.float32)
        if heat.air is not None:
            air = History(self.history.time, np.atleast_2d(heat.air))
            above[:] = on_rows(air, edge[:-1]) - at_edges[:-1]
        step, plies = float(edge[1]), zip(heat.buildup.before, slopes, strict=False)
        tables = {ply.lot: self._table([ply.lot], step, slope) for ply, slope in plies if ply.lot}
        return _Laid(heat.buildup, above, heat.ageing, tables)


def passed(ensemble: Ensemble, begin: FloatArray, duration: float, marks: WantedMarks) -> Passed:
    """When each start and member passes each mark. [s]

    ``begin`` (starts,) [s]; what is found is (marks, starts, members) [s].
    """
    ensemble, begin = _cut(ensemble, begin, duration)
    return (
        _films(ensemble, begin, duration, marks)
        if ensemble.heat is None
        else _layers(ensemble, begin, duration, marks)
    )


def _films(ensemble: Ensemble, begin: FloatArray, duration: float, marks: WantedMarks) -> Passed:
    """Each film by its age as far as that goes, then in steps of the flow map until its last mark."""
    short = ensemble.rate_table(ensemble.short)
    members, enter = ensemble.lot.size, np.round(begin / short.step).astype(np.intp)
    levels, coldest = _levels(ensemble, short, marks), short.end.min(axis=0)
    moving = levels[marks.conversions.size :]
    lowest = np.min([np.ones(members), *(each.at(coldest - GRID) for each in moving)], axis=0)
    known = early(
        ensemble.lots,
        ensemble.lot,
        (short.warmth.steady, short.step),
        (enter, round(LONG / short.step)),
        (marks.conversions, lowest),
    )
    times = np.full((marks.ends.size, begin.size * members), np.nan)
    times[: marks.conversions.size] = known.times.reshape(-1, begin.size * members)
    step = known.step.ravel()
    film = np.flatnonzero(step < short.steps)
    entries = Entries(film, step[film], known.progress.ravel()[None, film])
    route = short.route(levels, ensemble.history, begin, duration)
    left = UnderWay(route, entries, times).go(_calm_in(short.step))
    if left.film.size:
        long = ensemble.rate_table(LONG, short.warmth).route(levels, ensemble.history, begin, duration)
        UnderWay(long, left, times).go()
    times[times > duration] = np.nan
    return Passed(times.reshape(-1, begin.size, members))


def _layers(ensemble: Ensemble, begin: FloatArray, duration: float, marks: WantedMarks) -> Passed:
    """Each layer from its laying in short steps, and in long ones from where it is calm to its last mark."""
    assert ensemble.heat is not None
    short, ageing = ensemble.rate_table(ensemble.short), ensemble.heat.ageing
    members, enter = ensemble.lot.size, np.round(begin / short.step).astype(np.intp)
    levels = _levels(ensemble, short, marks)
    if ensemble.heat.buildup.nodes()[-1] > 1:
        levels = [
            each._replace(of="quickest" if end else "slowest")
            for each, end in zip(levels, marks.ends, strict=True)
        ]
    if ageing:
        levels.append(Mark(np.array([ageing.limit]), of="age"))
    route = short.route(levels, ensemble.history, begin, duration)
    assert isinstance(route.stepper, HeatedStepper)
    state = short.begun(route.stepper, enter)
    known = short.warmth._replace(steady=short.warmth.steady[:0].copy())  # read by the stepper already
    del short  # with its paths: 10 MB of a quick resin's
    films = np.arange(begin.size * members)
    times, peak = np.full((len(levels), films.size), np.nan), np.zeros(films.size)
    under_way = UnderWay(route, Entries(films, np.repeat(enter, members), state), times, peak)
    left, stepper = under_way.go(_calm_in(route.step)), route.stepper
    del under_way, route  # 20 MB
    if left.film.size:
        long = ensemble.rate_table(LONG, known).route(levels, ensemble.history, begin, duration)
        assert isinstance(long.stepper, HeatedStepper)
        left = left._replace(state=long.stepper.taken_over(left.state, stepper))
        rest = UnderWay(long, left, times, peak).go()
        if ageing and rest.film.size:
            age = long.stepper.seen(rest.state).age
            assert age is not None
            when: FloatArray = LONG * rest.step.astype(float)
            times[-1, rest.film] = _aged(ensemble, begin, (rest.film, when, age))
    times[times > duration] = np.nan
    several = times.reshape(-1, begin.size, members)
    peaks = stepper.temperature(peak).reshape(begin.size, members)
    return Passed(several[: marks.ends.size], several[-1] if ageing else None, peaks)


def _aged(
    ensemble: Ensemble, begin: FloatArray, films: tuple[StepArray, FloatArray, SingleArray]
) -> FloatArray:
    """When layers that have cooled, and passed all else, come of age, on the path of their surface but later.

    ``films``: which, at which time [s], and how old they were then [s]; what is found is (films,) [s].
    """
    heat, history, (film, now, age) = ensemble.heat, ensemble.history, films
    assert heat is not None
    assert heat.ageing is not None
    ageing, later = heat.ageing, lag(ensemble.resin, heat.buildup)
    start, member = np.divmod(film, history.temperature.shape[0])
    inverse = 1.0 / ageing.reference - 1.0 / history.temperature
    total = running(history.time, np.exp(ageing.energy / GAS_CONSTANT * inverse))
    levels = np.full((begin.size, len(total)), np.nan)
    older = on_paths(History(history.time, total), now[None] - later, member)[0]
    levels[start, member] = older + ageing.limit - age
    return np.asarray(filled(history.time, total, levels)[start, member] + later - begin[start])


def _levels(ensemble: Ensemble, steps: RateTable, marks: WantedMarks) -> list[Mark]:
    """Every mark, where it lies by temperature."""
    hot = HOTTEST if ensemble.heat else 0.0
    grid = np.arange(
        steps.end.min() - 2.0 * GRID - COOLEST * bool(hot), steps.end.max() + 3.0 * GRID + hot, GRID
    )
    found = [Mark(marks.conversions[at : at + 1]) for at in range(marks.conversions.size)]
    found += [Mark(level(ensemble.resin, grid), grid[0], GRID) for level in marks.moving]
    return [each._replace(moot=marks.moot.get(mark, ())) for mark, each in enumerate(found)]


def _calm_in(step: float) -> Calm:
    """When a film goes on in long steps. [s]"""
    return Calm(CALM_FROM, CALM_GAIN * step / LONG, LUKEWARM, LONG)


def _cut(ensemble: Ensemble, begin: FloatArray, duration: float) -> tuple[Ensemble, FloatArray]:
    """The paths from the first layer's laying to the end of the last stepping, and when starts begin."""
    (time, paths), before = ensemble.history, () if ensemble.heat is None else ensemble.heat.buildup.before
    first = LONG * np.floor((float(begin[0]) + min((ply.at for ply in before), default=0.0)) / LONG)
    low = max(int(np.searchsorted(time, first, side="right")) - 1, 0)
    if first < 0.0 or time[low] != first:
        low, first = 0, 0.0
    kept = slice(low, int(np.searchsorted(time, float(begin[-1]) + duration + LONG)) + 1)
    heat = ensemble.heat
    if heat is not None and heat.air is not None:
        heat = heat._replace(air=np.atleast_2d(heat.air)[:, kept])
    return ensemble._replace(history=History(time[kept] - first, paths[:, kept]), heat=heat), begin - first


class EnsemblePath(NamedTuple):
    """An ensemble laid at one moment. Arrays (members, n) over ``time`` (n,) from that moment. [s]"""

    time: FloatArray
    slowest: FloatArray  # progress of the slowest part [1]
    quickest: FloatArray
    excess: FloatArray  # of the warmest part above the surface [K]


def followed(ensemble: Ensemble, start: float = 0.0) -> EnsemblePath:
    """Every step of an ensemble laid at ``start`` [s]; in long steps while all are calm, and no longer."""
    rate_tables, steps = _RateTables(ensemble), sorted({ensemble.short, LONG, LONGEST})
    step, longer = steps[0], steps[1]
    begin, members = step * round(start / step), np.arange(ensemble.lot.size)
    stepper = rate_tables[step].stepper()
    state = rate_tables[step].begun(stepper, np.array([round(begin / step)]))
    now, found = begin, list[tuple[Any, ...]]()
    while True:
        slow, quick, _, excess, _ = stepper.seen(state)
        above = np.zeros_like(slow) if excess is None else excess
        found.append((now - begin, *(each.copy() for each in (slow, quick, above))))
        if now >= float(ensemble.history.time[-1]) - 1e-6:
            break
        if step < longer and now % longer == 0.0 and _still(found, STILL if longer == LONGEST else CALM_GAIN):
            step, longer = longer, LONGEST
            stepper, state = rate_tables[step].onward(stepper, state)
        kept = state.copy() if step == LONGEST else None
        stepper.advance(state, members + round(now / step) * members.size)
        if kept is not None and float((stepper.seen(state).quickest - found[-1][2]).max()) > RESTLESS:
            step = LONG  # it was warmed
            stepper, state = rate_tables[step].onward(stepper, kept)
            stepper.advance(state, members + round(now / step) * members.size)
        now += step
    time, *columns = (np.array(each) for each in zip(*found, strict=True))
    slowest, quickest, stored = (each.T.astype(float) for each in columns)
    return EnsemblePath(time, slowest, quickest, _warmer(ensemble, begin + time, stored))


def _still(found: list[tuple[Any, ...]], gain: float) -> bool:
    """Whether the slowest part is far on and gained less in the last step, and nothing is much warmer."""
    *_, (_, before, _, _), (_, slow, _, above) = [found[0], *found[-2:]]
    far = slow.min() > CALM_FROM and float((slow - before).max()) < gain
    return bool(far and np.abs(above).max() < COOL)


class _RateTables(dict[float, RateTable]):
    """Of one ensemble by their step [s], made when they are asked for."""

    def __init__(self, ensemble: Ensemble) -> None:
        super().__init__()
        self._ensemble = ensemble

    def __missing__(self, step: float) -> RateTable:
        self[step] = found = self._ensemble.rate_table(step)
        return found


def _warmer(ensemble: Ensemble, time: FloatArray, excess: FloatArray) -> FloatArray:
    """What has so much stored beyond its surface is so much warmer. (members, n) [K] -> [K]"""
    if ensemble.heat is None:
        return excess
    capacity = RisingCapacity.of(REFERENCE_TEMPERATURE, ensemble.heat.buildup.bend(ensemble.resin))
    surface = at_times(ensemble.history, time)
    return np.asarray(capacity.temperature(capacity.stored(surface) + excess) - surface)
