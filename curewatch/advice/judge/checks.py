"""The lines that are drawn through a course: which paths hold, and what one start's check says.

A :class:`CheckLine` holds one value for each start and path against one limit. Each path carries one error
of each sensor (:mod:`curewatch.model.air.reading_errors`), so nothing is taken off here. ``holds`` gives
truth values for the strip of windows and the levers, ``judged`` gives the check that a person reads for one
start; both from the same numbers, so they cannot disagree.
"""

from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from curewatch.advice.judge.answer import Check, Moment, Status
from curewatch.advice.judge.course import Course
from curewatch.advice.judge.limits import Limit, Limits
from curewatch.advice.judge.situation import Surfaced
from curewatch.materials.resin import Resin
from curewatch.model.air import surface
from curewatch.model.film import blush
from curewatch.model.mass.laminate import BOILING, HOT
from curewatch.order import median
from curewatch.phrases import Said, phrase
from curewatch.units import FloatArray

BoolArray = NDArray[np.bool_]
OWN_HEAT = "own-heat"
BEYOND = 10.0  # K outside the sheet's range, where neither sheet nor model says anything (assumed)


class Errors(NamedTuple):
    """One standard deviation of what the sensors say, as it enters each check."""

    margin: float  # [K]
    temperature: float  # [K]
    humidity: float  # [1]


class CheckLine(Struct, frozen=True):
    """One question about every start and path. ``values`` (starts, members); nan never holds."""

    name: str
    title: str
    values: FloatArray
    limit: Limit
    at_least: bool

    def spare(self) -> FloatArray:
        """How far each value lies on the good side. (starts, members) [of the quantity]"""
        return self.values - self.limit.value if self.at_least else self.limit.value - self.values

    def holds(self) -> BoolArray:
        """Truth of each. (starts, members)"""
        return np.asarray(self.spare() >= 0.0)  # false for nan


def lines(seen: Course, limits: Limits) -> tuple[CheckLine, ...]:
    """The questions on the coming hours, and on the layer's own heat where it has any."""
    own = () if np.isnan(seen.own_peak).all() else (_boils(seen),)
    return (*weather_lines(seen, limits), *own)


def weather_lines(seen: Course, limits: Limits) -> tuple[CheckLine, ...]:
    """The questions on the coming hours, from the start until the film is set."""
    return (
        CheckLine(
            "condensation",
            "surface above dew point, until set",
            seen.lowest_margin,
            limits.condensation_margin,
            True,
        ),
        CheckLine(
            "warm-enough",
            "warm enough, until set",
            seen.lowest_temperature,
            limits.temperature_lowest,
            True,
        ),
        CheckLine(
            "cool-enough",
            "cool enough, until set",
            seen.highest_temperature,
            limits.temperature_highest,
            False,
        ),
        CheckLine(
            "dry-enough",
            "air dry enough, until set",
            seen.highest_humidity,
            limits.humidity_highest,
            False,
        ),
    )


def holds(seen: Course, drawn: tuple[CheckLine, ...]) -> BoolArray:
    """Paths on which every line holds and the film sets. (starts, members)"""
    all_hold = np.isfinite(seen.set)
    for line in drawn:
        all_hold = all_hold & line.holds()
    return all_hold


def judged(line: CheckLine, probability: float) -> Check:
    """The check for the first start: the value that this share of the paths stays on the good side of.

    It holds exactly when at least that share of the paths holds: with the paths in order, the value at
    place ``floor((1 - share) n)`` from the bad end decides.

    ``probability`` [1].
    """
    spare = np.sort(np.nan_to_num(line.spare()[0], nan=-np.inf))
    deciding = float(spare[int(np.floor((1.0 - probability) * spare.size + 1e-9))])
    value = line.limit.value + deciding if line.at_least else line.limit.value - deciding
    return Check(
        name=line.name,
        title=line.title,
        status=Status.HOLDS if deciding >= 0.0 else Status.FAILS,
        quantity=line.limit.quantity,
        value=value,
        limit=line.limit,
        sense="at least" if line.at_least else "at most",
        spare=deciding,
        probability=float(np.mean(line.holds()[0])),
    )


def shared(name: str, title: str, share: float, limits: Limits, reason: Said = "") -> Check:
    """A check on a share of the paths alone. ``share`` [1]."""
    limit = limits.probability
    return Check(
        name=name,
        title=title,
        status=Status.HOLDS if share >= limit.value else Status.FAILS,
        quantity="fraction",
        value=share,
        limit=limit,
        spare=share - limit.value,
        probability=share,
        reason=reason,
    )


def condensation_now(situation: Surfaced, limits: Limits, errors: Errors) -> Check | None:
    """The margin as measured, less what the sensors may err by at the chance asked for; none without both.

    No model of the coming hours is in it. It holds where the true margin keeps its limit with the chance
    that is asked for (``probability``), if sensors err normally.
    """
    air, below = situation.air, situation.surface
    if air is None or air.vapour_pressure is None or below.temperature is None:
        return None
    margin = float(surface.condensation_margin(below.temperature, air.vapour_pressure))
    error = allowance(limits) * errors.margin
    spare = margin - error - limits.condensation_margin.value
    older = min((air, below), key=lambda place: place.time)
    return Check(
        name="condensation-now",
        title="surface above dew point, now",
        status=Status.HOLDS if spare >= 0.0 else Status.FAILS,
        quantity="difference",
        value=margin,
        limit=limits.condensation_margin,
        error=error,
        spare=spare,
        age=situation.age(older),
        sensor=" + ".join(dict.fromkeys((below.sensor, air.sensor))),
        reason="surface estimated, no probe" if below.estimated else "",
    )


