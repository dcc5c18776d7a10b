"""What becomes of one film, as one answer: curves and marks with bands, stall, what is doubtful."""

from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film.ensemble import Envelope, Interval, band, envelope, milestone_times
from curewatch.model.film.film import Cure, History, cure
from curewatch.model.film.milestones import MARKS, Stall, milestones, sanding_wait
from curewatch.model.film.recoat_window import RecoatWindow, recoat_window
from curewatch.units import FloatArray


class FilmOutcome(NamedTuple):
    """One film from mixing to the end of its history."""

    resin: Resin
    film: Cure  # the likely lot
    envelope: Envelope
    marks: dict[str, Interval]  # by name, in the order of their likely times [s from the start]
    bond: RecoatWindow  # of the likely lot, as if no blush formed
    stall: Stall | None
    doubts: tuple[str, ...]  # what a person must know before trusting it


def outcome(resin: Resin, history: History, *, peroxide_percent: float | None = None) -> FilmOutcome:
    """Cure of one film along a history, with bands for the lot.

    Raises
    ------
    OutOfValidity, DoseOutOfRange
        As :func:`curewatch.model.film.film.cure`.
    """
    film = cure(resin, history, peroxide_percent=peroxide_percent)
    alone = milestones(resin, film)
    times = milestone_times(
        resin, history, duration=float(history.time[-1]), peroxide_percent=peroxide_percent
    )
    marks = {name: _around(band(times[name]), getattr(alone, name)) for name in MARKS}
    waited = sanding_wait(resin, film.time, film.temperature)
    marks["ready_to_sand"] = Interval(*(np.maximum(each, waited) for each in marks["firm"]))
    return FilmOutcome(
        resin,
        film,
        envelope(resin, history, peroxide_percent=peroxide_percent),
        marks,
        recoat_window(resin, film),
        alone.stall,
        tuple(_doubts(resin, history)),
    )


def _around(found: Interval, likely: float) -> Interval:
    """The band of one start, with the time of the likely lot in its middle."""
    middle: FloatArray = np.asarray(likely, dtype=np.float64)
    late = found.late[0]
    return Interval(
        np.fmin(found.early[0], middle), middle, late if np.isnan(late) else np.fmax(late, middle)
    )


def _doubts(resin: Resin, history: History) -> list[str]:
    coldest, warmest = float(history.temperature.min()), float(history.temperature.max())
    limits, said = resin.limits, []
    if coldest < limits.lowest_temperature:
        said.append("colder than its lowest working temperature: it may not cure as computed")
    if warmest > limits.highest_temperature:
        said.append("warmer than its highest working temperature: it may be too quick to work")
    if resin.surface.air_inhibited and not resin.surface.wax:
        said.append("no wax: its open surface stays tacky in air until it is covered or laminated over")
    if resin.surface.wax:
        said.append("wax floats up: abrade before anything is laminated or painted on it")
    return said
