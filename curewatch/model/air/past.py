"""The recent days of one shed on one regular grid: what outlook and shed are learned from."""

from typing import NamedTuple

import numpy as np

from curewatch.units import FloatArray

AIR, DEW_POINT, SURFACE = 0, 1, 2  # places of the own quantities


class Hours(NamedTuple):
    """A past on whole hours before now: (quantities, hours), now last; ``nan`` where unknown."""

    hour_of_day: FloatArray  # UTC (hours,)
    own: FloatArray  # what is forecast: air, dew point, perhaps surface [K]
    beside: FloatArray  # what only helps: air and dew point outside [K]

    @property
    def spread(self) -> FloatArray:
        """Air above its dew point. (hours,) [K]"""
        return np.asarray(self.own[AIR] - self.own[DEW_POINT])

    @property
    def margin(self) -> FloatArray:
        """Surface above dew point, of the air where no probe is. (hours,) [K]"""
        return np.asarray(self.own[SURFACE if len(self.own) > SURFACE else AIR] - self.own[DEW_POINT])


class Past(NamedTuple):
    """The recent days on one regular grid; ``nan`` where nothing is known. All arrays are (n,)."""

    time: FloatArray  # UTC [s]
    air_temperature: FloatArray  # [K]
    vapour_pressure: FloatArray  # of the shed's air [Pa]
    surface_temperature: FloatArray  # [K]
    outside_temperature: FloatArray  # [K]
    outside_vapour_pressure: FloatArray  # [Pa]


def no_past() -> Past:
    """A past of which nothing is known."""
    return Past(*(np.empty(0) for _ in Past._fields))
