"""Cure of a thin film, which is always as warm as its surface.

Theory of operation. The state is one number, the progress of the cure: below 0 it counts the
inhibitor that is left, above 0 it is conversion. The temperature history is cut into blocks of at
most 30 minutes. In each block the *rate constants* (not the temperatures alone) are averaged, and their
slope inside the block is kept; so their exponentials are taken once, on arrays. The integration itself
is plain arithmetic: Heun's third order, in halves where the rate bends: at the start, where an order m
below 1 has no derivative, where the reaction is fast, and where the film turns to glass.

Law kept: conversion never falls, and stays in 0..1. Checked against SciPy's solver at 1e-10.
"""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.physics import glass_transition as glass
from curewatch.physics.cure_kinetics import require_temperature
from curewatch.units import FloatArray

BLOCK = 1800.0  # s
SWING = 2.0  # K within one block; more, and its rate is no straight line any more
SAMPLES = 12  # intervals in a block: each 2.5 minutes, so that kinks at whole 5 minutes are met
WITHIN = np.linspace(0.0, 1.0, SAMPLES + 1)  # where in its block each sample lies


def _line(intervals: int) -> FloatArray:
    """Samples -> the straight line of right mean and first moment, at the start and 2/3 of them."""
    ends = np.arange(intervals + 1) % intervals == 0
    simpson = np.where(ends, 1.0, np.where(np.arange(intervals + 1) % 2 == 1, 4.0, 2.0))
    trapeze, offset = np.where(ends, 0.5, 1.0), np.linspace(-1.0, 1.0, intervals + 1)
    slope = trapeze * offset / np.sum(trapeze * offset**2)
    line: FloatArray = simpson[:, None] / simpson.sum() + slope[:, None] * np.array([-1.0, 1.0 / 3.0])
    return line


# The line of a block, and those of its thirds, side by side: (samples, 4 x 2).
LINES = np.hstack(
    [_line(SAMPLES)] + [np.pad(_line(4), ((4 * part, 8 - 4 * part), (0, 0))) for part in range(3)]
)
BENT = 7e-5  # of conversion by which the rate may bend within a step
GROWING = 1000.0  # times the bend: more than the rate where it grows, and the error would grow with it
FALLING = 0.7  # of the rate is left after two thirds of a step; less, and it falls into the glass
SHORTEST = 0.1  # s; with 2 s a fresh film at 80 degC was off by 0.01, one at 100 degC by 0.5
MOST = 0.027  # of conversion in a step: a rate that peaks within a longer one may look straight
CURVED = 4e-4  # of conversion lost or won by a rate that changes: then points within the step are told, ...
HALF, QUARTERS = (0.5,), (0.25, 0.5, 0.75)  # ... here: readers draw straight lines between points
TOLD = 900.0  # s; within a longer step its middle is told, for marks that move with the temperature
FRESH = 1e-3  # the same at the start, where an order m below 1 has no derivative: then at most doubled
CREEPING = 2e-3  # of conversion in a step: so slow, the stage in the middle changes nothing (measured)
SLIGHT = 0.02  # of what there is: the same, early on
TWO_THIRDS = 2.0 / 3.0

Met = Sequence[float]  # both rate constants and the temperature, at a step's start and at two thirds of it


class History(NamedTuple):
    """Temperature against time, straight between the points.

    ``time`` (n,) counts from the start [s]; ``temperature`` is (n,) or (members, n). [K]
    """

    time: FloatArray
    temperature: FloatArray


class Cure(NamedTuple):
    """What became of a film: arrays (n,) or, for many members, (members, n) over ``time`` (n,)."""

    time: FloatArray  # [s]
    conversion: FloatArray  # [1]
    glass_transition: FloatArray  # [K]
    temperature: FloatArray  # [K]
    progress: FloatArray  # conversion, or minus the inhibitor that is left [1]


def constant(temperature: float, duration: float) -> History:
    """A history that stays at one temperature. [K, s]"""
    return History(np.array([0.0, duration]), np.array([temperature, temperature]))


