"""What becomes of one film, as one answer: curves and marks with bands, stall, what is doubtful."""

from typing import NamedTuple

import numpy as np

from curewatch.materials.system import ResinSystem
from curewatch.model.bond_window import BondWindow, bond_window
from curewatch.model.crowd import Band, Envelope, band, envelope, milestone_times
from curewatch.model.film import Cure, History, cure
from curewatch.model.milestones import MARKS, Stall, milestones, sanding_wait
from curewatch.units import FloatArray

FIRM = {"hard": "firm"}  # as people call it


class Outcome(NamedTuple):
    """One film from mixing to the end of its history."""

    system: ResinSystem
    film: Cure  # the likely lot
    envelope: Envelope
    marks: dict[str, Band]  # by name, in the order of their likely times [s from the start]
    bond: BondWindow  # of the likely lot, as if no blush formed
    stall: Stall | None
    doubts: tuple[str, ...]  # what a person must know before trusting it


def outcome(system: ResinSystem, history: History, *, peroxide_percent: float | None = None) -> Outcome:
    """Cure of one film along a history, with bands for the lot.

    Raises
    ------
    OutOfValidity, DoseOutOfRange
        As :func:`curewatch.model.film.cure`.
    """
    film = cure(system, history, peroxide_percent=peroxide_percent)
    alone = milestones(system, film)
    times = milestone_times(
        system, history, duration=float(history.time[-1]), peroxide_percent=peroxide_percent
    )
    marks = {name: _around(band(times[name]), getattr(alone, name)) for name in MARKS}
    waited = sanding_wait(system, film.time, film.temperature)
    marks["ready_to_sand"] = Band(*(np.maximum(each, waited) for each in marks["hard"]))
    marks = {FIRM.get(name, name): found for name, found in marks.items()}
    return Outcome(
        system,
        film,
        envelope(system, history, peroxide_percent=peroxide_percent),
        marks,
        bond_window(system, film),
        alone.stall,
        tuple(_doubts(system, history)),
    )


def _around(found: Band, likely: float) -> Band:
    """The band of one start, with the time of the likely lot in its middle."""
    middle: FloatArray = np.asarray(likely, dtype=np.float64)
    late = found.late[0]
    return Band(np.fmin(found.early[0], middle), middle, late if np.isnan(late) else np.fmax(late, middle))


def _doubts(system: ResinSystem, history: History) -> list[str]:
    coldest, warmest = float(history.temperature.min()), float(history.temperature.max())
    limits, said = system.limits, []
    if coldest < limits.lowest_temperature:
        said.append("colder than its lowest working temperature: it may not cure as computed")
    if warmest > limits.highest_temperature:
        said.append("warmer than its highest working temperature: it may be too quick to work")
    if system.surface.air_inhibited and not system.surface.wax:
        said.append("no wax: its open surface stays tacky in air until it is covered or laminated over")
    if system.surface.wax:
        said.append("wax floats up: abrade before anything is laminated or painted on it")
    return said
