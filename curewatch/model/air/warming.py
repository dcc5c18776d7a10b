"""What a heater, a dehumidifier or a lamp would do to the coming hours of this shed, and what it takes.

*Theory of operation.* The shed is linear, so whatever is added rides on top of each member: a rise of
temperature decays with the shed's time constant, a change of vapour with its air changes. Nothing has to
be known of the outside. A rise is never taken away faster than it decays: heaters do not cool.

Heat is electric or flued: it brings no water. An unflued burner is never proposed.
"""

from itertools import accumulate
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import Substrate
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.shed import Shed
from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air
from curewatch.units import HOUR, FloatArray


class Warming(NamedTuple):
    """A heated outlook, and what it takes on each member."""

    outlook: Outlook
    power: FloatArray  # (members, n - 1), mean over each step [W]
    energy: FloatArray  # (members,) [J]


class Drying(NamedTuple):
    """A dried outlook, and what it takes on each member."""

    outlook: Outlook
    rate: FloatArray  # (members, n - 1), water taken out [kg/s]
    water: FloatArray  # (members,) [kg]


def warmed(
    outlook: Outlook,
    shed: Shed,
    target: float,
    begin: float,
    end: float,
    *,
    substrate: Substrate,
    ramp: float = HOUR,
) -> Warming:
    """The coming hours with the air held at ``target`` or above from ``begin`` to ``end``.

    Parameters
    ----------
    outlook : Outlook
        As it would be without heat.
    shed : Shed
        Its time constant and heat loss count.
    target : float
        Of the air. [K]
    begin, end : float
        UTC at which the heater goes on and off. [s]
    substrate : Substrate
        How slowly the surface follows.
    ramp : float
        How long the heater takes to reach the target. [s]

    Returns
    -------
    Warming
        Power is what the shed asks for: compare it with the heater at hand.

    Raises
    ------
    OutOfValidity
        A target above 60 degC, or an end that is not after the beginning.

    Source
    ------
    First-order shed of :mod:`curewatch.model.air.shed`, exact for a rise that is held over each step.
    """
    if not target <= 333.15:
        raise OutOfValidity("target temperature", target, "at most 333.15 K", "a heated shed")
    wanted = np.maximum(0.0, target - outlook.air_temperature) * _switched(outlook.time, begin, end, ramp)
    kept = np.exp(-_step(outlook) / shed.time_constant)
    rise = _held(wanted, kept)
    air = outlook.air_temperature + rise
    power = shed.heat_loss * (rise[:, 1:] - kept * rise[:, :-1]) / (1 - kept)
    energy = power.sum(axis=1) * _step(outlook)
    changed = replace(
        outlook,
        air_temperature=air,
        surface_temperature=outlook.surface_temperature
        + lagged_temperature(outlook.time, rise, substrate.time_constant, 0.0),
    )
    return Warming(changed, power, energy)


def dried(
    outlook: Outlook, shed: Shed, relative_humidity: float, begin: float, end: float, *, ramp: float = HOUR
) -> Drying:
    """The coming hours with the air held at ``relative_humidity`` or below from ``begin`` to ``end``.

    Parameters
    ----------
    outlook : Outlook
        As it would be without.
    shed : Shed
        Its volume and air changes count.
    relative_humidity : float
        Of the air, 0.1 to 1. [1]
    begin, end : float
        UTC at which the dehumidifier goes on and off. [s]
    ramp : float
        How long it takes to get there. [s]

    Returns
    -------
    Drying
        Water is what the dehumidifier must take out of the air that keeps leaking in; what comes out
        of damp timber and ground is in the shed's effective air changes only so far as it was recorded.

    Raises
    ------
    OutOfValidity
        A humidity outside 0.1 to 1, or an end that is not after the beginning.

    Source
    ------
    First-order vapour balance of :mod:`curewatch.model.air.shed`.
    """
    if not 0.1 <= relative_humidity <= 1.0:
        raise OutOfValidity("relative humidity", relative_humidity, "0.1 to 1", "a dried shed")
    saturation = moist_air.saturation_pressure(outlook.air_temperature)
    wanted = np.maximum(0.0, outlook.vapour_pressure - relative_humidity * saturation)
    kept = np.exp(-_step(outlook) * shed.air_changes)
    drop = _held(wanted * _switched(outlook.time, begin, end, ramp), kept)
    taken = shed.air_changes * (drop[:, 1:] - kept * drop[:, :-1]) / (1 - kept)  # Pa/s
    rate = taken * shed.volume / (moist_air.WATER_GAS_CONSTANT * outlook.air_temperature[:, 1:])
    changed = replace(outlook, vapour_pressure=outlook.vapour_pressure - drop)
    return Drying(changed, rate, rate.sum(axis=1) * _step(outlook))


def surface_warmed(
    outlook: Outlook, rise: float, begin: float, end: float, *, substrate: Substrate
) -> Outlook:
    """The coming hours with the surface alone kept ``rise`` K warmer, by a lamp or a blanket.

    ``rise`` [K], ``begin``, ``end`` [s].

    Raises
    ------
    OutOfValidity
        A rise that is negative or above 60 K, or an end that is not after the beginning.
    """
    if not 0 <= rise <= 60:
        raise OutOfValidity("rise of the surface", rise, "0 to 60 K", "a warmed surface")
    ramp = max(_step(outlook), substrate.time_constant)
    wanted = rise * _switched(outlook.time, begin, end, ramp)[None]
    extra = _held(wanted, float(np.exp(-_step(outlook) / substrate.time_constant)))
    return replace(outlook, surface_temperature=outlook.surface_temperature + extra)


def _step(outlook: Outlook) -> float:
    return float(outlook.time[1] - outlook.time[0])


def _switched(time: FloatArray, begin: float, end: float, ramp: float) -> FloatArray:
    """From 0 at ``begin`` to 1 a ramp later, and 0 after ``end``, (n,)."""
    if not end > begin:
        raise OutOfValidity("end of the lever", end, f"after its beginning at {begin:.0f} s", "a lever")
    rising = np.clip((time - begin) / max(ramp, 1.0), 0.0, 1.0)
    return np.asarray(np.where(time <= end, rising, 0.0))


def _held(wanted: FloatArray, kept: float) -> FloatArray:
    """What is wanted, but falling no faster than by ``kept`` a step."""
    if len(wanted) == 1:  # plain numbers are ten times as fast as single cells
        row = accumulate(wanted[0].tolist(), lambda last, now: max(now, kept * last))
        return np.array([list(row)])
    held = wanted.T.copy()  # a moment of all members lies side by side
    for index in range(1, len(held)):
        np.maximum(held[index], kept * held[index - 1], out=held[index])
    return np.ascontiguousarray(held.T)
