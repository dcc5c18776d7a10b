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
from curewatch.physics.cure_kinetics import RateLaw
from curewatch.physics.heat_balance import Chain, Conduction, conduction
from curewatch.units import FloatArray

LONGEST = 480.0  # s; the air outside is looked at twice a step
RUNG = math.sqrt(2.0)  # from one step of the ladder to the next
RUNGS = 40  # the shortest step is LONGEST / RUNG**RUNGS: half a millisecond
FIRST = 16  # rung of the first step: 1.9 s
TOLERANCE = 2e-4  # of conversion a step, some 0.05 K of self-heating
INHIBITED = 0.1  # of that until set: the little that is left at the end of induction decides when it gels
SET = 0.05  # conversion
CAUTION = 0.75  # of the step that would just do: fewer are tried in vain
INNER = 33  # points of a step in which a threshold is passed
MOST_STEPS = 100_000
NOUGHT, TENTH, ONE = np.asarray(0.0), np.asarray(0.1), np.asarray(1.0)


class Slab(NamedTuple):
    """State through time: (n,), (n, reacting cells), (n, cells)."""

    time: FloatArray
    progress: FloatArray
    rate: FloatArray  # of progress (n, reacting cells) [1/s]
    temperature: FloatArray
    given_off: float  # heat through both ends, per area or body as the chain is [J]

    def passed(self, threshold: float, choose: Callable[..., FloatArray]) -> float:
        """When the cell that ``np.max`` or ``np.min`` chooses passes a threshold; nan if never. [s]"""
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

    def allowed(self, progress: FloatArray) -> float:
        """How much a step from here may miss. [1]"""
        return self.tolerance * (INHIBITED if self.inhibited and progress.min() < SET else 1.0)


class _Cells:
    """The reacting cells, where they stand in a state, and how the reaction changes it.

    A state is one array: progress of the reacting cells, temperature of all, and that outside at both ends.
    """

    def __init__(self, reaction: Reaction, reacting: int, cells: int) -> None:
        self.progress, self.warmth = slice(reacting), slice(cells, cells + reacting)
        self.all = slice(reacting, reacting + cells)
        self.rise = np.asarray(reaction.rise)
        self._rate, self._inhibited = reaction.rate, reaction.inhibited

    def speed(self, state: FloatArray) -> FloatArray:
        """How fast the reaction changes a state; what is left of an inhibitor makes no heat. [1/s], [K/s]"""
        progress, result = state[self.progress], np.zeros(state.size)
        result[self.progress] = faster = self._rate(progress, state[self.warmth])
        np.multiply(faster, self.rise, out=result[self.warmth])
        if self._inhibited:
            result[self.warmth] *= progress > NOUGHT
        return result

    def settle(self, before: FloatArray, after: FloatArray, kicks: FloatArray) -> FloatArray:
        """No cell cures further than wholly, and each gets the heat of what it gained; gives the excess."""
        progress = after[self.progress]
        over = np.maximum(progress - ONE, NOUGHT)
        progress -= over
        gained = np.maximum(progress, NOUGHT) - np.maximum(before[self.progress], NOUGHT)
        after[self.warmth] += self.rise * gained - kicks[self.warmth]
        return np.asarray(over)


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
    amiss: FloatArray  # difference of two orders in the reacting cells [1]
    given_off: float


def reaction(resin: Resin, factor: float, rise: float, tolerance: float = TOLERANCE) -> Reaction:
    """Prepare a resin whose lot and dose make it ``factor`` times as fast."""
    # numpy takes as long to make an array of a plain number as to multiply eight of them.
    law = RateLaw(*(np.asarray(each) for each in resin.law(factor))).at(np.exp)

    def rate(progress: FloatArray, temperature: FloatArray) -> FloatArray:
        return np.asarray(law(np.minimum(np.maximum(progress, NOUGHT), ONE), temperature), dtype=float)

    return Reaction(rate, rise, resin.kinetics.inhibitor > 0.0, tolerance)


def march(
    reaction: Reaction,
    chain: Chain,
    state: tuple[FloatArray, FloatArray],
    outside: Callable[[float], FloatArray],
    span: tuple[float, float],
) -> Slab:
    """Carry a row of cells from the beginning to the end of a span of time.

    Parameters
    ----------
    state : (ndarray (reacting,), ndarray (cells,))
        Progress and temperature at the beginning. [1], [K]
    outside : callable
        Time -> temperatures at the two ends (2,), looked at twice a step. [s -> K]
    span : (float, float)
        [s]

    Returns
    -------
    Slab
        At every step, the start included.
    """
    cells = _Cells(reaction, *map(len, state))
    moved, strides = conduction(chain), dict[float, _Stride]()
    (now, end), begin = span, np.concatenate((*state, outside(span[0])))
    row = _Row(begin, cells.speed(begin))
    track, given_off, step = [(now, *row)], 0.0, LONGEST / RUNG**FIRST
    for _ in range(MOST_STEPS):
        length = min(step, end - now)
        if length not in strides:
            strides[length] = _stride(moved, length, state[0].size)
        air = outside(now + 0.25 * length), outside(now + 0.75 * length)
        trial = _tried(cells, strides[length], row, air)
        missed = math.sqrt(trial.amiss.dot(trial.amiss)) / reaction.allowed(row.state[cells.progress]) + 1e-9
        if missed <= 1.0:
            now, row, given_off = now + length, trial.row, given_off + trial.given_off
            track.append((now, *row))
            if end - now < 1e-6:
                time, states, speeds = (np.array(column) for column in zip(*track, strict=True))
                progress, rate = states[:, cells.progress], speeds[:, cells.progress]
                return Slab(time, progress, rate, states[:, cells.all], given_off)
        step = _on_the_ladder(length * min(max(CAUTION * missed**-0.25, 0.2), 2.0))
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "a row of cells")


def _on_the_ladder(step: float) -> float:
    """The longest step of the ladder that is no longer than this. [s]"""
    rung = math.ceil(math.log(LONGEST / step, RUNG) - 1e-9)
    return float(LONGEST / RUNG ** min(max(rung, 0), RUNGS))


def _stride(moved: Conduction, length: float, reacting: int) -> _Stride:
    half = moved.over(0.5 * length)
    carry = np.eye(reacting + half.drain.size + 2)
    carry[reacting:-2, reacting:-2], carry[reacting:-2, -2:] = half.spread, half.pushed
    drain = np.concatenate((np.zeros(reacting), half.drain, half.drain_outside))
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
    over = cells.settle(state, end, early + midway + late)
    fifth = speed(end)
    amiss = (TENTH * whole) * (fourth - fifth)[cells.progress] + over
    return _Trial(_Row(end, fifth), amiss, float(drain.dot(begun + halfway)))
