"""A post-cure: warmth that takes a film further than its shed, as a schedule that never softens it.

Theory of operation. A part is warmed by 5 K at a time, at most 10 K an hour, and never to more than 10 K
above the glass transition that the lower band has by then: where that lags, the step is held until it has
followed. At the last temperature it is held until a slow lot has what is wanted. Two films are carried
along, a tick at a time: the likely one says when it is done, the lower band's how warm it may be.

Law kept: no step is warmer than the lower band's glass transition at its beginning by more than SOFTENS.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from curewatch.materials.resin import Resin
from curewatch.model.film.lots import rate_factor_at
from curewatch.physics.constants import REFERENCE_TEMPERATURE
from curewatch.physics.glass_transition import glass_transition
from curewatch.units import HOUR, ZERO_CELSIUS

LONGEST = 24 * HOUR  # of a post-cure that anybody will hold [s]
SHORTEST = 2 * HOUR  # so that the part is warm through (common practice) [s]
RAMP = 10.0 / HOUR  # how fast a part is warmed (common practice) [K/s]
STEP = 5.0  # from one temperature of a schedule to the next [K]
TICK = 300.0  # s
OVENS = tuple(celsius + ZERO_CELSIUS for celsius in (40.0, 50.0, 60.0, 70.0, 80.0))  # tents, blankets [K]
WAYS = 3  # of post-cure that are offered
SLOW_LOT = 0.05  # a post-cure must also do for a slow lot: this quantile of its rate
SOFTENS = 10.0  # K above its present glass transition at which an unfinished film may be warmed (assumed)
CAUTION = (
    "WARNING: a warm part softens before it hardens, and heat starts fires. Warm it about 10 K an hour, with "
    "the part supported. Use a heated blanket with a thermostat on a residual-current device, by the local "
    "electrical code; stay with it. Never an open flame. Structural or classed work: ask a surveyor."
)


class OvenStep(NamedTuple):
    """A temperature that is held, before the next one."""

    temperature: float  # [K]
    duration: float  # [s]


class PostCure(NamedTuple):
    """A schedule: up in steps, never more than SOFTENS above the present glass transition, then held."""

    steps: tuple[OvenStep, ...]  # the last one is the hold

    @property
    def temperature(self) -> float:
        """At which it is held. [K]"""
        return self.steps[-1].temperature

    @property
    def duration(self) -> float:
        """From the first step to the end of the hold. [s]"""
        return sum(each.duration for each in self.steps)


def post_cures(
    films: tuple[Resin, Resin],
    conversion: tuple[float, float],
    wanted: float,
    temperatures: Sequence[float] = OVENS,
    *,
    begin: float = REFERENCE_TEMPERATURE,
) -> tuple[PostCure, ...]:
    """Schedules that bring a film of a slow lot to a glass transition, the gentlest first.

    Parameters
    ----------
    films : (Resin, Resin)
        The likely film, and that of the lower band, which says how warm the part may be.
    conversion : (float, float)
        Of both now. [1]
    wanted : float
        [K]
    temperatures : sequence of float
        At which it may be held. [K]
    begin : float
        How warm the part is. [K]
    """
    found = []
    for kelvin in temperatures:
        schedule = _schedule(films, conversion, wanted, (begin, kelvin))
        if schedule is not None:
            found.append(schedule)
            if schedule.steps[-1].duration <= SHORTEST:
                break  # hotter brings nothing more
    return tuple(found[:WAYS])


def _schedule(
    resins: tuple[Resin, Resin], conversion: tuple[float, float], wanted: float, span: tuple[float, float]
) -> PostCure | None:
    """Up by STEP as the lower band's glass allows, then held until a slow lot has what is wanted."""
    films = [_Warmed(*each) for each in zip(resins, conversion, strict=True)]
    steps: list[OvenStep] = []
    level, spent = STEP * math.ceil((span[0] - ZERO_CELSIUS) / STEP) + ZERO_CELSIUS, 0.0
    while spent < LONGEST:
        held, last = 0.0, level >= span[1] - 1e-6
        while spent + held < LONGEST:
            done = films[0].transition >= wanted and held >= SHORTEST if last else held >= STEP / RAMP
            if done and (last or films[1].transition + SOFTENS >= level + STEP):
                break
            for film in films:
                film.hold(level)
            held += TICK
        else:
            return None
        steps, spent = [*steps, OvenStep(level, held)], spent + held
        if last:
            return PostCure(tuple(steps))
        level = min(level + STEP, span[1])
    return None


class _Warmed:
    """A film of a slow lot in an oven, one tick after another."""

    def __init__(self, resin: Resin, conversion: float) -> None:
        self._law = resin.law(rate_factor_at(resin, SLOW_LOT))
        self._rate, self._conversion = self._law.at(math.exp), conversion

    @property
    def transition(self) -> float:
        """[K]"""
        return float(glass_transition(self._conversion, *self._law[-3:]))

    def hold(self, kelvin: float) -> None:
        """One tick, by the midpoint."""
        half = min(self._conversion + 0.5 * TICK * self._rate(self._conversion, kelvin), 1.0)
        self._conversion = min(self._conversion + TICK * self._rate(half, kelvin), 1.0)


def gentle_start(glass_transition: float) -> float:
    """How warm a film of this glass transition may be made at first. [K] -> [K]"""
    return glass_transition + SOFTENS