def cure(
    resin: Resin,
    history: History,
    *,
    conversion: float = 0.0,
    rate_factor: float = 1.0,
    peroxide_percent: float | None = None,
) -> Cure:
    """Conversion and glass transition of a film that follows one temperature history.

    Many histories at once: :func:`curewatch.model.film.ensemble.cures`.

    Parameters
    ----------
    resin : Resin
    history : History
        One path (n,). [s, K]
    conversion : float
        Where it starts; below 0 is inhibitor left. 0 means freshly mixed. [1]
    rate_factor : float
        This lot against the resin. [1]
    peroxide_percent : float, optional
        Polyester and vinyl ester only; the resin's normal dose if not given. [per cent by mass]

    Returns
    -------
    Cure
        At the edges of the blocks, and where a block was cut.

    Raises
    ------
    OutOfValidity
        A history that is empty, runs backwards or leaves the range of the cure law.
    DoseOutOfRange
        Too little or too much peroxide.

    Source
    ------
    The rate law of :mod:`curewatch.physics.cure_kinetics`; the integrator is ours, held within 1e-4 of an
    independent integration in tests/published/test_cure_integrated.py
    """
    require_history(history)
    if history.temperature.ndim != 1:
        paths = history.temperature.shape[0]
        raise OutOfValidity("paths of the history", paths, "one, or curewatch.model.film.ensemble", "a film")
    factor = rate_factor * resin.dose_factor(peroxide_percent)
    start = -resin.kinetics.inhibitor if conversion == 0.0 else conversion
    return finish(resin, history, *_advance(resin, history, start, factor))


def finish(resin: Resin, history: History, time: FloatArray, progress: FloatArray) -> Cure:
    """Dress a progress with conversion, glass transition and temperature.

    ``time`` (n,) [s], ``progress`` (..., n) [1].
    """
    conversion = np.maximum(progress, 0.0)
    network = resin.network
    transition = glass.glass_transition(conversion, network.uncured, network.full, network.shape)
    temperature = np.broadcast_to(at_times(history, time), conversion.shape)
    return Cure(time, conversion, transition, temperature, progress)


def require_history(history: History) -> None:
    """Raise unless time rises and every temperature is usable.

    Raises
    ------
    OutOfValidity
        Fewer than two points, a time that does not rise, or a temperature outside the cure law.
    """
    time, temperature = history
    if time.ndim != 1 or time.size < 2 or temperature.shape[-1] != time.size:
        raise OutOfValidity(
            "points of the history", time.size, "2 or more, as many as temperatures", "a film"
        )
    if np.any(np.diff(time) <= 0.0) or time[0] != 0.0:
        raise OutOfValidity(
            "time of the history in s", float(time[0]), "0 at the start, then rising", "a film"
        )
    require_temperature(temperature)


def at_times(history: History, time: FloatArray) -> FloatArray:
    """Temperature of a history at given times: (..., times). [K]"""
    if history.temperature.ndim == 1:
        return np.interp(time, history.time, history.temperature)
    index = np.clip(np.searchsorted(history.time, time, side="right") - 1, 0, history.time.size - 2)
    weight = (time - history.time[index]) / (history.time[index + 1] - history.time[index])
    low, high = history.temperature[:, index], history.temperature[:, index + 1]
    return np.asarray(low + (high - low) * np.clip(weight, 0.0, 1.0), dtype=float)


def _edges(history: History) -> FloatArray:
    """Edges of the blocks: 30 minutes, shorter where the temperature swings. [s]"""
    duration = float(history.time[-1])
    edge = np.append(np.arange(0.0, duration - 1.0, BLOCK), duration)
    swing = np.abs(np.diff(np.interp(edge, history.time, history.temperature)))
    if swing.max() <= SWING:
        return edge
    parts = np.cumsum(np.append(0.0, np.maximum(np.ceil(swing / SWING), 1.0)))
    return np.asarray(np.interp(np.arange(parts[-1] + 1.0), parts, edge), dtype=float)


def _advance(resin: Resin, history: History, start: float, factor: float) -> tuple[FloatArray, FloatArray]:
    """Time and progress, in plain Python: for one number numpy costs more than it saves."""
    edge, law = _edges(history), resin.law(factor)
    temperature = np.interp(edge[:-1, None] + np.diff(edge)[:, None] * WITHIN, *history)
    met = np.stack([*law.constants(temperature), temperature])
    lines = _lines(met)
    track, a = _Track(law.kernel(math.exp), lines[:, 1:], start), start
    steps = zip(edge[1:].tolist(), np.diff(edge).tolist(), lines[:, 0].tolist(), strict=True)
    for block, (now, step, line) in enumerate(steps):
        a = track.thirds(a, now, step, block) if a < 0.0 else track.stride(a, now, step, line, block)
    return np.array(track.time), np.array(track.progress)


def _lines(met: FloatArray) -> FloatArray:
    """What stages of each block and of its thirds meet: (3, blocks, samples) -> (blocks, 4, 6)."""
    blocks = met.shape[1]
    ends = (met.reshape(3 * blocks, SAMPLES + 1) @ LINES).reshape(3, blocks, 4, 2)
    return ends.transpose(1, 2, 3, 0).reshape(blocks, 4, 6)


