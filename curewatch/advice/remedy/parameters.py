"""What can be turned to make a start a go: warmth, dryness, a warmer surface; and what is at hand for it.

A :class:`Parameter` is a lever before its amount is known.
"""

from collections.abc import Callable

import numpy as np
from msgspec import Struct

from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.model.air import warming
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.shed import Shed
from curewatch.order import median
from curewatch.units import HOUR, FloatArray, kelvin_from_celsius

LEADS = (0.0, 2 * HOUR)  # how long before the start the heat or the drying goes on
WARMEST = kelvin_from_celsius(30.0)  # more is no shed

Change = Callable[[Outlook, float, float], Outlook]  # outlook, amount, until -> outlook


class Parameter(Struct, frozen=True, eq=False):
    """A lever before its amount is known: ``values`` rise in effort, a whole number of tolerances apart."""

    kind: str
    values: FloatArray
    tolerance: float
    change: Change
    switch_on: float
    start: float
    group: int = 0  # parameters of one kind and group are one lever with several leads

    @property
    def step(self) -> float:
        """One tolerance towards more effort. [of the amount]"""
        return self.tolerance if self.values[-1] >= self.values[0] else -self.tolerance

    def allows(self, value: float) -> bool:
        """Whether this amount lies within what is tried. [of the amount]"""
        low, high = min(self.values[0], self.values[-1]), max(self.values[0], self.values[-1])
        return bool(low <= value <= high)


class Means(Struct, frozen=True):
    """What is at hand: the shed as identified, its heater, other resins on the shelf.

    Every heat that is proposed is electric or flued: an unflued ``burner`` is named only to refuse it.
    """

    shed: Shed
    others: tuple[Question, ...] = ()
    power: float | None = None  # what the heater gives; unknown if none [W]
    burner: str = ""  # what the shed's heater burns without a flue


HELD_BELOW = 3.0  # K; to keep the air near what it is now through a cold night may be enough
HELD_ABOVE, DAMPEST = 0.10, 0.95  # likewise of its humidity, which rises as the night cools; the most to ask


def parameters(
    question: Question, known: Surfaced, outlook: Outlook, start: float, means: Means
) -> list[Parameter]:
    """Warming the shed, drying its air, warming the surface; each with the leads it may need.

    ``start`` [s].
    """
    air = float(median(outlook.air_temperature[:, 0]))
    humidity = known.air.relative_humidity if known.air is not None else None
    warmest = min(WARMEST, question.limits.temperature_highest.value - 2.0)
    targets = np.arange(0.5 * np.ceil(2 * air) - HELD_BELOW, warmest + 0.01, 3.0)
    dampest = min(DAMPEST, np.floor(100 * (humidity or 0.0)) / 100 + HELD_ABOVE)
    dryness = np.arange(dampest, 0.29, -0.10)
    rises = np.arange(0.0, 16.1, 4.0)
    found = []
    for lead in LEADS:
        begins, works = (known.at, max(start, known.at + lead))
        if targets.size:
            found.append(
                Parameter(
                    "warm", targets, 0.5, _warmer(question, means, begins, max(HOUR, lead)), begins, works
                )
            )
        if humidity is not None:
            found.append(Parameter("dry", dryness, 0.01, _drier(means, begins), begins, works))
        found.append(Parameter("surface", rises, 0.5, _warmer_surface(question, begins), begins, works))
    return [parameter for parameter in found if parameter.values.size > 1]


def _warmer(question: Question, means: Means, switch_on: float, ramp: float) -> Change:
    def change(outlook: Outlook, target: float, until: float) -> Outlook:
        return warming.warmed(
            outlook,
            means.shed,
            target,
            switch_on,
            until,
            substrate=question.substrate,
            ramp=ramp,
        ).outlook

    return change


def _drier(means: Means, switch_on: float) -> Change:
    def change(outlook: Outlook, humidity: float, until: float) -> Outlook:
        return warming.dried(outlook, means.shed, humidity, switch_on, until).outlook

    return change


def _warmer_surface(question: Question, switch_on: float) -> Change:
    def change(outlook: Outlook, rise: float, until: float) -> Outlook:
        return warming.surface_warmed(outlook, rise, switch_on, until, substrate=question.substrate)

    return change
