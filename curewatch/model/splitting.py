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
from curewatch.model.pace import Pace
from curewatch.physics.heat_balance import Chain, propagators
from curewatch.units import FloatArray

LONGEST = 120.0  # s
RUNGS = 12  # the shortest step is LONGEST / 2**(RUNGS - 1)
RISE = 5.0  # K of self-heating a step may bring; holds the peak within 0.3 K (measured)
ADVANCE = 0.05  # of conversion a step may bring
MOST_STEPS = 500_000


class Slab(NamedTuple):
    """State through time: (n,) and (n, cells)."""

    time: FloatArray
    progress: FloatArray
    temperature: FloatArray


class Reaction(NamedTuple):
    """How fast each cell goes, and how much that warms it. Cells that are no resin have no rise."""

    pace: Pace
    rise: float | FloatArray  # dH/cp, adiabatic rise of full conversion, per cell [K]


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
    state : (ndarray, ndarray), each of shape (cells,)
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
    times, states = [now], [state]
    slope = reaction.pace.at(progress, temperature)
    for _ in range(MOST_STEPS):
        step, (spread, pushed) = _rung(reaction, slope, ladder, ready)
        if now + step > end:
            step = end - now
            spread, pushed = propagators(chain, [step / 2.0])[0]
        temperature = spread @ temperature + pushed @ outside(now + 0.25 * step)
        progress, temperature = _react(reaction, progress, temperature, step)
        temperature = spread @ temperature + pushed @ outside(now + 0.75 * step)
        now += step
        times.append(now)
        states.append((progress, temperature))
        if end - now < 1e-6:
            return Slab(
                np.array(times),
                np.array([state[0] for state in states]),
                np.array([state[1] for state in states]),
            )
        slope = reaction.pace.at(progress, temperature)
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "Strang splitting")


def _rung(
    reaction: Reaction, slope: FloatArray, ladder: list[float], ready: list[tuple[FloatArray, FloatArray]]
) -> tuple[float, tuple[FloatArray, FloatArray]]:
    fastest = max(float(np.max(slope * reaction.rise)) / RISE, float(np.max(slope)) / ADVANCE, 1e-12)
    rung = min(max(0, math.ceil(math.log2(LONGEST * fastest))), RUNGS - 1)
    return ladder[rung], ready[rung]


def _react(
    reaction: Reaction, progress: FloatArray, temperature: FloatArray, step: float
) -> tuple[FloatArray, FloatArray]:
    """One step in which nothing leaves a cell: third order (Ralston)."""
    positive = np.maximum(progress, 0.0)

    def rate(at: FloatArray) -> FloatArray:
        return reaction.pace.at(at, temperature + reaction.rise * (np.maximum(at, 0.0) - positive))

    first = rate(progress)
    second = rate(progress + 0.5 * step * first)
    third = rate(progress + 0.75 * step * second)
    after = progress + step / 9.0 * (2.0 * first + 3.0 * second + 4.0 * third)
    after = np.minimum(after, 1.0)
    return after, temperature + reaction.rise * (np.maximum(after, 0.0) - positive)