class _Track:
    """Where a film has been."""

    def __init__(self, rate: Callable[..., float], thirds: FloatArray, start: float) -> None:
        """``thirds``: what the stages of each third of each block meet (blocks, 3, 6)."""
        self.time, self.progress = [0.0], [start]
        self._rate, self._thirds = rate, thirds

    def thirds(self, a: float, now: float, step: float, block: int) -> float:
        """Progress after a block, taken in thirds, in each of which its temperature is straight."""
        third = step / 3.0
        ends = (now - 2.0 * third, now - third, now)
        for end, met in zip(ends, self._thirds[block].tolist(), strict=True):
            a = self._inhibited(a, end, third, met) if a < 0.0 else self.stride(a, end, third, met)
        return a

    def _inhibited(self, a: float, now: float, step: float, met: Met) -> float:
        """Progress after a step that begins with inhibitor left; cure takes what is left of the step."""
        left = self._waited(a, now, step, met)
        return (
            self.stride(0.0, now, left * step, _part(met, 1.0 - left, left))
            if left > 0.0
            else self.progress[-1]
        )

    def _waited(self, a: float, now: float, step: float, met: Met) -> float:
        """Share of a step that is left once the inhibitor is gone, at the rate at which cure will start."""
        first, last = self._rate(0.0, *met[:3]), self._rate(0.0, *met[3:])
        rise = 1.5 * (last - first)
        used = step * (first + 0.5 * rise)
        gone = 1.0
        if a + used > 0.0:
            gone = -2.0 * a / (first + math.sqrt(first**2 - 2.0 * rise * a / step)) / step
        self.time.append(now - (1.0 - gone) * step)
        self.progress.append(min(a + used, 0.0))
        return 1.0 - gone

    def stride(self, a: float, now: float, step: float, met: Met, block: int | None = None) -> float:
        """Conversion after a step that ends now, by Heun's third order; every part of it is noted.

        ``block``: which block it is, if a whole one.
        """
        p0, q0, t0, p2, q2, t2 = met
        rate = self._rate
        first = rate(a, p0, q0, t0)
        gain, last = step * first, 0.0
        if gain < CREEPING and gain < SLIGHT * a:
            there = a + TWO_THIRDS * gain
            last = rate(there if there < 1.0 else 1.0, p2, q2, t2)
        if last == 0.0 or step * abs(last - first) > CURVED:
            rough = True
            if gain < MOST and gain < a + FRESH:
                there = a + gain / 3.0
                p1, q1, t1 = 0.5 * (p0 + p2), 0.5 * (q0 + q2), 0.5 * (t0 + t2)
                second = rate(there if there < 1.0 else 1.0, p1, q1, t1)
                there = a + TWO_THIRDS * step * second
                last = rate(there if there < 1.0 else 1.0, p2, q2, t2)
                bent = abs(bend := first - 2.0 * second + last)
                rough = step * bent > BENT or last < FALLING * first or GROWING * bent > first < last
            if rough and step > SHORTEST:
                if block is not None:
                    return self.thirds(a, now, step, block)
                half = 0.5 * step
                a = self.stride(a, now - half, half, _part(met, 0.0, 0.5))
                return self.stride(a, now, half, _part(met, 0.5, 0.5))
            curved = step * abs(first - last)
            if (curved > CURVED and step > SHORTEST) or step > TOLD:
                for share in QUARTERS if curved > 4.0 * CURVED else HALF:
                    mean = first + share * (0.75 * (last - first) + 1.5 * (share - 1.0) * bend)
                    self.time.append(now + (share - 1.0) * step)
                    self.progress.append(a + share * step * mean)
        elif step > TOLD:
            middle, whole = 0.3125 * first + 0.1875 * last, 0.25 * first + 0.75 * last
            self.time.append(now - 0.5 * step)
            there = a + step * (middle if middle < whole else whole)  # not beyond a rate that falls away
            self.progress.append(there if there < 1.0 else 1.0)
        end = a + step * (0.25 * first + 0.75 * last)
        end = end if end < 1.0 else 1.0
        self.time.append(now)
        self.progress.append(end)
        return end


def _part(met: Met, begin: float, share: float) -> Met:
    """What the stages of a part of a step meet, which begins at ``begin`` and is this ``share`` of it."""
    p0, q0, t0, p2, q2, t2 = met
    p, q, t = 1.5 * (p2 - p0), 1.5 * (q2 - q0), 1.5 * (t2 - t0)
    last = begin + TWO_THIRDS * share
    return p0 + begin * p, q0 + begin * q, t0 + begin * t, p0 + last * p, q0 + last * q, t0 + last * t
