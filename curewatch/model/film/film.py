"""Cure of a thin film, which is always as warm as its surface.

Theory of operation. The state is one number, the progress of the cure: below 0 it counts the
inhibitor that is left, above 0 it is conversion. The temperature history is cut into blocks of at
most 15 minutes. In each block the *rate constants* (not the temperatures alone) are averaged, and their
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

BLOCK = 900.0  # s
SWING = 2.0  # K within one block; more, and its rate is no straight line any more
SAMPLES = 6  # intervals in a block: each 2.5 minutes, so that kinks at whole 5 minutes are met
WITHIN = np.linspace(0.0, 1.0, SAMPLES + 1)  # where in its block each sample lies
_SIMPSON = np.array([1.0, 4.0, 2.0, 4.0, 2.0, 4.0, 1.0]) / 18.0
_TRAPEZE = np.array([0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 0.5]) / 6.0
_OFFSET = 2.0 * WITHIN - 1.0
_SLOPE = _TRAPEZE * _OFFSET / np.sum(_TRAPEZE * _OFFSET**2)
# Samples -> the straight line of right mean and first moment, at the start, 1/3 and 2/3 of the block.
LINE = _SIMPSON[:, None] + _SLOPE[:, None] * np.array([-1.0, -1.0 / 3.0, 1.0 / 3.0])
BENT = 5e-5  # of conversion by which the rate may bend within a step
GROWING = 1000.0  # times the bend: more than the rate where it grows, and the error would grow with it
FALLING = 0.7  # of the rate is left after two thirds of a step; less, and it falls into the glass
SHORTEST = 2.0  # s
MOST = 0.03  # of conversion in a step: a rate that peaks within a longer one may look straight
CURVED = (
    2e-2  # of conversion in a step: more, and points within it are told, since readers draw straight lines
)
WITHIN_STEP = (0.25, 0.5, 0.75)
HALVES = ((0.0, 0.5), (0.5, 1.0))
FRESH = 1e-3  # the same at the start, where an order m below 1 has no derivative: then at most doubled
CREEPING = 5e-4  # of conversion in a step: so slow, the stage in the middle changes nothing (measured)

Line = list[float]  # at the three stages of a step
Lines = Sequence[Line]  # of both rate constants and the temperature


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
    """Dress a progress with conversion, glass transition and temperature."""
    conversion = np.maximum(progress, 0.0)
    network = resin.network
    transition = glass.glass_transition(conversion, network.uncured, network.full, network.shape)
    temperature = at_times(history, time)
    if temperature.ndim < conversion.ndim:
        temperature = np.broadcast_to(temperature, conversion.shape)
    return Cure(time, conversion, transition, temperature, progress)


def require_history(history: History) -> None:
    """Raise unless time rises and every temperature is usable."""
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
    """Edges of the blocks: 15 minutes, shorter where the temperature swings. [s]"""
    duration = float(history.time[-1])
    edge = np.append(np.arange(0.0, duration - 1.0, BLOCK), duration)
    swing = np.abs(np.diff(np.interp(edge, history.time, history.temperature)))
    if swing.max() <= SWING:
        return edge
    parts = np.ceil(np.maximum(swing, 1e-9) / SWING).astype(int)
    within = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.append(np.repeat(edge[:-1], parts) + within * np.repeat(np.diff(edge) / parts, parts), duration)


def _advance(resin: Resin, history: History, start: float, factor: float) -> tuple[FloatArray, FloatArray]:
    """Time and progress, in plain Python: for one number numpy costs more than it saves."""
    edge, law = _edges(history), resin.law(factor)
    temperature = np.interp(edge[:-1, None] + np.diff(edge)[:, None] * WITHIN, *history)
    met = (*law.constants(temperature), temperature)
    track, a = _Track(law.kernel(math.exp), met, start), start
    lines = zip(*((each @ LINE).tolist() for each in met), strict=True)
    steps = zip(edge[1:].tolist(), np.diff(edge).tolist(), lines, strict=True)
    for block, (now, step, line) in enumerate(steps):
        a = track.thirds(a, now, step, block) if a < 0.0 else track.stride(a, now, step, line, block)
    return np.array(track.time), np.array(track.progress)


class _Track:
    """Where a film has been."""

    def __init__(self, rate: Callable[..., float], met: Sequence[FloatArray], start: float) -> None:
        """``met``: both rate constants and the temperature at the samples of each block (blocks, samples)."""
        self.time, self.progress = [0.0], [start]
        self._rate, self._met = rate, met

    def thirds(self, a: float, now: float, step: float, block: int) -> float:
        """Progress after a block, taken in thirds, in each of which its temperature is straight."""
        sampled = [each[block].tolist() for each in self._met]
        for part in range(3):
            met = [_straight(*line[2 * part : 2 * part + 3]) for line in sampled]
            end, third = now - (2 - part) * step / 3.0, step / 3.0
            if a < 0.0:
                left = self._waited(a, end, third, met)
                a, third = self.progress[-1], left * third
                met = [_part(line, 1.0 - left, 1.0) for line in met]
            if a >= 0.0 and third > 0.0:
                a = self.stride(a, end, third, met)
        return a

    def _waited(self, a: float, now: float, step: float, met: Lines) -> float:
        """Share of a step that is left once the inhibitor is gone, at the rate at which cure will start."""
        first, last = (self._rate(0.0, *(line[stage] for line in met)) for stage in (0, 2))
        rise = 1.5 * (last - first)
        used = step * (first + 0.5 * rise)
        gone = 1.0
        if a + used > 0.0:
            gone = -2.0 * a / (first + math.sqrt(first**2 - 2.0 * rise * a / step)) / step
        self._note(now - (1.0 - gone) * step, min(a + used, 0.0))
        return 1.0 - gone

    def stride(self, a: float, now: float, step: float, met: Lines, block: int = -1) -> float:
        """Conversion after a step that ends now, by Heun's third order; every part of it is noted.

        ``block``: which block it is, if a whole one.
        """
        rate, (p, q, t), third = self._rate, met, step / 3.0
        first = rate(a, p[0], q[0], t[0])
        if step * first < CREEPING:
            a += 0.75 * third * (first + 3.0 * rate(a + 2.0 * third * first, p[2], q[2], t[2]))
            self._note(now, a)
            return a
        second = last = 0.0
        if step * first < min(MOST, a + FRESH):
            second = rate(min(a + third * first, 1.0), p[1], q[1], t[1])
            last = rate(min(a + 2.0 * third * second, 1.0), p[2], q[2], t[2])
        bent = abs(first - 2.0 * second + last)
        rough = step * bent > BENT or last < FALLING * first or GROWING * bent > first < last
        if rough and step > SHORTEST:
            if block >= 0:
                return self.thirds(a, now, step, block)
            half, (early, late) = 0.5 * step, ([_part(line, *ends) for line in met] for ends in HALVES)
            return self.stride(self.stride(a, now - half, half, early), now, half, late)
        end = min(a + 0.75 * third * (first + 3.0 * last), 1.0)
        if step * last > CURVED:
            self._between((a, end), now, step, first, met)
        self._note(now, end)
        return end

    def _between(self, ends: tuple[float, float], now: float, step: float, first: float, met: Lines) -> None:
        """Note points within a step, on the cubic that has both its ends and both their rates."""
        begin, gained = ends[0], ends[1] - ends[0]
        last = self._rate(ends[1], *(line[0] + 3.0 * (line[1] - line[0]) for line in met))
        for share in WITHIN_STEP:
            bow = (1.0 - share) * step * first - share * step * last + (2.0 * share - 1.0) * gained
            self._note(now + (share - 1.0) * step, begin + share * (gained + (1.0 - share) * bow))

    def _note(self, time: float, progress: float) -> None:
        self.time.append(time)
        self.progress.append(progress)


def _straight(begin: float, middle: float, end: float) -> Line:
    """The line through both ends, moved so that its mean is right (Simpson's rule)."""
    third = (end - begin) / 3.0
    first = (begin + 4.0 * middle + end) / 6.0 - 1.5 * third
    return [first, first + third, first + 2.0 * third]


def _part(line: Line, begin: float, end: float) -> Line:
    """What the stages of a part of a block meet."""
    rise, third = 3.0 * (line[1] - line[0]), (end - begin) / 3.0
    return [line[0] + rise * (begin + stage * third) for stage in (0.0, 1.0, 2.0)]
