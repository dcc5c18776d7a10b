"""What becomes of one film, as one answer: curves and marks with bands, stall, what is doubtful."""

from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film.ensemble import Envelope, Interval, band, envelope, milestone_times
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import Cure, History, cure
from curewatch.model.film.finish import lower_band
from curewatch.model.film.milestones import MARKS, Stall, milestones, sanding_wait
from curewatch.model.film.recoat_window import RecoatWindow, recoat_window
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import Laminate
from curewatch.model.mass.layer_cure import layer_cure
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
    layer: Laminate | None = None  # of a layer that warms itself
    slowed: Cure | None = None  # the same layer of a resin by the lower band


def outcome(
    resin: Resin,
    history: History,
    *,
    peroxide_percent: float | None = None,
    buildup: Buildup | None = None,
) -> FilmOutcome:
    """Cure of one film along a history, with bands for the lot; of a layer that warms itself by ``buildup``.

    The usual lot of such a layer is the laminate through its thickness, along the surface that is given.

    ``peroxide_percent`` [% by mass of resin].

    Raises
    ------
    OutOfValidity, DoseOutOfRange
        As :func:`curewatch.model.film.film.cure`.
    """
    heat, layer = None, None
    if buildup is None:
        film = quick = cure(resin, history, peroxide_percent=peroxide_percent)
    else:
        heat = Heat(buildup)
        layer = layer_cure(resin, history, buildup, peroxide_percent=peroxide_percent)
        film, quick = layer.slowest, layer.quickest
    alone, first = (milestones(resin, part, history) for part in (film, quick))
    likely = {name: getattr(alone, name) for name in MARKS} | {"working_time": first.working_time}
    if layer is not None:
        likely["gel"] = layer.whole.gel
    times = milestone_times(
        resin, history, duration=float(history.time[-1]), peroxide_percent=peroxide_percent, heat=heat
    )
    marks = {name: _around(band(times[name]), likely[name]) for name in MARKS}
    waited = sanding_wait(resin, history.time, history.temperature)
    marks["ready_to_sand"] = Interval(*(np.maximum(each, waited) for each in marks["firm"]))
    window = recoat_window(resin, quick)
    return FilmOutcome(
        resin,
        film,
        envelope(resin, history, film, peroxide_percent=peroxide_percent, heat=heat),
        marks,
        window._replace(opens=recoat_window(resin, film).opens),
        alone.stall,
        tuple(_doubts(resin, history)),
        None if layer is None else layer.whole,
        None if buildup is None else layer_cure(lower_band(resin), history, buildup).slowest,
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
