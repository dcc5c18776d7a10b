"""An adaptive Runge–Kutta scheme for two numbers, in plain Python.

Theory of operation. A mass that runs away changes its pace a thousandfold within a minute; a fixed
step is wrong by tens of kelvin there. The tolerance is absolute, per quantity.
"""

from collections.abc import Callable

import numpy as np

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


def march_pair(
    rate: Callable[[float, float], Pair], start: Pair, duration: float, tolerance: Pair, first: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Integrate two numbers from 0 to ``duration``.

    ``duration``, ``first`` [s]; both numbers in their own unit.

    Returns
    -------
    time (n,), state (2, n), slope (2, n)
        At the accepted steps; :func:`refine` fills in between.

    Raises
    ------
    OutOfValidity
        It took more steps than are allowed.
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


def refine(share: FloatArray, length: FloatArray, ends: tuple[FloatArray, ...]) -> FloatArray:
    """Cubic through both ends of a step with their slopes, at shares 0..1 of it.

    ``ends`` is (before, after, slope before, slope after), each broadcast against ``share``.

    ``share`` [1], ``length`` [s].
    """
    before, after, slope_before, slope_after = ends
    s = share
    bend = (1 - s) * length * slope_before - s * length * slope_after + (2 * s - 1) * (after - before)
    return np.asarray((1 - s) * before + s * after + s * (1 - s) * bend, dtype=float)
