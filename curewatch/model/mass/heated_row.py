"""A row of cells that react and hand heat to each other: Runge–Kutta that sees no conduction.

Theory of operation. Conduction along a row is linear, so over any step it is known exactly (a matrix
exponential). Seen from where conduction alone would have carried the row, only the reaction is left to
integrate: Runge–Kutta of fourth order, whose heat goes in as three kicks, at the beginning, in the
middle and at the end of a step, with exact conduction between them. The fifth rate, which the next
step begins with, gives a solution of third order beside it; from their difference follows how long a
step may be. Steps lie on a ladder, so that few exponentials are needed.

Law kept: heat made = heat stored + heat given off; the kicks and the conduction each keep it exactly.

Source: Lawson, SIAM J. Numer. Anal. 4:372 (1967); with the embedded third order Balac and Mahé, Comput.
Phys. Commun. 184:1211 (2013) (both from memory). tests/unit/test_pot.py and test_laminate.py check it
against SciPy's tight solver.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.milestones import crossing
from curewatch.model.mass.runge_kutta import refine
from curewatch.physics.heat_balance import Chain, Conduction, RisingCapacity, conduction
from curewatch.units import FloatArray

LONGEST = 480.0  # s; the air outside is looked at twice a step
RUNG = math.sqrt(2.0)  # from one step of the ladder to the next
RUNGS = 40  # the shortest step is LONGEST / RUNG**RUNGS: half a millisecond
FIRST_STEP = LONGEST / RUNG**16  # 1.9 s
TOLERANCE = 2e-4  # of conversion a step, some 0.05 K of self-heating
INHIBITED = 0.1  # of that until set: the little that is left at the end of induction decides when it gels
SET = 0.05  # conversion
CAUTION = 0.75  # of the step that would just do: fewer are tried in vain
AFTER_GEL = 20.0  # of the tolerance: 1 K a step, for a peak to 3 K
WHOLE_RISE = 200.0  # K that count as much as full conversion in what a step may miss
FEW = (
    12  # cells, of which the law by plain numbers is quicker than by arrays: 8 take half as long, 16 as long
)
INNER = 33  # points of a step in which a threshold is passed
MOST_STEPS = 100_000
NOUGHT, HALF, ONE = (np.asarray(each) for each in (0.0, 0.5, 1.0))


class Slab(NamedTuple):
    """State through time: (n,), (n, reacting cells), (n, cells)."""

    time: FloatArray
    progress: FloatArray
    rate: FloatArray  # of progress (n, reacting cells) [1/s]
    temperature: FloatArray
    given_off: float  # heat through both ends, per area or body as the chain is [J]

    def passed(self, threshold: float, choose: Callable[..., FloatArray]) -> float:
        """When the cell that ``np.max`` or ``np.min`` chooses passes a threshold; nan if never. [s]

        ``choose`` takes (steps, cells) to (steps,).
        """
        reached = np.flatnonzero(choose(self.progress, axis=1) >= threshold)
        if reached.size == 0 or reached[0] == 0:
            return float("nan") if reached.size == 0 else float(self.time[0])
        last = int(reached[0])
        ends = (self.progress[last - 1], self.progress[last], self.rate[last - 1], self.rate[last])
        share, length = np.linspace(0.0, 1.0, INNER), self.time[last] - self.time[last - 1]
        inner = choose(refine(share[:, None], length, ends), axis=1)
        return crossing(self.time[last - 1] + share * length, inner, threshold)


class Reaction(NamedTuple):
    """How fast the reacting cells go, and how much that warms them; they are the last ones of the row."""

    rate: Callable[[FloatArray, FloatArray], FloatArray]
    rise: float  # dH/cp, adiabatic rise of full conversion [K]
    inhibited: bool
    tolerance: float  # of progress, all cells together, that a step may miss [1]
    capacity: RisingCapacity | None = None  # heat that reacting cells hold in place of temperature
    besides: Callable[[FloatArray, FloatArray], FloatArray] | None = None  # what moves beyond the chain
    gel: float = (
        math.inf
    )  # conversion after which only heat is asked for, and a step may miss AFTER_GEL times
    longest: float = LONGEST  # step; more where the air stays as it is [s]

    def allowed(self, progress: FloatArray) -> float:
        """How much a step from here may miss. [1] ``progress`` (cells,)."""
        cells = progress.tolist()
        if self.inhibited and min(cells) < SET:
            return INHIBITED * self.tolerance
        return self.tolerance * (AFTER_GEL if max(cells) >= self.gel else 1.0)


class _Cells:
    """The reacting cells, where they stand in a state, and how the reaction changes it.

    A state is one array: progress of the reacting cells, warmth of all, heat that the reaction has made
    in each reacting cell, and the temperature outside at both ends. Warmth is a temperature; where heat
    capacity rises it is what a reacting cell has stored.
    """

    def __init__(self, reaction: Reaction, reacting: int, cells: int) -> None:
        self.progress, self.warmth = slice(reacting), slice(cells, cells + reacting)
        self.all = slice(reacting, reacting + cells)
        self.made = slice(reacting + cells, 2 * reacting + cells)
        self.rise, self._reaction, self._inert = np.asarray(reaction.rise), reaction, cells - reacting
        self._counts = np.zeros(2 * reacting + cells + 2)  # of what two orders differ by
        self._counts[self.progress] = 0.1
        if reaction.besides is not None:
            self._counts[self.warmth] = 0.1 / WHOLE_RISE

    def state(self, progress: FloatArray, temperature: FloatArray, outside: FloatArray) -> FloatArray:
        """At the beginning of a step. [1], [K]"""
        found = np.concatenate((progress, temperature, np.zeros(progress.size), outside))
        if self._reaction.capacity is not None:
            found[self.warmth] = self._reaction.capacity.stored(found[self.warmth])
        return found

    def temperature(self, state: FloatArray) -> FloatArray:
        """Of all cells. [K]"""
        found = state[self.all].copy()
        if self._reaction.capacity is not None:
            found[self._inert :] = self._reaction.capacity.temperature(found[self._inert :])
        return found

    def speed(self, state: FloatArray) -> FloatArray:
        """How fast the reaction changes a state; what is left of an inhibitor makes no heat. [1/s], [K/s]"""
        progress, warmth, result = state[self.progress], state[self.warmth], np.zeros(state.size)
        stored, how = warmth, self._reaction
        if how.capacity is not None:
            warmth = how.capacity.temperature(stored)
        result[self.progress] = faster = how.rate(progress, warmth)
        heat = faster * self.rise
        if how.inhibited:
            heat *= progress > NOUGHT
        result[self.made] = heat
        result[self.warmth] = heat if how.besides is None else heat + how.besides(stored, warmth)
        return result

    def settle(self, before: FloatArray, after: FloatArray) -> FloatArray:
        """No cell cures further than wholly, and each gets the heat of what it gained; gives the excess."""
        progress = after[self.progress]
        over = np.maximum(progress - ONE, NOUGHT)
        progress -= over
        gained = np.maximum(progress, NOUGHT) - np.maximum(before[self.progress], NOUGHT)
        after[self.warmth] += self.rise * gained - (after[self.made] - before[self.made])
        return np.asarray(over)

    def amiss(self, whole: FloatArray, change: FloatArray, over: FloatArray) -> FloatArray:
        """What two orders differ by over a step, in conversion; warmth too, where more moves it. [1]"""
        missed = whole * change * self._counts
        missed[self.progress] += over
        return np.asarray(missed)


class _Stride(NamedTuple):
    """A step of one length, ready: half its conduction, and its shares as arrays of no dimension."""

    carry: FloatArray  # (state, state), applied from the right: what has reacted stays where it is
    drain: FloatArray  # (state,), heat that leaves meanwhile
    shares: tuple[FloatArray, ...]  # a sixth, a third, a half and the whole of the step [s]


class _Row(NamedTuple):
    state: FloatArray
    speed: FloatArray  # how fast the reaction changes the state [1/s], [K/s]


class _Trial(NamedTuple):
    row: _Row
    amiss: FloatArray  # (state,), difference of two orders, of what counts [1]
    given_off: float


def reaction(resin: Resin, factor: float, rise: float, tolerance: float = TOLERANCE) -> Reaction:
    """Prepare a resin whose lot and dose make it ``factor`` times as fast.

    ``factor`` [1], ``rise`` [K], ``tolerance`` [1].
    """
    law = resin.law(factor)
    each, many = law.at(math.exp), law.at(np.exp)

    def rate(progress: FloatArray, temperature: FloatArray) -> FloatArray:
        if progress.size > FEW:
            return np.asarray(many(np.minimum(np.maximum(progress, NOUGHT), ONE), temperature))
        cells = zip(progress.tolist(), temperature.tolist(), strict=True)
        return np.array([each(0.0 if a < 0.0 else a if a < 1.0 else 1.0, warmth) for a, warmth in cells])

    return Reaction(rate, rise, resin.kinetics.inhibitor > 0.0, tolerance)


class Regime:
    """A row as it is over a step: how it conducts and reacts, made ready for steps of any length."""

    def __init__(self, reaction: Reaction, chain: Chain, reacting: int) -> None:
        self.reaction, self._reacting = reaction, reacting
        self.cells = _Cells(reaction, reacting, chain.capacity.size)
        self._moved, self._strides = conduction(chain), dict[float, _Stride]()

    def stride(self, length: float) -> _Stride:
        """A step of this length. [s]"""
        if length not in self._strides:
            self._strides[length] = _stride(self._moved, length, self._reacting)
        return self._strides[length]

    def row(self, progress: FloatArray, temperature: FloatArray, outside: FloatArray) -> _Row:
        """At the beginning of a step: (reacting,), (cells,) and (2,) outside. [1], [K], [K]"""
        state = self.cells.state(progress, temperature, outside)
        return _Row(state, self.cells.speed(state))


Course = Callable[[FloatArray, FloatArray], Regime]  # temperatures of all cells and outside [K]


def march(
    course: Course,
    begin: tuple[FloatArray, FloatArray],
    outside: Callable[[float], FloatArray],
    span: tuple[float, float],
    until: float = math.inf,
) -> Slab:
    """Carry a row of cells from the beginning to the end of a span of time.

    Parameters
    ----------
    course : callable
        What holds for a step about these temperatures of all cells and outside; one object for what is alike.
    begin : (ndarray (reacting,), ndarray (cells,))
        Progress and temperature at the beginning. [1], [K]
    outside : callable
        Time -> temperatures at the two ends (2,), looked at twice a step. [s -> K]
    span : (float, float)
        [s]
    until : float
        Progress that ends it sooner, once the furthest cell has come so far. [1]

    Returns
    -------
    Slab
        At every step, the start included.

    Raises
    ------
    OutOfValidity
        It took more steps than are allowed.
    """
    (now, end), (progress, temperature), around = span, begin, outside(span[0])
    regime = course(temperature, around)
    row = regime.row(progress, temperature, around)
    track, given_off, step = [(now, progress, row.speed[regime.cells.progress], temperature)], 0.0, FIRST_STEP
    for _ in range(MOST_STEPS):
        length, cells = min(step, end - now), regime.cells
        air = outside(now + 0.25 * length), outside(now + 0.75 * length)
        trial = _tried(cells, regime.stride(length), row, air)
        allowed = regime.reaction.allowed(row.state[cells.progress])
        missed = math.sqrt(trial.amiss.dot(trial.amiss)) / allowed + 1e-9
        if missed <= 1.0:
            now, row, given_off = now + length, trial.row, given_off + trial.given_off
            before, temperature, progress = (
                temperature,
                cells.temperature(row.state),
                row.state[cells.progress],
            )
            track.append((now, progress, row.speed[cells.progress], temperature))
            if end - now < 1e-6 or max(progress.tolist()) >= until:
                time, *states = (np.array(column) for column in zip(*track, strict=True))
                return Slab(time, states[0], states[1], states[2], given_off)
            middle = temperature + HALF * (temperature - before)  # of the next step, if it is like this one
            after = course(middle, outside(min(now + 0.5 * length, end)))
            if after is not regime:
                regime, row = after, after.row(progress, temperature, air[1])
        step = _on_the_ladder(length * min(max(CAUTION * missed**-0.25, 0.2), 2.0), regime.reaction.longest)
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "a row of cells")


def _on_the_ladder(step: float, longest: float) -> float:
    """The longest step of the ladder that is no longer than this. [s]"""
    rung = math.ceil(math.log(longest / step, RUNG) - 1e-9)
    return float(longest / RUNG ** min(max(rung, 0), RUNGS))


def _stride(moved: Conduction, length: float, reacting: int) -> _Stride:
    half = moved.over(0.5 * length)
    carry, warm = np.eye(2 * reacting + half.drain.size + 2), slice(reacting, reacting + half.drain.size)
    carry[warm, warm], carry[warm, -2:] = half.spread, half.pushed
    drain = np.concatenate((np.zeros(reacting), half.drain, np.zeros(reacting), half.drain_outside))
    return _Stride(carry.T, drain, tuple(np.asarray(length / part) for part in (6.0, 3.0, 2.0, 1.0)))


def _tried(cells: _Cells, stride: _Stride, row: _Row, air: tuple[FloatArray, FloatArray]) -> _Trial:
    """One step: four new rates, and the row carried twice by half a step's conduction."""
    (carry, drain, (sixth, third, middle, whole)), speed = stride, cells.speed
    state, first = row
    state[-2:] = air[0]
    early = sixth * first
    begun, carried, warming = state + early, state.dot(carry), first.dot(carry)
    carried[-2:] = air[1]
    second = speed(carried + middle * warming)
    again = speed(carried + middle * second)
    fourth = speed((carried + whole * again).dot(carry))
    midway, late = third * (second + again), sixth * fourth
    halfway = carried + sixth * warming
    halfway += midway
    end = halfway.dot(carry)
    end += late
    over = cells.settle(state, end)
    fifth = speed(end)
    amiss = cells.amiss(whole, fourth - fifth, over)
    return _Trial(_Row(end, fifth), amiss, float(drain.dot(begun + halfway)))
