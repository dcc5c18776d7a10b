"""One adaptive Runge–Kutta scheme, for one state in plain Python and for many at once on arrays.

Theory of operation. A mass that runs away changes its pace a thousandfold within a minute; a fixed
step is wrong by tens of kelvin there. Each member therefore keeps its own time and its own step:
members that are done leave the arrays. The tolerance is absolute, per quantity.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.units import FloatArray

# Dormand and Prince 5(4), J. Comput. Appl. Math. 6:19 (1980)
STAGES = (
    (1 / 5,),
    (3 / 40, 9 / 40),
    (44 / 45, -56 / 15, 32 / 9),
    (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729),
    (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656),
    (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84),
)
ERROR = (71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40)
MOST_STEPS = 20_000  # a bound, far above what any pot needs

Pair = tuple[float, float]


class Accepted(NamedTuple):
    """One accepted step of the members that took it: both ends, so that it can be refined."""

    member: NDArray[np.intp]  # indices (taken,)
    begin: FloatArray  # (taken,) [s]
    length: FloatArray  # (taken,) [s]
    before: FloatArray  # state (quantities, taken)
    after: FloatArray
    slope_before: FloatArray
    slope_after: FloatArray


def march_pair(
    rate: Callable[[float, float], Pair], start: Pair, duration: float, tolerance: Pair, first: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Integrate two numbers from 0 to ``duration``.

    Returns
    -------
    time (n,), state (2, n), slope (2, n)
        At the accepted steps; :func:`refine` fills in between.
    """
    (x, y), now, step = start, 0.0, first
    slope = rate(x, y)
    track = [(0.0, x, y, *slope)]
    for _ in range(MOST_STEPS):
        step = min(step, duration - now)
        k = [slope]
        for weights in STAGES:
            u, v = x, y
            for weight, (du, dv) in zip(weights, k, strict=True):
                u += step * weight * du
                v += step * weight * dv
            k.append(rate(u, v))
        miss_x = sum(weight * each[0] for weight, each in zip(ERROR, k, strict=True))
        miss_y = sum(weight * each[1] for weight, each in zip(ERROR, k, strict=True))
        miss = step * max(abs(miss_x) / tolerance[0], abs(miss_y) / tolerance[1])
        if miss <= 1.0:
            now, x, y, slope = now + step, u, v, k[-1]
            track.append((now, x, y, *slope))
            if duration - now < 1e-9 * duration:
                columns = np.array(track).T
                return columns[0], columns[1:3], columns[3:5]
        step *= min(4.0, max(0.2, 0.9 * max(miss, 1e-9) ** -0.2))
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "the adaptive Runge–Kutta scheme")


def march_members(
    rate: Callable[[FloatArray, NDArray[np.intp]], FloatArray],
    start: FloatArray,
    duration: float,
    tolerance: Pair,
    first: float,
) -> Iterator[Accepted]:
    """Integrate two numbers for each of many members, each with its own step.

    Parameters
    ----------
    rate : callable
        (state (2, alive), indices of the alive) -> slopes (2, alive)
    start : ndarray, shape (2, members)
    duration, first : float
        Whole time, first step. [s]
    tolerance : pair
        Absolute, per step, of the two numbers.
    """
    alive = np.arange(start.shape[1])
    allowed = np.array(tolerance)[:, None]
    state, now = start.copy(), np.zeros(alive.size)
    step = np.full(alive.size, min(first, duration))
    slope = rate(state, alive)
    for _ in range(MOST_STEPS):
        length = np.minimum(step, duration - now)
        k = [slope]
        for weights in STAGES:
            trial = state + length * _sum(weights, k)
            k.append(rate(trial, alive))
        miss = np.max(np.abs(length * _sum(ERROR, k)) / allowed, axis=0)
        taken = miss <= 1.0
        yield Accepted(
            alive[taken], now[taken], length[taken],
            state[:, taken], trial[:, taken], slope[:, taken], k[-1][:, taken],
        )  # fmt: skip
        now = np.where(taken, now + length, now)
        state, slope = np.where(taken, trial, state), np.where(taken, k[-1], slope)
        step = length * np.clip(0.9 * np.maximum(miss, 1e-9) ** -0.2, 0.2, 4.0)
        going = duration - now > 1e-9 * duration
        if not going.any():
            return
        if not going.all():
            alive, now, step = alive[going], now[going], step[going]
            state, slope = state[:, going], slope[:, going]
    raise OutOfValidity("steps", MOST_STEPS, "fewer", "the adaptive Runge–Kutta scheme")


def refine(share: FloatArray, length: FloatArray, ends: tuple[FloatArray, ...]) -> FloatArray:
    """Cubic through both ends of a step with their slopes, at shares 0..1 of it.

    ``ends`` is (before, after, slope before, slope after), each broadcast against ``share``.
    """
    before, after, slope_before, slope_after = ends
    s = share
    bend = (1 - s) * length * slope_before - s * length * slope_after + (2 * s - 1) * (after - before)
    return np.asarray((1 - s) * before + s * after + s * (1 - s) * bend, dtype=float)


def _sum(weights: tuple[float, ...], k: list[FloatArray]) -> FloatArray:
    total = weights[0] * k[0]
    for weight, slope in zip(weights[1:], k[1:], strict=True):
        if weight:
            total += weight * slope
    return total
