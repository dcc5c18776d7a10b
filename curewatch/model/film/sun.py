"""What a film comes to under paint in the sun: two weeks in the shed, then sunny days.

Source
------
Surfaces of 70 to 80 degC under dark paint and to 50 degC under pale paint: common practice. The checks of the
trade (a general-purpose epoxy softens there, an ordinary polyester laminate does not) are in
``tests/published/test_glass_published.py``.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film.film import History, cure
from curewatch.model.film.finish import lower_band
from curewatch.units import DAY, HOUR, ZERO_CELSIUS

DARK = 75.0 + ZERO_CELSIUS  # of a dark surface at noon (common practice) [K]
PALE = 50.0 + ZERO_CELSIUS  # of a pale one [K]
SHED = 20.0 + ZERO_CELSIUS  # two weeks before, and each night (assumed) [K]
INDOORS, DAYS = 14, 28  # days in the shed; days altogether
RISES, SHINES = 8 * HOUR, 8 * HOUR  # s of the day


class InTheSun(NamedTuple):
    """Glass transitions of one film. [K]"""

    before: float  # when it leaves the shed
    likely: float  # after the sunny days
    least: float  # the same by the lower band


def sunny_days(noon: float) -> History:
    """Surface temperatures: two weeks in the shed, then eight hours of sun a day. [K] -> History"""
    time = np.arange(0.0, DAYS * DAY, HOUR / 4)
    sun = np.maximum(0.0, np.sin(np.pi * (time % DAY - RISES) / SHINES)) * (time % DAY < RISES + SHINES)
    return History(time, SHED + (noon - SHED) * sun * (time >= INDOORS * DAY))


@lru_cache(maxsize=64)
def in_the_sun(resin: Resin, noon: float) -> InTheSun:
    """What the film has come to before and after two weeks of sun. [K]

    Parameters
    ----------
    noon : float
        Warmest temperature of its surface each day. [K]

    Raises
    ------
    OutOfValidity
        A temperature outside the law's range.
    """
    history = sunny_days(noon)
    likely, least = cure(resin, history), cure(lower_band(resin), history)
    before = float(np.interp(INDOORS * DAY, likely.time, likely.glass_transition))
    return InTheSun(before, float(likely.glass_transition[-1]), float(least.glass_transition[-1]))