def allowance(limits: Limits) -> float:
    """Standard deviations that a measured value keeps from its limit, for the chance asked for. [1]"""
    return NormalDist().inv_cdf(limits.probability.value)


def resin_range(seen: Course, resin: Resin) -> Check | None:
    """Unknown, where the film would be far outside what the resin's sheet speaks of; else none."""
    low, high = resin.limits.lowest_temperature, resin.limits.highest_temperature
    coldest = float(median(seen.lowest_temperature[0]))
    warmest = float(median(seen.highest_temperature[0]))
    if coldest >= low - BEYOND and warmest <= high + BEYOND:
        return None
    found, limit, sense = (coldest, low, "at least") if coldest < low - BEYOND else (warmest, high, "at most")
    origin = resin.origins.get(
        "limits.lowest_temperature" if sense == "at least" else "limits.highest_temperature"
    )
    return Check(
        name="resin-range",
        title="within what is known of the resin",
        status=Status.UNKNOWN,
        quantity="temperature",
        value=found,
        limit=Limit(limit, "temperature", origin.tag if origin else "datasheet", f"{resin.name}: its sheet"),
        sense=sense,
        reason=phrase(
            "more than {beyond:difference} outside its range: neither sheet nor model covers it",
            beyond=BEYOND,
        ),
    )


def back_in_range(resin: Resin) -> Said:
    """What to do where neither sheet nor model speaks of a resin."""
    return phrase(
        "bring shed and resin between {low:temperature} and {high:temperature}, or take a resin whose sheet "
        "covers this temperature: `curewatch resin compare`",
        low=resin.limits.lowest_temperature,
        high=resin.limits.highest_temperature,
    )


def sensor_errors(situation: Surfaced) -> Errors:
    """What the sensors' errors make of each check's value, by linear propagation."""
    air, surface_sd = situation.air, situation.surface.temperature_sd
    if air is None or air.vapour_pressure is None:
        return Errors(np.inf, np.inf, np.inf)
    margin = float(surface.margin_sd(air.vapour_pressure, air.vapour_pressure_sd, surface_sd))
    return Errors(margin, max(air.temperature_sd, surface_sd), air.relative_humidity_sd)


BLUSH_REASON = {
    "none": "",
    "peel-ply": "Blush is likely before it sets: lay peel ply",
    "wash-and-abrade": "Blush is almost certain: lay peel ply, or wash and abrade after",
}


def blush_check(seen: Course, resin: Resin, limits: Limits) -> Check:
    """Blush that this share of the paths stays below: it asks for care, it does not forbid."""
    ordered = np.sort(seen.blush[0])
    probability = limits.probability.value
    value = float(ordered[int(np.ceil(probability * ordered.size)) - 1])
    outcome = blush.outcome(resin, value)
    origin = resin.origins.get("blush.peel_ply_from")
    limit = Limit(
        resin.blush.peel_ply_from,
        "duration",
        origin.tag if origin else "assumed",
        f"{resin.name}: {origin.source}" if origin else resin.name,
    )
    return Check(
        name="blush",
        title="amine blush, until set",
        status=Status.HOLDS if outcome == "none" else Status.CARE,
        quantity="duration",
        value=value,
        limit=limit,
        sense="at most",
        spare=limit.value - value,
        probability=float(np.mean(seen.blush[0] < limit.value)),  # from the limit on it asks for care
        reason=BLUSH_REASON[outcome],
    )


def _boils(seen: Course) -> CheckLine:
    source = "water in timber and foam turns to steam and lifts the layer: US patent 5,286,320 for foam"
    limit = Limit(BOILING, "temperature", "published", source)
    return CheckLine(OWN_HEAT, "not too hot by its own heat", seen.own_peak, limit, False)


def own_heat(seen: Course, limits: Limits) -> Check | None:
    """No-go, where the layer boils the water below; care, where foam and old laminate suffer; else none."""
    if np.isnan(seen.own_peak[0]).all():
        return None
    boils = judged(_boils(seen), limits.probability.value)
    if boils.status is Status.FAILS:
        return boils
    ordered = np.sort(seen.own_peak[0])
    value = float(ordered[int(np.ceil(limits.probability.value * ordered.size)) - 1])
    if value <= HOT:
        return None
    return Check(
        name=OWN_HEAT,
        title="not too hot by its own heat",
        status=Status.CARE,
        quantity="temperature",
        value=value,
        limit=Limit(HOT, "temperature", "assumed", "foam cores and old laminate suffer, shrinkage shows"),
        sense="at most",
        spare=HOT - value,
        probability=float(np.mean(seen.own_peak[0] <= HOT)),
        reason=phrase("It heats itself to {worst:temperature}: lay fewer plies at once", worst=value),
    )


def used_in_time(used: Moment, start: float, mass: float, use_rate: float) -> Check:
    """Whether a batch is spread before a fast lot of it would have to be used up.

    ``used`` is its moment "use-up"; its early edge decides.

    ``start`` [s], ``mass`` [kg], ``use_rate`` [kg/s].
    """
    needed = mass / use_rate
    limit = Limit(needed, "duration", "assumed", f"spread at {use_rate * 6e4:.0f} g a minute: time your own")
    left = np.inf if used.early is None else used.early - start
    return Check(
        name="batch",
        title="batch lasts until it is spread",
        status=Status.HOLDS if left >= needed else Status.FAILS,
        quantity="duration",
        value=None if used.early is None else left,
        limit=limit,
        spare=None if used.early is None else left - needed,
        reason="" if left >= needed else "mix less, or pour it into a tray",
    )
