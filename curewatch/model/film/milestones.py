"""When the work changes its nature: working time, recoat from, gel, tack-free, firm, ready to sand; stalls.

A film is *firm* to the thumb once it is a glass at its own temperature: it may be handled. Makers
let nobody sand it so soon, for dust of green resin causes allergy and clogs the paper. *Ready to sand* is
therefore the later of firm and the stated wait, carried to other temperatures by the model's own energy.
"""

from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from curewatch.materials.resin import Resin
from curewatch.model.film.film import Cure, History
from curewatch.model.film.running_sum import running
from curewatch.physics import glass_transition as glass
from curewatch.physics.constants import REFERENCE_TEMPERATURE
from curewatch.physics.cure_kinetics import arrhenius
from curewatch.units import FloatArray

MARKS = ("working_time", "recoat_from", "gel", "tack_free", "firm")  # in the order of their times


class Stall(NamedTuple):
    """A film that turned to glass before it was finished."""

    at: float  # when it turned to glass [s from the start]
    conversion: float  # at the end of the history [1]
    glass_transition: float  # at the end of the history [K]
    before: str  # "gel" | "tack-free" | "full cure": the first thing it did not reach


class Milestones(Struct, frozen=True):
    """Times from the start; nan if not reached within the history. Arrays for many members. [s]"""

    working_time: float
    recoat_from: float
    gel: float
    tack_free: float
    firm: float
    ready_to_sand: float
    stall: Stall | None

    @property
    def stalled(self) -> bool:
        """Whether the film turned to glass before it gelled or became tack-free."""
        return self.stall is not None and self.stall.before != "full cure"


def milestones(resin: Resin, cure: Cure, bare: History | None = None) -> Milestones:
    """Milestones of one film.

    Parameters
    ----------
    resin : Resin
    cure : Cure
        Of one member. Many members: :mod:`curewatch.model.film.flow_map`.
    bare : History, optional
        The surface without the layer's own heat, where that is in the cure: stated waits pass by it.

    Returns
    -------
    Milestones
        ``tack_free`` is nan for a resin whose surface air keeps tacky; ``firm`` asks for that
        conversion and for a glass transition above the temperature of the film.
    """
    short_of_firm = firm_conversion(resin, cure.temperature) - cure.conversion
    times = {mark: crossing(cure.time, cure.conversion, at) for mark, at in thresholds(resin).items()}
    firm = crossing(cure.time, -short_of_firm, 0.0)
    surface = (cure.time, cure.temperature) if bare is None else bare
    touched = touch_wait(resin, *surface)
    times["tack_free"], firm = (float(np.maximum(at, touched)) for at in (times["tack_free"], firm))
    waited = float(np.maximum(firm, sanding_wait(resin, *surface)))  # nan stays nan
    return Milestones(**times, firm=firm, ready_to_sand=waited, stall=stall(resin, cure))


def age_rate(resin: Resin, temperature: ArrayLike, reference: float) -> FloatArray:
    """How fast a film ages at this temperature, against a reference. [K] -> [1] Any shape (...)."""
    energy = resin.kinetics.energy_2
    rate: FloatArray = arrhenius(1.0, energy, temperature) / arrhenius(1.0, energy, reference)
    return rate


def sanding_age(resin: Resin, temperature: FloatArray) -> FloatArray:
    """How fast the stated wait before sanding passes at this temperature. [K] -> [1] Any shape (...)."""
    reference = resin.milestones.sand_temperature
    return np.ones_like(temperature) if reference is None else age_rate(resin, temperature, reference)


def sanding_wait(resin: Resin, time: FloatArray, temperature: FloatArray) -> float:
    """When the stated wait is over on one path (n,); 0 where none is stated, nan if not by its end. [s]"""
    wait = resin.milestones.sand
    if wait is None:
        return 0.0
    return crossing(time, running(time, sanding_age(resin, temperature)), wait)


def touch_wait(resin: Resin, time: FloatArray, temperature: FloatArray) -> float:
    """The same for a film that the maker calls tack-free later than the model does. [s] (n,), (n,)"""
    wait, reference = resin.milestones.touch, resin.milestones.touch_temperature
    if wait is None:
        return 0.0
    aged = running(time, age_rate(resin, temperature, reference or REFERENCE_TEMPERATURE))
    return crossing(time, aged, wait)


def thresholds(resin: Resin) -> dict[str, float]:
    """Conversion of each mark that is one; nan for tack-free if air keeps the surface tacky. [1]"""
    marks = resin.milestones
    tacky = resin.surface.air_inhibited and not resin.surface.wax
    return {
        "working_time": marks.open,
        "recoat_from": marks.recoat_from,
        "gel": marks.gel,
        "tack_free": float("nan") if tacky else marks.tack_free,
    }


def firm_conversion(resin: Resin, temperature: FloatArray) -> FloatArray:
    """Conversion from which a film of this temperature is firm: cured enough not to be tacky, and a glass.

    A cold film that turns to glass early is not called firm: it softens again when it is warmed. [K] -> [1]

    Any shape (...).
    """
    network = resin.network
    glassy = glass.conversion_at(temperature, network.uncured, network.full, network.shape)
    return np.maximum(glassy, resin.milestones.tack_free)


def crossing(time: FloatArray, value: FloatArray, threshold: float) -> float:
    """First time at which a value reaches a threshold, straight between points; nan if never. [s]

    (n,), (n,)
    """
    reached = np.flatnonzero(value >= threshold)
    if reached.size == 0:
        return float("nan")
    index = int(reached[0])
    if index == 0:
        return float(time[0])
    share = (threshold - value[index - 1]) / (value[index] - value[index - 1])
    return float(time[index - 1] + share * (time[index] - time[index - 1]))


def crossings(time: FloatArray, value: FloatArray, threshold: float) -> FloatArray:
    """As :func:`crossing` for each row of values (..., n): (...). [s]"""
    reached = value >= threshold
    index = np.argmax(reached, axis=-1)
    here = np.maximum(index, 1)
    before, after = (
        np.take_along_axis(value, (here + offset)[..., None], axis=-1)[..., 0] for offset in (-1, 0)
    )
    rise = np.where(after > before, after - before, 1.0)
    share = np.where(index == 0, 0.0, (threshold - before) / rise)
    found = time[here - 1] + share * (time[here] - time[here - 1])
    return np.where(reached.any(axis=-1), found, np.nan)


def glass_reached(resin: Resin, temperature: FloatArray) -> FloatArray:
    """Conversion from which a film of this temperature counts as glass: it goes on slowly if at all. [1]

    Any shape (...).
    """
    return resin.law().vitrified(temperature)


def closing_conversion(resin: Resin, temperature: FloatArray) -> FloatArray:
    """Conversion from which too few groups are left for a next layer, never before gel. [K] -> [1]

    Any shape (...).
    """
    return np.maximum(resin.bond.closes * resin.law().reachable(temperature), resin.milestones.gel)


def stall(resin: Resin, cure: Cure) -> Stall | None:
    """What became of a film that is a glass at the end of its history, None if it is not."""
    beyond = cure.conversion - glass_reached(resin, cure.temperature)
    if beyond[-1] < 0.0:
        return None
    at = crossing(cure.time, beyond, 0.0)
    end = float(cure.conversion[-1])
    marks = resin.milestones
    before = "gel" if end < marks.gel else "tack-free" if end < marks.tack_free else "full cure"
    return Stall(at, end, float(cure.glass_transition[-1]), before)
