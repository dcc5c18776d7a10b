"""The surface that is laminated: its margin to the dew point, the error of that margin, and its
temperature where no probe is taped to it.

*Theory of operation.* A surface in air is a lumped body behind a film of still air: its temperature
follows the air's with the time constant rho c L / h of the substrate. Without a probe that is all
that is known, so the estimate carries a band as wide as the lag it had to correct.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import Substrate
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.units import HOUR, FloatArray

# Radiation to a cold roof at night, air that is layered, a skin with air on both sides: what a lumped
# body in mixed air leaves out. ASSUMED, spread 0.5 K.
UNPROBED_SD = 1.0  # K
# Before the recording began the surface may have been this far from the air. ASSUMED, spread 2 K.
UNKNOWN_START_SD = 4.0  # K
# Share of the lag's own effect that is counted as its error: h is known within a factor of 1.5. ASSUMED.
LAG_DOUBT = 0.4
FORGOTTEN = 96 * HOUR  # nothing that is laminated on remembers longer
WIDEST_GAP = 3 * HOUR  # in the air's recording that a straight line bridges


class Estimate(NamedTuple):
    """A surface temperature without a probe, and how far it may be off. Arrays (...)."""

    temperature: FloatArray  # [K]
    sd: FloatArray  # [K]


def condensation_margin(surface_temperature: ArrayLike, vapour_pressure: ArrayLike) -> FloatArray:
    """How far a surface stands above the dew point of the air over it.

    Parameters
    ----------
    surface_temperature : array_like, shape (...)
        [K]
    vapour_pressure : array_like, shape (...)
        Of the air. [Pa]

    Returns
    -------
    ndarray, shape (...)
        Positive while the surface stays dry. [K]

    Raises
    ------
    OutOfValidity
        The vapour pressure has no dew point in the range of the source.

    Source
    ------
    ISO 8502-4 practice (quoted second-hand): at least 3 K above the dew point; checked against
    tests/published/tables/condensation_margin.csv.
    """
    return np.asarray(surface_temperature, dtype=np.float64) - moist_air.dew_point(vapour_pressure)


def vapour_pressure_sd(
    temperature: ArrayLike,
    relative_humidity: ArrayLike,
    temperature_sd: ArrayLike,
    relative_humidity_sd: ArrayLike,
) -> FloatArray:
    """Error of the vapour pressure that one chip's temperature and humidity give.

    Parameters
    ----------
    temperature, temperature_sd : array_like, shape (...)
        Of the chip. [K]
    relative_humidity, relative_humidity_sd : array_like, shape (...)
        Of the same chip. [1]

    Returns
    -------
    ndarray, shape (...)
        One standard deviation. [Pa]

    Raises
    ------
    OutOfValidity
        Temperature outside the range of the saturation equation.

    Source
    ------
    Linear propagation of independent errors (GUM, JCGM 100:2008, equation 10).
    """
    by_humidity = moist_air.saturation_pressure(temperature) * np.asarray(relative_humidity_sd)
    by_temperature = np.asarray(relative_humidity) * moist_air.saturation_slope(temperature)
    return np.asarray(np.hypot(by_humidity, by_temperature * np.asarray(temperature_sd)))


def margin_sd(
    vapour_pressure: ArrayLike, vapour_pressure_sd: ArrayLike, surface_temperature_sd: ArrayLike
) -> FloatArray:
    """Error of the condensation margin when the surface has a thermometer of its own.

    Parameters
    ----------
    vapour_pressure, vapour_pressure_sd : array_like, shape (...)
        Of the air. [Pa]
    surface_temperature_sd : array_like, shape (...)
        Of the probe, or of the estimate. [K]

    Returns
    -------
    ndarray, shape (...)
        One standard deviation. [K]

    Raises
    ------
    OutOfValidity
        The vapour pressure has no dew point in the range of the source.

    Source
    ------
    Linear propagation of independent errors (GUM, JCGM 100:2008, equation 10).
    """
    slope = moist_air.saturation_slope(moist_air.dew_point(vapour_pressure))
    return np.asarray(np.hypot(np.asarray(vapour_pressure_sd) / slope, np.asarray(surface_temperature_sd)))


def lagged_temperature(
    time: ArrayLike, air_temperature: ArrayLike, time_constant: float, start: ArrayLike | None = None
) -> FloatArray:
    """Temperature of a lumped body that follows air given at some moments.

    Parameters
    ----------
    time : array_like, shape (n,)
        Rising; any spacing. [s]
    air_temperature : array_like, shape (..., n)
        Taken as straight lines between the moments. [K]
    time_constant : float
        rho c L / h of the body, positive. [s]
    start : array_like, shape (...), optional
        Temperature of the body at ``time[0]``; that of the air if not given. [K]

    Returns
    -------
    ndarray, shape (..., n)
        [K]

    Raises
    ------
    OutOfValidity
        A time constant that is not positive, or times that do not rise.

    Source
    ------
    Exact solution of tau dT/dt = T_air - T for an input that is linear over each step.
    """
    moments = np.asarray(time, dtype=np.float64)
    air = np.asarray(air_temperature, dtype=np.float64)
    if not time_constant > 0:
        raise OutOfValidity("time constant", time_constant, "more than 0 s", "a lumped body")
    ratio = np.diff(moments) / time_constant
    if not np.all(ratio > 0):
        raise OutOfValidity(
            "time step", float(np.nanmin(ratio)) * time_constant, "more than 0 s", "a lumped body"
        )
    kept = np.exp(-ratio)
    mean = -np.expm1(-ratio) / ratio  # share of the newest value that has not yet arrived
    body = np.empty(air.shape)
    body[..., 0] = air[..., 0] if start is None else start
    fresh = air[..., 1:] * (1 - mean) + air[..., :-1] * (mean - kept)
    if body.ndim == 1:  # a month of minutes: plain numbers are thirty times as fast as single cells
        last, passed = float(body[0]), [float(body[0])]
        for share, gained in zip(kept.tolist(), fresh.tolist(), strict=True):
            last = share * last + gained
            passed.append(last)
        body[:] = passed
        return body
    passing, gains = body.T.copy(), fresh.T.copy()  # a moment of all bodies lies side by side
    for index, share in enumerate(kept.tolist()):
        np.multiply(passing[index], share, out=passing[index + 1])
        passing[index + 1] += gains[index]
    return np.ascontiguousarray(passing.T)


def estimated(time: ArrayLike, air_temperature: ArrayLike, substrate: Substrate) -> Estimate:
    """The surface temperature where no probe is, from the air's history and the substrate's lag.

    Parameters
    ----------
    time : array_like, shape (n,)
        Rising. [s]
    air_temperature : array_like, shape (n,)
        Without gaps. [K]
    substrate : Substrate
        Whose thermal lag counts.

    Returns
    -------
    Estimate
        Temperature and one standard deviation, each (n,): the wider, the shorter the history and the
        further the air has moved from where the body still is.

    Raises
    ------
    OutOfValidity
        Times that do not rise.

    Source
    ------
    :func:`lagged_temperature`; the three parts of the band are ASSUMED, see the module's constants.
    """
    moments = np.asarray(time, dtype=np.float64)
    air = np.asarray(air_temperature, dtype=np.float64)
    body = lagged_temperature(moments, air, substrate.time_constant)
    forgotten = np.exp(-(moments - moments[0]) / substrate.time_constant)
    sd = np.sqrt(UNPROBED_SD**2 + (LAG_DOUBT * (air - body)) ** 2 + (UNKNOWN_START_SD * forgotten) ** 2)
    return Estimate(body, sd)


def through(
    time: ArrayLike, air_temperature: ArrayLike, probe: ArrayLike, substrate: Substrate
) -> FloatArray:
    """The surface temperature through recorded time: the probe's, else the air's behind the substrate's lag.

    Parameters
    ----------
    time : array_like, shape (n,)
        Rising. [s]
    air_temperature, probe : array_like, shape (n,)
        As recorded; ``nan`` where nothing came. [K]
    substrate : Substrate
        Whose thermal lag counts.

    Returns
    -------
    ndarray, shape (n,)
        ``nan`` where neither was recorded. [K]

    Raises
    ------
    OutOfValidity
        Times that do not rise.

    Source
    ------
    :func:`lagged_temperature`; across a gap the air is taken as a straight line.
    """
    moments, air = np.asarray(time, dtype=np.float64), np.asarray(air_temperature, dtype=np.float64)
    known = np.isfinite(air)
    lagged = np.full(air.shape, np.nan)
    if known.sum() > 1:
        lagged[known] = lagged_temperature(moments[known], air[known], substrate.time_constant)
    measured = np.asarray(probe, dtype=np.float64)
    return np.where(np.isnan(measured), lagged, measured)


def estimated_now(past: Past, at: float, air_temperature: float, substrate: Substrate) -> Estimate:
    """The surface now, from the last stretch of recorded air that no gap of more than three hours breaks.

    Parameters
    ----------
    past : Past
        Its air temperature counts; ``nan`` where nothing came.
    at : float
        UTC of now. [s]
    air_temperature : float
        Now. [K]
    substrate : Substrate
        Whose thermal lag counts.

    Returns
    -------
    Estimate
        Scalars; with nothing recorded the air's temperature and the widest band.

    Source
    ------
    :func:`estimated`.
    """
    known = np.isfinite(past.air_temperature) & (past.time < at) & (past.time > at - FORGOTTEN)
    time = np.append(past.time[known], at)
    air = np.append(past.air_temperature[known], air_temperature)
    breaks = np.flatnonzero(np.diff(time) > WIDEST_GAP)
    begin = int(breaks[-1]) + 1 if len(breaks) else 0
    found = estimated(time[begin:], air[begin:], substrate)
    return Estimate(found.temperature[-1], found.sd[-1])
