"""What the temperature does within each step of a walk: its mean, its spread, which way it goes.

Mean and variance of a path are integrated exactly between the points of its history.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.film import History
from curewatch.units import FloatArray

SWING = 0.1  # K of standard deviation within a step: less errs by under 4e-5 of conversion
BASE = 285.0  # K, taken off before squares are summed


class Swings(NamedTuple):
    """Steps in which the temperature goes so far that the glass bends the rate, in the order of the steps."""

    step: NDArray[np.intp]
    member: NDArray[np.intp]
    early: FloatArray  # temperature that stands for the first half of the step [K]
    late: FloatArray  # and for the second [K]


class Warmth(NamedTuple):
    """What the steps of each member meet."""

    steady: FloatArray  # (steps, members), temperature at which a film goes as far, but for the glass [K]
    swings: Swings

    def part(self, members: NDArray[np.intp]) -> "Warmth":
        """The same for some of the members."""
        number = np.full(self.steady.shape[1], -1)
        number[members] = np.arange(members.size)
        kept = number[self.swings.member] >= 0
        step, member, early, late = self.swings
        swings = Swings(step[kept], number[member[kept]], early[kept], late[kept])
        return Warmth(self.steady[:, members], swings)


def warmth(history: History, edge: FloatArray, at_edges: FloatArray, activation: float) -> Warmth:
    """Warmth of a history between edges.

    Parameters
    ----------
    history : History
        ``temperature`` (members, n). [s, K]
    edge : ndarray, shape (steps + 1,)
        [s]
    at_edges : ndarray, shape (members, steps + 1)
        Temperature there. [K]
    activation : float
        E/R of the reaction. The steady temperature is the mean, and half the variance times the curvature
        of Arrhenius' law; that in the middle of a step misses 1e-3 of conversion in a shed with a heater. [K]
    """
    rise = np.diff(at_edges, axis=1)
    if np.all(np.isin(history.time, edge)):  # straight within each step
        mean, variance = 0.5 * (at_edges[:, 1:] + at_edges[:, :-1]), rise**2 / 12.0
    else:
        mean, variance = _moments(history, edge)
    steady = mean + 0.5 * variance * (activation / mean**2 - 2.0 / mean)
    step, member = np.nonzero(variance.T > SWING**2)
    swing = np.copysign(np.sqrt(variance[member, step]), rise[member, step])
    middle = mean[member, step]
    return Warmth(steady.T, Swings(step, member, middle - swing, middle + swing))


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
