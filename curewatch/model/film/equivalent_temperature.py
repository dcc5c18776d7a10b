"""What the temperature does within each step of a stepping: its mean, its spread, which way it goes.

Mean and variance of a path are integrated exactly between the points of its history.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.film import History
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
    mean: FloatArray  # (spans, members) of each step, or of each usual step of a longer one [K]
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
    at_edges : ndarray, shape (steps + 1, members)
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
    at_finer = at_edges if pairs == 1 else on_rows(history, finer)
    if known is None:
        middle, square = _within(history, finer, at_finer)
    else:
        middle, square = _of_longer(known, finer.size - 1)
    mean, variance = _joined(middle, square, pairs)
    steady = activation / mean
    steady -= 2.0
    steady /= mean
    steady *= 0.5 * variance
    steady += mean
    found = _swings(middle, square, (variance, pairs), at_finer) if swings else NO_SWINGS
    return EquivalentTemperature(steady, found, middle, square)


def on_rows(history: History, time: FloatArray) -> FloatArray:
    """Temperature of every path at given times: (times, members). [K]"""
    path = np.ascontiguousarray(history.temperature.T)
    index = np.clip(np.searchsorted(history.time, time, side="right") - 1, 0, history.time.size - 2)
    weight = (time - history.time[index]) / (history.time[index + 1] - history.time[index])
    low, found = path[index], path[index + 1]
    found -= low
    found *= np.clip(weight, 0.0, 1.0)[:, None]
    found += low
    return np.asarray(found, dtype=float)


def _swings(
    middle: FloatArray, square: FloatArray, joined: tuple[FloatArray, int], at_edges: FloatArray
) -> Swings:
    """Of spans with this mean [K], variance [K2] and edges [K]; ``joined``: variance of so many together."""
    variance, pairs = joined
    step, member = np.nonzero(variance > SWING**2)
    parts = list[FloatArray]()
    for pair in range(pairs):
        here = pairs * step + pair
        change = at_edges[here + 1, member] - at_edges[here, member]
        mean, swing = middle[here, member], np.copysign(np.sqrt(square[here, member]), change)
        parts += [mean - swing, mean + swing]
    return Swings(step, member, np.stack(parts))


def _of_longer(known: EquivalentTemperature, spans: int) -> tuple[FloatArray, FloatArray]:
    """Mean and variance over longer spans; the path stays at its end if they reach beyond it."""
    ratio = -(-known.mean.shape[0] // spans)
    mean, variance, beyond = known.mean, known.variance, ratio * spans - known.mean.shape[0]
    if beyond:
        mean, variance = (np.pad(each, ((0, beyond), (0, 0)), mode="edge") for each in (mean, variance))
    return _joined(mean, variance, ratio)


def _joined(mean: FloatArray, variance: FloatArray, pairs: int) -> tuple[FloatArray, FloatArray]:
    """Mean and variance over so many of the spans together."""
    if pairs == 1:
        return mean, variance
    means, variances = (each.reshape(-1, pairs, each.shape[1]) for each in (mean, variance))
    return means.mean(axis=1), variances.mean(axis=1) + means.var(axis=1)


def parts_of(step: float) -> int:
    """In how many parts a step is taken where the temperature swings: two for each usual step. [s]"""
    return 2 * max(1, round(step / USUAL))


def _within(history: History, edge: FloatArray, at_edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean [K] and variance [K2] of each path between the edges: (steps, members)."""
    near = edge[np.minimum(np.searchsorted(edge, history.time), edge.size - 1)]
    if np.array_equal(near, history.time):  # each of its points is an edge: straight within each step
        return 0.5 * (at_edges[1:] + at_edges[:-1]), np.diff(at_edges, axis=0) ** 2 / 12.0
    return _moments(history, edge)


def _moments(history: History, edge: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean [K] and variance [K2] of each path between the edges: (steps, members)."""
    inside = history.time[(history.time > edge[0]) & (history.time < edge[-1])]
    time = np.union1d(edge, inside)  # between these every path is straight
    path, length = on_rows(history, time) - BASE, np.diff(time)[:, None]
    first, whole = np.searchsorted(time, edge), np.diff(edge)[:, None]
    once = path[:-1] + path[1:]
    twice = once * path[:-1]
    twice += path[1:] * path[1:]
    once *= 0.5 * length
    twice *= length / 3.0
    mean, square = (_summed(each, first) / whole for each in (once, twice))
    return mean + BASE, np.maximum(square - mean * mean, 0.0)


def _summed(parts: FloatArray, first: NDArray[np.intp]) -> FloatArray:
    """Sums of the rows of ``parts`` (rows, members) from each first one to before the next."""
    count, found = np.diff(first), parts[first[:-1]]
    for further in range(1, int(count.max())):
        these = np.flatnonzero(count > further)
        found[these] += parts[first[these] + further]
    return found
