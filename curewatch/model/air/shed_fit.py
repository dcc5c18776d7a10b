"""A first-order filter found in a recording: how slowly the inside follows, and what drives it.

*Theory of operation.* For a given time constant everything else is linear: it is scanned, the rest solved
by least squares over the whole recording at once, and each weighed by how well it fits, with a mild
preference for what sheds usually are. The spread of those weights, or of the best when days are left
out, is how sure it is.
"""

from typing import NamedTuple

import numpy as np

from curewatch.units import HOUR, FloatArray

SMOOTHING = 3 * HOUR
AT_ONCE = 9  # candidates whose filtered drives are held at once: 3 MB each for three weeks
LEAP = 24  # steps of the grid that are taken at once: 24 is as fast as any (measured)
CANDIDATES = np.geomspace(0.1 * HOUR, 160 * HOUR, 36)
# Sheds follow within hours: a mild preference that decides only where the readings hardly do. ASSUMED.
USUAL_TIME_CONSTANT, USUAL_SPREAD = 4 * HOUR, 1.3  # the spread is of the logarithm
PARTS = 6  # of the recording, each left out in turn to see how sure the fit is
NOONS = np.arange(0.0, 24.0, 1.0)  # UTC hours at which the sun may stand highest on this shed


class FilterFit(NamedTuple):
    """What was found of a first-order filter and its drives."""

    time_constant: float
    spread: float  # of the logarithm of the time constant
    offset: float
    gains: FloatArray  # of each extra drive
    heater_spread: float  # standard deviation of the heater's gain, 0 without a heater [K/W]
    noon: float
    unexplained: float  # root mean square


def fitted(time: FloatArray, inside: FloatArray, outside: FloatArray, drives: FloatArray) -> FilterFit:
    """Scan coarsely, then finely about the best; of the 24 suns, if they are given, one is taken.

    All is smoothed alike first, which leaves the relation between cause and effect as it is and keeps the
    noise of the outside sensor from passing for slowness of the shed.

    ``time``, ``inside``, ``outside`` (n,) [s, any], ``drives`` (drives, n).
    """
    together = _smoothed(time, np.concatenate([inside[None], outside[None], drives]))
    time, inside, outside, drives = together[0], together[1], together[2], together[3:]
    coarse = _scan(time, inside, outside, drives, CANDIDATES)
    best = int(np.argmin(coarse.badness))
    around = CANDIDATES[max(0, best - 1)], CANDIDATES[min(len(CANDIDATES) - 1, best + 1)]
    fine = _scan(time, inside, outside, drives, np.geomspace(*around, 17))
    finest = int(np.argmin(fine.badness))
    cornered = best in (0, len(CANDIDATES) - 1)  # the scan's end is no finding
    return FilterFit(
        time_constant=float(fine.candidates[finest]),
        spread=max(_spread(coarse), _spread(fine), _restlessness(coarse), 1.0 if cornered else 0.0),
        offset=float(fine.solutions[finest].weights[0]),
        gains=fine.solutions[finest].weights[2:],
        heater_spread=float(
            np.sqrt(fine.solutions[finest].squares / fine.independent * fine.solutions[finest].variance)
        ),
        noon=fine.solutions[finest].noon,
        unexplained=float(np.sqrt(fine.solutions[finest].squares / len(time))),
    )


def _smoothed(time: FloatArray, series: FloatArray) -> FloatArray:
    """Time and series under a bell of :data:`SMOOTHING`, without the ends where it does not fit."""
    half = int(SMOOTHING / 2 / (time[1] - time[0]))
    if half < 1:
        return np.concatenate([time[None], series])
    bell = np.hanning(2 * half + 3)[1:-1]
    bell = bell / bell.sum()
    smooth = [np.convolve(one, bell, mode="valid") for one in series]
    return np.stack([time[half : len(time) - half], *smooth])


class _Solution(NamedTuple):
    """What is linear once the time constant is chosen."""

    squares: float  # sum of squared residuals
    weights: FloatArray  # offset, start, sun, heater if there is one
    variance: float  # of the heater's weight, in units of the residuals' variance
    noon: float
    errors: FloatArray


class _Scan(NamedTuple):
    candidates: FloatArray
    badness: FloatArray  # of each: minus the logarithm of its weight, the best near 0
    solutions: list[_Solution]
    independent: float  # residuals that count, of the best


def _scan(
    time: FloatArray, inside: FloatArray, outside: FloatArray, drives: FloatArray, candidates: FloatArray
) -> _Scan:
    together = np.concatenate([outside[None], drives])
    solutions = []
    for some in np.split(candidates, range(AT_ONCE, len(candidates), AT_ONCE)):
        for constant, lagged in zip(some, _lagged_for_each(time, together, some), strict=True):
            base = np.stack([np.ones(len(time)), np.exp(-(time - time[0]) / constant)])
            solutions.append(_solved(base, lagged[1:], inside - lagged[0]))
    squares = np.array([solution.squares for solution in solutions])
    independent = _independent(solutions[int(np.argmin(squares))].errors)
    unlikely = (np.log(candidates / USUAL_TIME_CONSTANT) / USUAL_SPREAD) ** 2 / 2
    badness = independent / 2 * np.log(squares / squares.min()) + unlikely
    return _Scan(candidates, badness, solutions, independent)


