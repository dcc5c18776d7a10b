"""What the temperature does within each step of a stepping: its mean, its spread, which way it goes.

Mean and variance of a path are integrated exactly between the points of its history.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.film import History, at_times
from curewatch.units import FloatArray

SWING = 0.1  # K of standard deviation within a step: less errs by under 4e-5 of conversion
USUAL = 450.0  # s, for two parts of a step
BASE = 285.0  # K, taken off before squares are summed


class Swings(NamedTuple):
    """Steps in which the temperature goes so far that the glass bends the rate, in the order of the steps."""

    step: NDArray[np.intp]
    member: NDArray[np.intp]
    parts: FloatArray  # (parts, these), temperatures that stand for equal parts of the step, in turn [K]


NO_SWINGS = Swings(np.empty(0, np.intp), np.empty(0, np.intp), np.empty((2, 0)))


class EquivalentTemperature(NamedTuple):
    """What the steps of each member meet."""

    steady: FloatArray  # (steps, members), temperature at which a film goes as far, but for the glass [K]
    swings: Swings
    mean: FloatArray  # (members, spans) of each step, or of each usual step of a longer one [K]
    variance: FloatArray  # the same [K2]


def warmth(
    history: History,
    edge: FloatArray,
    at_edges: FloatArray,
    activation: float,
    *,
    swings: bool = True,
    known: EquivalentTemperature | None = None,
) -> EquivalentTemperature:
    """EquivalentTemperature of a history between edges.

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
    swings : bool
        Whether steps that swing are taken in parts: one standard deviation below and above the mean of each
        usual step.
    known : EquivalentTemperature, optional
        Of the same history in shorter steps: their means and variances are joined.
    """
    pairs = parts_of(float(edge[1] - edge[0])) // 2 if swings else 1
    finer: FloatArray = np.linspace(edge[0], edge[-1], pairs * (edge.size - 1) + 1)
    at_finer = at_edges if pairs == 1 else at_times(history, finer)
    if known is None:
        middle, square = _within(history, finer, at_finer)
    else:
        middle, square = _of_longer(known, finer.size - 1)
    mean, variance = _joined(middle, square, pairs)
    steady = mean + 0.5 * variance * (activation / mean**2 - 2.0 / mean)
    found = _swings(middle, square, (variance, pairs), np.diff(at_finer, axis=1)) if swings else NO_SWINGS
    return EquivalentTemperature(steady.T, found, middle, square)


def _swings(
    middle: FloatArray, square: FloatArray, joined: tuple[FloatArray, int], change: FloatArray
) -> Swings:
    """Of spans with this mean [K], variance [K2] and change [K]; ``joined``: variance of so many together."""
    variance, pairs = joined
    step, member = np.nonzero(SWING**2 < variance.T)
    swing = np.copysign(np.sqrt(square), change)
    here = [(member, pairs * step + pair) for pair in range(pairs)]
    parts = [each[at] for at in here for each in (middle - swing, middle + swing)]
    return Swings(step, member, np.stack(parts))


def _of_longer(known: EquivalentTemperature, spans: int) -> tuple[FloatArray, FloatArray]:
    """Mean and variance over longer spans; the path stays at its end if they reach beyond it."""
    ratio = -(-known.mean.shape[1] // spans)
    mean, variance, beyond = known.mean, known.variance, ratio * spans - known.mean.shape[1]
    if beyond:
        mean, variance = (np.pad(each, ((0, 0), (0, beyond)), mode="edge") for each in (mean, variance))
    return _joined(mean, variance, ratio)


def _joined(mean: FloatArray, variance: FloatArray, pairs: int) -> tuple[FloatArray, FloatArray]:
    """Mean and variance over so many of the spans together."""
    if pairs == 1:
        return mean, variance
    means, variances = (each.reshape(each.shape[0], -1, pairs) for each in (mean, variance))
    return means.mean(axis=2), variances.mean(axis=2) + means.var(axis=2)


def parts_of(step: float) -> int:
    """In how many parts a step is taken where the temperature swings: two for each usual step. [s]"""
    return 2 * max(1, round(step / USUAL))


def _within(history: History, edge: FloatArray, at_edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean [K] and variance [K2] of each path between the edges: (members, steps)."""
    near = edge[np.minimum(np.searchsorted(edge, history.time), edge.size - 1)]
    if np.array_equal(near, history.time):  # each of its points is an edge: straight within each step
        return 0.5 * (at_edges[:, 1:] + at_edges[:, :-1]), np.diff(at_edges, axis=1) ** 2 / 12.0
    return _moments(history, edge)


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
