"""Heat that is made and heat that moves, by turns: Strang splitting on a row of cells.

Theory of operation. Over half a step heat only moves (exactly, by a matrix exponential computed
beforehand); over a whole step each cell only reacts, as if nothing could leave it, so that its
temperature follows its conversion; then heat moves for the other half. The step halves as the
reaction speeds up, on a ladder of steps whose exponentials all stand ready.

Law kept: heat made = heat stored + heat given off; each of the three parts keeps it exactly.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.system import ResinSystem
from curewatch.model.pace import Pace, pace
from curewatch.physics.heat_balance import Chain, propagators
from curewatch.units import FloatArray

LONGEST = 240.0  # s
SET = (
    0.2  # conversion until which an inhibited resin keeps to half of that: its start must not be stepped over
)
RUNGS = 13  # the shortest step is the longest / 2**(RUNGS - 1)
CARE = 5.0  # K of self-heating a step may bring; holds the peak of a pot within 0.4 K (measured)
ADVANCE = 0.01  # of conversion a step may bring, for each kelvin of care
MOST_STEPS = 500_000


class Slab(NamedTuple):
    """State through time: (n,), (n, reacting cells), (n, cells)."""

    time: FloatArray
    progress: FloatArray
    temperature: FloatArray
    given_off: float  # heat through both ends, per area or body as the chain is [J]


class Reaction(NamedTuple):
    """How fast the reacting cells go, and how much that warms them; they are the last ones of the row."""

    pace: Pace
    rise: float  # dH/cp, adiabatic rise of full conversion [K]
    inhibited: bool
    care: float  # self-heating that a step may bring [K]


def reaction(system: ResinSystem, factor: float, rise: float, care: float = CARE) -> Reaction:
    """Prepare a system whose lot and dose make it ``factor`` times as fast."""
    return Reaction(pace(system, factor), rise, system.kinetics.inhibitor > 0.0, care)


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
        Time -> temperatures at the two ends (2,). [s -> K]
    span : (float, float)
        [s]

    Returns
    -------
    Slab
        At every step, the start included.
    """
    ladder = [LONGEST / 2**rung for rung in range(RUNGS)]
    ready = propagators(chain, [step / 2.0 for step in ladder])
    (progress, temperature), (now, end) = state, span
    times, rows, warmths, given_off = [now], [progress], [temperature], 0.0
    inert = temperature.size - progress.size
    fastest = float(np.max(reaction.pace.at(progress, temperature[inert:])))
    for _ in range(MOST_STEPS):
        rung = _rung(fastest, reaction)
        if reaction.inhibited and rung == 0 and progress.min() < SET:
            rung = 1
        step, half = ladder[rung], ready[rung]
        if now + step > end:
            step = end - now
            half = propagators(chain, [step / 2.0])[0]
        air = outside(now + 0.25 * step)
        given_off += float(half.drain @ temperature + half.drain_outside @ air)
        temperature = half.spread @ temperature + half.pushed @ air
        progress, gained, fastest = _react(reaction, progress, temperature[inert:], step)
        temperature[inert:] += reaction.rise * gained
        air = outside(now + 0.75 * step)
        given_off += float(half.drain @ temperature + half.drain_outside @ air)
        temperature = half.spread @ temperature + half.pushed @ air
        now += step
        times.append(now)
        rows.append(progress)
        warmths.append(temperature)
        if end - now < 1e-6:
            return Slab(np.array(times), np.array(rows), np.array(warmths), given_off)
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "Strang splitting")


def _rung(fastest: float, reaction: Reaction) -> int:
    """Which step of the ladder suits a reaction of this pace."""
    hurry = max(fastest * max(reaction.rise, 1.0 / ADVANCE) / reaction.care, 1e-12)
    return min(max(0, math.ceil(math.log2(LONGEST * hurry))), RUNGS - 1)


def _react(
    reaction: Reaction, progress: FloatArray, temperature: FloatArray, step: float
) -> tuple[FloatArray, FloatArray, float]:
    """One step in which nothing leaves a cell: progress, conversion gained, fastest rate.

    Ralston's third order: with the midpoint rule the gel of a runaway came half a minute late.
    """
    law, rise = reaction.pace.at, reaction.rise
    before = np.maximum(progress, 0.0)

    def rate(at: FloatArray) -> FloatArray:
        return law(at, temperature + rise * (np.maximum(at, 0.0) - before))

    first = law(progress, temperature)
    second = rate(progress + 0.5 * step * first)
    third = rate(progress + 0.75 * step * second)
    after = np.minimum(progress + step / 9.0 * (2.0 * first + 3.0 * second + 4.0 * third), 1.0)
    return after, np.maximum(after, 0.0) - before, float(third.max())
