"""Amine blush: how much of it a curing surface gathers, and what must be done about it.

Theory of operation. At a cool, damp surface amine that has not yet reacted takes up carbon dioxide
and water and leaves a waxy carbamate, on which nothing bonds. No published formula in humidity and
temperature exists. Ours is a stated construction: the exposure B is the integral, from spreading
until tack-free, of

    max(RHsurface - 40 %, 0) / 40 % x kc(T)/kc(20 degC) x CO2 / 420 ppm x class x (1 - a)^2

in seconds of a fresh mix at 80 % and 20 degC. (1 - a)^2 is the amine left: two of its hydrogens
must both be free (from memory). The recoat window goes on with the sum past tack-free. A rest in the
pot after mixing uses up amine before any surface is there.

The class of the amine is argued from its kind: a fast hardener is of small amines on unhindered carbon,
which take up carbon dioxide and water at once; those of a slow one are larger and often hindered; an
adduct has little left that can move to the face. Orderings are tested: damper, colder and more carbon
dioxide are never better, a longer rest is never worse, a fast hardener is never safer. The two limits
are ours, marked as assumed in each resin's file, and never shown as a decimal. Water on the uncured film
is another matter: :attr:`Blush.condensed` is a no-go whatever the exposure says.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.ensemble import Interval
from curewatch.model.film.film import Cure
from curewatch.model.film.lots import EARLY, LATE, MEDIAN
from curewatch.model.film.milestones import crossings
from curewatch.model.film.running_sum import gathered_at, running
from curewatch.order import quantiles
from curewatch.physics.cure_kinetics import arrhenius
from curewatch.units import FloatArray

OUTCOMES = ("none", "peel-ply", "wash-and-abrade")  # rising
DRY, DAMP = 0.40, 0.80  # no effect measured at or below, clear effect at: Bannister 2022, abstract
FRESH_AIR = 420e-6  # mole fraction of carbon dioxide
REFERENCE = 293.15  # K, to which the classes refer


class Blush(NamedTuple):
    """What a surface gathered."""

    exposure: FloatArray  # B of each member, or of the one [s]
    band: Interval  # over the members; all three alike for one [s]
    outcome: str  # of the likely one, one of OUTCOMES
    worst: str  # of the late edge of the band
    condensed: float  # share of members on whose uncured surface water condensed [1]
    reason: str  # what brought it about, in words

    @property
    def no_go(self) -> bool:
        """Whether water condensed on an uncured surface in any member."""
        return self.condensed > 0.0


def rate(
    resin: Resin,
    temperature: ArrayLike,
    surface_relative_humidity: ArrayLike,
    carbon_dioxide: ArrayLike = FRESH_AIR,
) -> FloatArray:
    """How fast exposure of a fresh mix grows: 1 at 80 %, 20 degC, fresh air, for an ordinary amine.

    Parameters
    ----------
    resin : Resin
    temperature : array_like, shape (...)
        Of the surface. [K]
    surface_relative_humidity : array_like, shape (...)
        Over liquid water, at the temperature of the surface. [1]
    carbon_dioxide : array_like, shape (...)
        Mole fraction; an unflued heater raises it. [1]

    Returns
    -------
    ndarray, shape (...)
        [1]

    Raises
    ------
    OutOfValidity
        A negative humidity or mole fraction, or one that looks like per cent or ppm.

    Source
    ------
    A construction of this project; humidity range from Bannister 2022 (a longer rest helps at 80 %, no
    measurable effect at 40 %), cold and heater carbon dioxide from O'Malley 2005 (abstracts read),
    activation energy of carbamation from memory. Orderings in tests/unit/test_blush.py.
    """
    humidity = np.asarray(surface_relative_humidity, dtype=float)
    dioxide = np.asarray(carbon_dioxide, dtype=float)
    _require("relative humidity at the surface", humidity, 3.0)
    _require("mole fraction of carbon dioxide", dioxide, 0.1)
    energy = resin.blush.energy
    speed = arrhenius(1.0, energy, temperature) / arrhenius(1.0, energy, REFERENCE)
    damp = np.clip((humidity - DRY) / (DAMP - DRY), 0.0, (1.0 - DRY) / (DAMP - DRY))
    return np.asarray(damp * speed * (dioxide / FRESH_AIR) * resin.blush.amine_factor, dtype=float)


def amine_left(conversion: ArrayLike) -> FloatArray:
    """Share of the amine that can still blush. [1] -> [1] Any shape (...)."""
    return np.asarray((1.0 - np.asarray(conversion, dtype=float)) ** 2)


def blush(
    resin: Resin,
    cure: Cure,
    surface_relative_humidity: ArrayLike,
    carbon_dioxide: ArrayLike = FRESH_AIR,
    *,
    rest: float = 0.0,
) -> Blush:
    """What the surface of a film gathers until it is tack-free.

    Parameters
    ----------
    resin : Resin
    cure : Cure
        Of one film (n,) or of members (members, n), from mixing.
    surface_relative_humidity, carbon_dioxide : array_like
        Over ``cure.time``, or one value for all. [1]
    rest : float
        How long the mix stood in its pot before it was spread. [s]

    Returns
    -------
    Blush

    Raises
    ------
    OutOfValidity
        The rest after mixing is below 0.
    """
    if rest < 0.0:
        raise OutOfValidity("rest after mixing in s", rest, "0 or more", "blush")
    humidity = np.broadcast_to(np.asarray(surface_relative_humidity, dtype=float), cure.conversion.shape)
    gathering = rate(resin, cure.temperature, humidity, carbon_dioxide)
    bound = crossings(cure.time, cure.conversion, resin.milestones.tack_free)
    total = running(cure.time, gathering * amine_left(cure.conversion))
    start = np.full(np.shape(bound), rest)
    exposure = np.maximum(gathered_at(cure.time, total, bound) - gathered_at(cure.time, total, start), 0.0)
    uncured = (cure.conversion < resin.milestones.tack_free) & (cure.time >= rest)
    wet = np.any(uncured & (humidity >= 1.0), axis=-1)
    low, likely, high = quantiles(np.atleast_1d(exposure), (EARLY, MEDIAN, LATE))
    found = outcome(resin, float(likely))
    return Blush(
        exposure=exposure,
        band=Interval(low, likely, high),
        outcome=found,
        worst=outcome(resin, float(high)),
        condensed=float(np.mean(wet)),
        reason=_why(
            resin,
            found,
            cure.temperature[uncured],
            humidity[uncured],
            float(np.mean(np.asarray(carbon_dioxide, dtype=float))),
        ),
    )


def outcome(resin: Resin, exposure: float) -> str:
    """The class of an exposure in this resin: none, peel-ply, wash-and-abrade. [s]"""
    limits = (resin.blush.peel_ply_from, resin.blush.wash_from)
    return OUTCOMES[sum(exposure >= limit for limit in limits)] if resin.blush.amine_factor else OUTCOMES[0]


def _why(
    resin: Resin, found: str, temperature: FloatArray, humidity: FloatArray, carbon_dioxide: float
) -> str:
    """What a person can act on; temperature and humidity are those met while uncured."""
    if not resin.blush.amine_factor:
        return "no amine, so no amine blush"
    damp = float(np.mean(humidity)) if humidity.size else 1.0  # no humidity kept it from forming: it had set
    if found == OUTCOMES[0]:
        return "dry enough at the surface" if damp <= DRY else "sets before much can form"
    reasons = [f"{100 * damp:.0f} % relative humidity at the surface while amine is free"]
    if float(np.mean(temperature)) < REFERENCE - 5.0:
        reasons.append("cold, so the amine stays free for long")
    if carbon_dioxide > 2 * FRESH_AIR:
        reasons.append("carbon dioxide as from an unflued heater")
    return "; ".join(reasons)


def _require(quantity: str, values: FloatArray, highest: float) -> None:
    if not np.all((values >= 0.0) & (values <= highest)):
        worst = float(np.ravel(values)[np.argmin(np.ravel((values >= 0.0) & (values <= highest)))])
        raise OutOfValidity(quantity, worst, f"0 to {highest:g}, as a fraction", "blush")
