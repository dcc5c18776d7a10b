"""What the sensors may read wrong, one constant for each path of an outlook.

*Theory of operation.* An outlook begins at what was read. Its truth lies off that by an error which a sensor
keeps for days. Nobody knows it, but the class of the part says how large it is likely to be. So each path
gets one error of each sensor, drawn once: the share of paths on which a check holds is then the chance that
it holds. Temperature and humidity come from one chip, so the dew point errs with the temperature of the air.
"""

from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.model.air.members import normal_members
from curewatch.model.air.outlook import Outlook, ReadingErrors
from curewatch.physics import moist_air
from curewatch.units import FloatArray

DRIEST = 0.01  # relative humidity that no error goes below [1]


class Accuracy(NamedTuple):
    """Standard deviations of what the sensors read."""

    air: float  # [K]
    humidity: float  # of the same chip [1]
    surface: float  # of its probe, or of what the surface lies off the air where it is estimated [K]
    estimated: bool  # the surface follows from the air, and errs with it


def with_errors(outlook: Outlook, accuracy: Accuracy) -> Outlook:
    """The same outlook with errors drawn for each path.

    Parameters
    ----------
    outlook : Outlook
        Of what the sensors will read.
    accuracy : Accuracy
        Of the sensors it begins with.

    Returns
    -------
    Outlook
        Deterministic: the same for the same input. Lots are shared out by halves, quarters and eighths of
        the members; the draws leave that pattern, so that no lot has errors of one sign.

    Source
    ------
    Normal errors, independent between sensors (GUM, JCGM 100:2008); classes in ``sensor_parts.toml``.
    """
    drawn = normal_members(outlook.air_temperature.shape[0], 4)[:, 1:, None]
    air, humidity, surface = (
        accuracy.air * drawn[:, 0],
        accuracy.humidity * drawn[:, 1],
        accuracy.surface * drawn[:, 2],
    )
    if accuracy.estimated:
        surface = surface + air
    errors = ReadingErrors(air, humidity, surface, np.ones_like(air))
    vapour = vapour_factor(errors, outlook.air_temperature, outlook.vapour_pressure)
    return replace(outlook, errors=errors._replace(vapour=vapour))


def vapour_factor(errors: ReadingErrors, air: FloatArray, vapour: FloatArray) -> FloatArray:
    """True vapour pressure as a multiple of that which was read, by air and vapour as read. (members, n)

    [K, Pa] -> [1]
    """
    humidity = moist_air.relative_humidity(air, vapour) - errors.humidity
    true = np.clip(humidity, DRIEST, 1.0) * moist_air.saturation_pressure(air - errors.air)
    return np.asarray(true / vapour)
