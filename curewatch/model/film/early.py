"""The time before diffusion matters: a film's progress is a function of its age, and no step is taken.

Theory of operation. While chemistry alone holds the rate, and both of its paths have one activation energy,
da/dt = f(a) r(T). Progress then depends on age alone: the time at 25 degC that would have done the same.
Age along a path is one integral for all starts; progress by age is one curve for each lot. The flow map takes
films up once diffusion resists a thousandth of what chemistry does at the coldest of the path.

Law kept: that of the film, without diffusion. What is left out is below 1e-5 of conversion.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.materials.resin import Resin
from curewatch.model.film.flow_map import SingleArray
from curewatch.model.film.lots import Lot
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.units import FloatArray

LEFT_OUT = 1e-3  # of chemistry's resistance is diffusion's, where age no longer tells progress
NODES = 2001  # of conversion
UNHINDERED = 1e40  # 1/s, kd0 of a film that diffusion never holds back: less than it in 1e16


class Entries(NamedTuple):
    """Films that are taken up by a stepping. Arrays (films,)."""

    film: NDArray[np.intp]  # start * members + member
    step: NDArray[np.intp]
    state: SingleArray  # (rows, films), there: of a film its progress alone [1]


class Early(NamedTuple):
    """What age tells of every start and member."""

    step: NDArray[np.intp]  # (starts, members), at the beginning of which age has told what it can
    progress: SingleArray  # (starts, members), there [1]
    times: FloatArray  # (levels, starts, members), when each is passed; nan where that comes later [s]


@lru_cache(maxsize=32)
def _curve(resin: Resin) -> tuple[FloatArray, FloatArray]:
    """Age at 25 degC [s] and progress [1] of a film that diffusion does not hold back."""
    law, wait = resin.law(), resin.kinetics.inhibitor
    node = 0.999 * np.linspace(0.0, 1.0, NODES) ** 1.5
    fine = np.sort(np.append(node, 0.5 * (node[1:] + node[:-1])))
    free = law._replace(diffusion=UNHINDERED).kernel(np.exp)
    slow = 1.0 / free(fine, law.k1, law.k2, REFERENCE_TEMPERATURE)
    age = np.append(0.0, np.cumsum(np.diff(node) / 6.0 * (slow[:-2:2] + 4.0 * slow[1::2] + slow[2::2])))
    if not wait:
        return age, node
    return np.append(0.0, wait / law.k1 + age), np.append(-wait, node)


def _chemical(lot: Lot, coldest: FloatArray) -> FloatArray:
    """Conversion up to which age tells the progress of this lot on paths no colder than this. [K] -> [1]"""
    law, kinetics = lot.resin.law(), lot.resin.kinetics
    if kinetics.energy_1 != kinetics.energy_2:
        return np.full(coldest.shape, -np.inf)
    k1, k2 = law.constants(coldest)
    return law.slowed_to((k1 + k2) / LEFT_OUT, coldest)


def early(
    lots: list[Lot],
    lot: NDArray[np.intp],
    paths: tuple[FloatArray, float],
    laid: tuple[NDArray[np.intp], int],
    marks: tuple[FloatArray, FloatArray],
) -> Early:
    """Films from laying to where diffusion begins to matter.

    Parameters
    ----------
    lots, lot : list of Lot, (members,)
    paths : (steps, members), float
        Temperature that stands for each step [K], and its length [s].
    laid : (starts,), int
        The step at which each is laid; and so many together are a long step, to whole ones of which age
        tells where it can.
    marks : (levels,), (members,)
        Conversions asked for, and that by which the stepping must have taken each member up. [1]

    Returns
    -------
    Early
        (starts, members); times (levels, starts, members). [s]

    Raises
    ------
    OutOfValidity
        A path leaves the range of the cure law.

    Source
    ------
    Equivalent age of a reaction with one activation energy; SciPy: tests/unit/test_ensemble_steps.py
    """
    (warmth, step), (levels, lowest), (enter, long) = paths, marks, laid
    parts = [(each, np.flatnonzero(lot == number), _curve(each.resin)) for number, each in enumerate(lots)]
    age = np.zeros((lot.size, warmth.shape[0] + 1))
    until, wanted = np.empty(lot.size), np.empty((levels.size, lot.size))
    for each, mine, (known, gone) in parts:
        own = warmth[:, mine]
        energy = each.resin.kinetics.energy_2 / GAS_CONSTANT
        rate = np.exp(energy * (1.0 / REFERENCE_TEMPERATURE - 1.0 / own)) * (each.factor * step)
        age[mine, 1:] = np.cumsum(rate.T, axis=1)
        last = np.minimum(_chemical(each, own.min(axis=0)), lowest[mine])
        until[mine] = np.where(last > gone[0], np.interp(last, gone, known), 0.0)
        wanted[:, mine] = np.where(levels[:, None] < last, np.interp(levels, gone, known)[:, None], np.nan)
    begun, asked = age[:, enter], np.flatnonzero(~np.isnan(wanted).all(axis=1))
    ages = np.vstack((until, wanted[asked])).T[..., None] + begun[:, None]  # (members, 1 + asked, starts)
    ends, reached = np.arange(age.shape[1], dtype=float), np.empty_like(ages)
    for each, own, found in zip(
        ages, age, reached, strict=True
    ):  # the quicker: it stays in a processor's cache
        found[:] = np.interp(each, own, ends, right=np.inf)
    place = np.minimum(reached[:, 0], warmth.shape[0]).astype(np.intp)
    place = np.maximum(place - place % long, enter)
    old = np.take_along_axis(age, place, axis=1) - begun
    progress = np.empty(old.shape, np.float32)
    for _, mine, curve in parts:
        progress[mine] = np.interp(old[mine], *curve)
    times, when = np.full((levels.size, *begun.T.shape), np.nan), reached[:, 1:] - enter
    times[asked] = np.where(when <= (place - enter)[:, None], step * when, np.nan).transpose(1, 2, 0)
    return Early(place.T, progress.T, times)
