"""All resin systems side by side in one steady air: what each would do on this surface tonight."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.course import AHEAD, course
from curewatch.advice.judge.limits import standard
from curewatch.advice.judge.weather import STEP, dressed
from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.air.surface import condensation_margin
from curewatch.model.film.ensemble import Interval, band
from curewatch.model.film.film import constant, cure
from curewatch.order import median
from curewatch.physics import moist_air
from curewatch.units import FloatArray

MEMBERS = 64  # lots
BLUSH = ("none", "peel-ply", "wash-and-abrade")


class Row(NamedTuple):
    """One resin. Bands are those of the lot, each a number. [s from mixing]"""

    resin: Resin
    working_time: Interval
    gel: Interval
    laminate_from: Interval
    laminate_before: Interval
    firm: Interval
    ready_to_sand: Interval
    blush: str  # none | peel ply | wash and abrade
    glass_transition: float  # after three days at this temperature [K]
    do_not: str  # why it must not be laid here; empty if nothing forbids it


def compare(
    resins: Iterable[Resin],
    temperature: float,
    relative_humidity: float,
    *,
    surface_temperature: float | None = None,
    carbon_dioxide: float = 420e-6,
) -> list[Row]:
    """Each resin as a film at this surface temperature for three days.

    Parameters
    ----------
    temperature, relative_humidity : float
        Of the air; the humidity over liquid water. [K], [1]
    surface_temperature : float, optional
        Of the work; that of the air if not given. [K]
    carbon_dioxide : float
        Mole fraction. [1]

    Raises
    ------
    OutOfValidity
        A temperature or humidity outside the equations.
    """
    surface = temperature if surface_temperature is None else surface_temperature
    if not 0.0 < relative_humidity <= 1.0:
        raise OutOfValidity("relative humidity", relative_humidity, "above 0 up to 1", "humid air")
    pressure = float(moist_air.vapour_pressure(temperature, relative_humidity))
    return [_row(resin, temperature, surface, pressure, carbon_dioxide) for resin in resins]


def forbidden(resin: Resin, surface: float, margin: float | None = None) -> str:
    """Why a film must not be laid on this surface at all; empty if nothing forbids it.

    Parameters
    ----------
    surface : float
        Its temperature, the lowest until the film sets. [K]
    margin : float, optional
        Surface above dew point, held against the same limit as a start. [K]
    """
    if margin is not None and round(margin, 2) <= 0.0:  # as shown, beyond what a solver leaves
        return "do not: the hull is wet"
    if margin is not None and margin < standard().condensation_margin.value:
        return "do not: the hull is too near the dew point"
    if surface < resin.limits.lowest_temperature:
        return "do not: below its lowest temperature"
    return ""


def _row(resin: Resin, air: float, surface: float, pressure: float, carbon_dioxide: float) -> Row:
    time: FloatArray = np.arange(0.0, AHEAD + 2 * STEP, STEP, dtype=np.float64)
    steady = [np.full((MEMBERS, time.size), value) for value in (air, surface, pressure)]
    found = course(resin, dressed(time, *steady), np.array([0]), carbon_dioxide=carbon_dioxide)

    def one(times: FloatArray) -> Interval:
        return Interval(*(part[0] for part in band(times)))

    end = cure(resin, constant(surface, AHEAD))
    exposure = float(median(found.blush[0]))  # of the one start
    step = sum(exposure >= limit for limit in (resin.blush.peel_ply_from, resin.blush.wash_from))
    return Row(
        resin,
        one(found.working_time),
        one(found.gel),
        one(found.recoat_from),
        one(found.laminate_before),
        one(found.firm),
        one(found.ready_to_sand),
        BLUSH[step],
        float(end.glass_transition[-1]),
        forbidden(resin, surface, float(condensation_margin(surface, pressure))),
    )
