"""Cure of a thin film, which is always as warm as its surface.

Theory of operation. The state is one number, the progress of the cure: below 0 it counts the
inhibitor that is left, above 0 it is conversion. The temperature history is cut into blocks of at
most 15 minutes, the first ones shorter because an order m below 1 has no derivative at zero. In
each block the *rate constants* (not the temperatures) are averaged, and their slope inside the
block is kept; so the exponentials are taken once, on arrays, and the integration itself is plain
arithmetic: Runge–Kutta of third order, with shorter blocks where the reaction is fast.

Law kept: conversion never falls, and stays in 0..1. Checked against SciPy's solver at 1e-12.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.physics import glass_transition as glass
from curewatch.physics.cure_kinetics import arrhenius, require_temperature
from curewatch.units import FloatArray

BLOCK = 900.0  # s
FIRST_BLOCKS = (30.0, 30.0, 60.0, 120.0, 240.0, 420.0)  # s; together one block
SAMPLES = 6  # intervals in a block: each 2.5 minutes, so that kinks at whole 5 minutes are met
_SIMPSON = np.array([1.0, 4.0, 2.0, 4.0, 2.0, 4.0, 1.0]) / 18.0
_TRAPEZE = np.array([0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 0.5]) / 6.0
_OFFSET = np.linspace(-1.0, 1.0, SAMPLES + 1)
MEAN = tuple(_SIMPSON)
HALF = tuple(_TRAPEZE * _OFFSET / np.sum(_TRAPEZE * _OFFSET**2))
SPENT = 40.0  # rate constant x time after which a film has cured or turned to glass
LIKE = 3.0  # K
SWING = 4.0  # K within one block; more, and its rate is no straight line any more
LOOKED_BACK = 480  # blocks
SPENT_LIMIT = 1.0  # then, times 1 + (n-1) SPENT: no stage of a step can pass full conversion below 4/3 of it
LOWEST_CRITICAL = -5.0  # keeps the exponential of a frozen film finite; the rate is zero long before
STEP_LIMIT = 0.25  # largest rate constant x step of Runge–Kutta; adds less than 2e-5 (measured)
STEP_LIMIT_INHIBITED = 0.15  # errors grow a hundredfold from the end of induction to full cure


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


class Blocks(NamedTuple):
    """Rate constants at the start, middle and end of each block, so that their mean is right."""

    edge: FloatArray  # (blocks + 1,) [s]
    k1: FloatArray  # (3, ..., blocks) [1/s]
    k2: FloatArray
    critical: FloatArray  # conversion at which the glass overtakes the cure [1]


def constant(temperature: float, duration: float) -> History:
    """A history that stays at one temperature. [K, s]"""
    return History(np.array([0.0, duration]), np.array([temperature, temperature]))


def cure(
    resin: Resin,
    history: History,
    *,
    conversion: float = 0.0,
    rate_factor: float | ArrayLike = 1.0,
    peroxide_percent: float | None = None,
) -> Cure:
    """Conversion and glass transition of a film that follows a temperature history.

    Parameters
    ----------
    system : ResinSystem
    history : History
        One path (n,) or many (members, n). [s, K]
    conversion : float
        Where it starts; below 0 is inhibitor left. 0 means freshly mixed. [1]
    rate_factor : float or (members,)
        This lot against the system. [1]
    peroxide_percent : float, optional
        Polyester and vinyl ester only; the system's normal dose if not given. [per cent by mass]

    Returns
    -------
    Cure
        At the block edges (one path: also at the steps inside fast blocks).

    Raises
    ------
    OutOfValidity
        A history that is empty, runs backwards or leaves the range of the cure law.
    DoseOutOfRange
        Too little or too much peroxide.

    Source
    ------
    Kamal–Sourour kinetics with the diffusion limit of curewatch.physics.cure_kinetics; the
    integrator is ours, checked in tests/unit/test_film.py against solve_ivp at rtol 1e-12
    """
    require_history(history)
    factor = np.asarray(rate_factor, dtype=float) * resin.dose_factor(peroxide_percent)
    start = -resin.kinetics.inhibitor if conversion == 0.0 else conversion
    blocks = rate_blocks(resin, history, float(np.max(factor)))
    one = history.temperature.ndim == 1 and factor.ndim == 0
    advance: Callable[..., FloatArray] = _advance_one if one else _advance_many
    return finish(resin, history, blocks.edge, advance(resin, blocks, start, factor))


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


def rate_blocks(resin: Resin, history: History, factor: float = 1.0) -> Blocks:
    """Mean and slope of the rate constants in each block, as values at its start, middle and end."""
    edge = block_edges(resin, history, factor)
    inner = np.arange(SAMPLES) / SAMPLES
    fine = np.append((edge[:-1, None] + np.diff(edge)[:, None] * inner).ravel(), edge[-1])
    temperature = at_times(history, fine)
    kinetics, network = resin.kinetics, resin.network
    k1 = _lines(arrhenius(kinetics.k1, kinetics.energy_1, temperature))
    same = kinetics.energy_1 == kinetics.energy_2
    return Blocks(
        edge,
        k1,
        k1 * (kinetics.k2 / kinetics.k1)
        if same
        else _lines(arrhenius(kinetics.k2, kinetics.energy_2, temperature)),
        _lines(
            glass.conversion_at(temperature + kinetics.lead, network.uncured, network.full, network.shape)
        ),
    )


def block_edges(resin: Resin, history: History, factor: float = 1.0) -> FloatArray:
    """Edges of the blocks: 15 minutes, shorter at the start and where the reaction is fast. [s]"""
    duration = float(history.time[-1])
    begin = induction_end(resin, history, factor)
    graded = begin + np.cumsum((0.0, *FIRST_BLOCKS))
    whole = np.concatenate(
        [np.arange(0.0, begin - 1.0, BLOCK), graded, np.arange(graded[-1] + BLOCK, duration, BLOCK)]
    )
    edge = np.append(whole[whole < duration - 1.0], duration)
    kinetics = resin.kinetics
    energy = max(kinetics.energy_1, kinetics.energy_2)
    finest = STEP_LIMIT_INHIBITED if kinetics.inhibitor else STEP_LIMIT
    length, warmth = np.diff(edge), at_times(history, edge)
    steep = np.ceil(np.abs(np.diff(warmth)) / SWING).reshape(-1, length.size).max(axis=0)
    fastest = arrhenius(kinetics.k1 + kinetics.k2, energy, history.temperature.max())
    if factor * fastest * BLOCK <= finest and steep.max() <= 1.0:
        return edge
    warmth = np.maximum(warmth[..., 1:], warmth[..., :-1]).reshape(-1, length.size)
    k = factor * arrhenius(kinetics.k1 + kinetics.k2, energy, warmth)
    spent = _spent(k.min(axis=0) * length, warmth, SPENT + kinetics.inhibitor * kinetics.k2 / kinetics.k1)
    limit = np.where(spent, SPENT_LIMIT * (1.0 + (kinetics.n - 1.0) * SPENT), finest)
    parts = np.maximum(np.ceil(k.max(axis=0) * length / limit), steep).astype(int)
    begins = np.repeat(edge[:-1], parts)
    within = np.arange(begins.size) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.append(begins + within * np.repeat(length / parts, parts), duration)


def _spent(done: FloatArray, warmth: FloatArray, enough: float) -> NDArray[np.bool_]:
    """Blocks in which nothing fast is left: enough was done before, at temperatures like this or above.

    ``done`` (blocks,) is rate constant x time, ``warmth`` (members, blocks) [K]. A film that turned to
    glass in the cold is not spent when it is warmed. Looked back on: five days or more.
    """
    cold, hot, spent = warmth.min(axis=0), warmth.max(axis=0), np.zeros(done.size, dtype=bool)
    for first in range(0, done.size, LOOKED_BACK):
        rows, seen = slice(first, first + LOOKED_BACK), max(0, first - LOOKED_BACK)
        past = slice(seen, first + LOOKED_BACK)
        before = np.tril(cold[None, past] >= hot[rows, None] - LIKE, first - seen - 1)
        spent[rows] = before @ done[past] > enough
    return spent


def induction_end(resin: Resin, history: History, factor: float = 1.0) -> float:
    """When the fastest member has used up its inhibitor; the end of the history if none does. [s]"""
    if resin.kinetics.inhibitor == 0.0:
        return 0.0
    time = np.arange(0.0, float(history.time[-1]) + 60.0, 60.0)
    k1 = factor * arrhenius(resin.kinetics.k1, resin.kinetics.energy_1, at_times(history, time))
    k1 = k1 if k1.ndim == 1 else k1.max(axis=0)
    used = np.concatenate([[0.0], np.cumsum(30.0 * (k1[1:] + k1[:-1]))])
    return float(np.interp(resin.kinetics.inhibitor, used, time))


def _lines(fine: FloatArray) -> FloatArray:
    """The straight line of right mean and first moment through each block of samples: (3, ..., blocks)."""
    samples = [fine[..., offset : offset - SAMPLES or None : SAMPLES] for offset in range(SAMPLES)]
    samples.append(fine[..., SAMPLES::SAMPLES])
    mean = sum(weight * sample for weight, sample in zip(MEAN, samples, strict=True))
    half = sum(weight * sample for weight, sample in zip(HALF, samples, strict=True))
    return np.stack([mean - half, mean, mean + half])


def _advance_one(resin: Resin, blocks: Blocks, start: float, factor: float) -> FloatArray:
    """One path, in plain Python: for one number numpy costs more than it saves."""
    kinetics = resin.kinetics
    m, n, steep, exp = kinetics.m, kinetics.n, kinetics.steepness, math.exp
    k1, k2 = (factor * blocks.k1).T.tolist(), (factor * blocks.k2).T.tolist()
    critical = (steep * np.maximum(blocks.critical, LOWEST_CRITICAL)).T.tolist()
    values, a = [start], start
    for step, (p, pm, pe), (q, qm, qe), (c, cm, ce) in zip(
        np.diff(blocks.edge).tolist(), k1, k2, critical, strict=True
    ):
        if a < 0.0:  # the inhibitor goes at the rate at which cure will start
            used = step * pm / (1.0 + exp(-cm))
            if a + used <= 0.0:
                a += used
                values.append(a)
                continue
            step *= (a + used) / used  # noqa: PLW2901 - what is left of it once the inhibitor is gone
            a = 0.0
        # Ralston's third order; the rate is written out three times because a call would cost a fifth more.
        f1 = (p + q * a**m) * (1.0 - a) ** n / (1.0 + exp(steep * a - c))
        x = a + 0.5 * step * f1
        f2 = (pm + qm * x**m) * (1.0 - x) ** n / (1.0 + exp(steep * x - cm))
        x = a + 0.75 * step * f2
        p3, q3, c3 = 0.5 * (pm + pe), 0.5 * (qm + qe), 0.5 * (cm + ce)
        f3 = (p3 + q3 * x**m) * (1.0 - x) ** n / (1.0 + exp(steep * x - c3))
        a += step * (2.0 * f1 + 3.0 * f2 + 4.0 * f3) / 9.0
        values.append(a)
    return np.array(values)


def _advance_many(resin: Resin, blocks: Blocks, start: float, factor: FloatArray) -> FloatArray:
    """Many paths at once: the same scheme on arrays over the members. -> (members, edges)"""
    k1, k2, critical = (
        np.moveaxis(np.atleast_2d(value) if value.ndim == 3 else value[:, None, :], -1, 0)
        for value in (blocks.k1, blocks.k2, np.maximum(blocks.critical, LOWEST_CRITICAL))
    )
    members = np.broadcast_shapes(k1.shape[-1:], factor.shape)[0]
    values = np.empty((blocks.edge.size, members))
    values[0] = a = np.full(members, start)
    for index, step in enumerate(np.diff(blocks.edge)):
        p, q, c = factor * k1[index], factor * k2[index], critical[index]
        f1 = progress_rate(resin, a, p[0], q[0], c[0])
        f2 = progress_rate(resin, a + 0.5 * step * f1, p[1], q[1], c[1])
        f3 = progress_rate(resin, a + 0.5 * step * f2, p[1], q[1], c[1])
        f4 = progress_rate(resin, a + step * f3, p[2], q[2], c[2])
        a = a + step / 6.0 * (f1 + 2.0 * (f2 + f3) + f4)
        values[index + 1] = a
    return values.T


def progress_rate(
    resin: Resin, progress: FloatArray, k1: FloatArray, k2: FloatArray, critical: FloatArray
) -> FloatArray:
    """Rate of the progress for arrays; the inhibitor goes at the rate at which cure will start. [1/s]"""
    kinetics = resin.kinetics
    a = np.clip(progress, 0.0, 1.0)
    chemical = (k1 + k2 * a**kinetics.m) * (1.0 - a) ** kinetics.n
    return np.asarray(chemical / (1.0 + np.exp(kinetics.steepness * (a - critical))), dtype=float)