def _solved(base: FloatArray, drives: FloatArray, wanted: FloatArray) -> _Solution:
    """Least squares with each hour of noon in turn; a sun that cools is taken as no sun."""
    suns, others = drives[: len(NOONS)], drives[len(NOONS) :]
    design = np.concatenate([base, others, suns])
    square, cross = design @ design.T, design @ wanted
    first = len(base) + len(others)
    inverse = np.linalg.inv(square[:first, :first] + 1e-9 * np.eye(first))
    weights, kept, noon = inverse @ cross[:first], np.arange(first), 12.0
    if len(suns):
        tried, inverses = _with_each_sun(square, cross, first)
        explained = np.where(tried[:, -1] > 0, (tried * _crosses(cross, first)).sum(axis=1), -np.inf)
        best = int(np.argmax(explained))
        if explained[best] > weights @ cross[:first]:
            weights, inverse, noon = tried[best], inverses[best], float(NOONS[best])
            kept = np.append(kept, first + best)
    errors = wanted - weights @ design[kept]
    gain = weights[first] if len(kept) > first else 0.0
    return _Solution(
        squares=float(errors @ errors),
        weights=np.array([*weights[:2], gain, *weights[2:first]]),
        variance=float(inverse[2, 2]) if len(others) else 0.0,
        noon=noon,
        errors=errors,
    )


def _with_each_sun(square: FloatArray, cross: FloatArray, first: int) -> tuple[FloatArray, FloatArray]:
    """Weights (suns, first + 1) and inverses of the normal equations with each sun as the last column."""
    count = len(cross) - first
    parts = np.empty((count, first + 1, first + 1))
    parts[:, :first, :first] = square[:first, :first]
    parts[:, :first, first] = parts[:, first, :first] = square[first:, :first]
    parts[:, first, first] = np.diagonal(square)[first:]
    inverses = np.linalg.inv(parts + 1e-9 * np.eye(first + 1))
    weights = (inverses @ _crosses(cross, first)[:, :, None])[:, :, 0]
    return weights, np.asarray(inverses)


def _crosses(cross: FloatArray, first: int) -> FloatArray:
    count = len(cross) - first
    return np.column_stack([np.broadcast_to(cross[:first], (count, first)), cross[first:]])


def _lagged_for_each(time: FloatArray, drives: FloatArray, candidates: FloatArray) -> FloatArray:
    """Each drive behind each time constant, (candidates, drives, n); all but the first start at nothing.

    On the regular grid some steps at once are one matrix, (steps, steps + 1) on the drive.
    """
    ratio = float(time[1] - time[0]) / candidates[:, None, None]
    kept = np.exp(-ratio)
    mean = -np.expm1(-ratio) / ratio
    blocks = -(-(len(time) - 1) // LEAP)
    apart = np.subtract.outer(np.arange(LEAP), np.arange(LEAP))
    fading = np.where(apart >= 0, kept ** np.maximum(apart, 0), 0.0)
    none = np.zeros((len(candidates), LEAP, 1))
    moved = (mean - kept) * np.concatenate([fading, none], axis=2)
    moved += (1 - mean) * np.concatenate([none, fading], axis=2)
    padded = np.pad(drives, ((0, 0), (0, blocks * LEAP + 1 - len(time))))
    pieces = np.lib.stride_tricks.sliding_window_view(padded, LEAP + 1, axis=1)[:, ::LEAP]
    body = np.empty((len(candidates), len(drives), blocks * LEAP + 1))
    body[:, :, 0] = 0.0
    body[:, 0, 0] = drives[0, 0]
    inside = body[:, :, 1:].reshape(len(candidates), len(drives), blocks, LEAP)
    np.matmul(pieces[None], moved[:, None].swapaxes(2, 3), out=inside)
    carried = kept[:, :, 0, None] ** np.arange(1, LEAP + 1)
    for block in range(blocks):
        inside[:, :, block] += carried * body[:, :, block * LEAP, None]
    return body[:, :, : len(time)]


def _independent(errors: FloatArray) -> float:
    """Number of residuals that count: fewer, the longer they stay on one side (cloudy days, say)."""
    centred = errors - errors.mean()
    spectrum = np.abs(np.fft.rfft(centred, 2 * len(centred))) ** 2
    alike = np.fft.irfft(spectrum)[: len(centred)]
    alike = alike / max(float(alike[0]), 1e-30)
    crossing = np.flatnonzero(alike <= 0)
    together = 1 + 2 * float(alike[1 : crossing[0] if len(crossing) else None].sum())
    return max(3.0, len(errors) / together)


def _spread(scan: _Scan) -> float:
    """Spread of the logarithm of the time constant under weights by fit."""
    weights = np.exp(scan.badness.min() - scan.badness)
    logarithm = np.log(scan.candidates)
    middle = float(weights @ logarithm / weights.sum())
    return float(np.sqrt(weights @ (logarithm - middle) ** 2 / weights.sum()))


def _restlessness(scan: _Scan) -> float:
    """Spread of the logarithm of the best time constant when a part of the days is left out in turn.

    A jackknife: where the shed is not the one the model thinks of, this is wider than the fit believes.
    """
    parts = np.array_split(np.arange(len(scan.solutions[0].errors)), PARTS)
    squares = np.array([[float((one.errors[part] ** 2).sum()) for part in parts] for one in scan.solutions])
    best = np.log(scan.candidates[np.argmin(squares.sum(axis=1, keepdims=True) - squares, axis=0)])
    return float(np.sqrt((PARTS - 1) * np.var(best)))
