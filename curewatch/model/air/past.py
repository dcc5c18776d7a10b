"""The recent days of one shed on one regular grid: what outlook and shed are learned from."""

from typing import NamedTuple

import numpy as np

from curewatch.units import FloatArray


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
