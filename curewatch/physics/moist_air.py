"""Humid air: saturation over liquid water and over ice, both ways, from one source.

The forward equations and their inverses stand side by side and share the same coefficients, so
that ``dew_point(saturation_pressure(temperature)) == temperature`` to rounding. A humidity chip
reports relative humidity over *liquid* water also below 0 degC; so everything here is over liquid
water unless its name says ice or frost.

The air is taken as an ideal mixture: the enhancement factor (0.4 % of the pressure at 20 degC, less
than 0.01 K of dew point once it cancels between both ends) is left out.

Source of all saturation equations: ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 (ice)
and 6 (liquid water), after Hyland and Wexler 1983. The liquid equation is stated for 0 to 200 degC;
below 0 degC it is extrapolated over supercooled water, as hygrometry does, and checked there.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.units import FloatArray

SOURCE = "ASHRAE Fundamentals 2017 ch. 1 eq. 5 and 6 (Hyland-Wexler)"

ICE_POINT = 273.15  # K
WATER_GAS_CONSTANT = 461.523  # J/(kg K): 8.314462618 J/(mol K) over 18.01528 g/mol
DRY_AIR_GAS_CONSTANT = 287.042  # J/(kg K), ASHRAE Fundamentals 2017 ch. 1 eq. 1
MASS_RATIO = 0.621945  # water to dry air, molar masses; ASHRAE Fundamentals 2017 ch. 1 eq. 20
STANDARD_PRESSURE = 101325.0  # Pa


class _Phase(NamedTuple):
    """ln p = c[0]/T + c[1] + c[2] T + c[3] T^2 + c[4] T^3 + c[5] T^4 + c[6] ln T, p in Pa."""

    name: str
    coefficients: tuple[float, float, float, float, float, float, float]
    lowest: float  # K
    highest: float  # K


_WATER = _Phase(
    "over liquid water",
    (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),
    193.15,  # extrapolated below 273.15 K: 0.01 K of dew point at -20 degC, 0.07 at -40, 0.4 at -60
    473.15,
)
_ICE = _Phase(
    "over ice",
    (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),
    173.15,
    273.16,
)


def _log_pressure(phase: _Phase, temperature: FloatArray) -> FloatArray:
    """ln p of the phase's equation; in place, since a look asks it of 256 paths at a time. [K] -> [ln Pa]"""
    c0, c1, c2, c3, c4, c5, c6 = phase.coefficients
    powers = temperature * (c4 + temperature * c5 if c5 else c4)
    powers += c3
    powers *= temperature
    powers += c2
    powers *= temperature
    found = c0 / temperature
    found += c1
    found += powers
    logarithm = np.log(temperature)
    logarithm *= c6
    found += logarithm
    return np.asarray(found)


def _log_slope(phase: _Phase, temperature: FloatArray) -> FloatArray:
    """d ln p / dT of the same equation. [1/K]"""
    c0, _, c2, c3, c4, c5, c6 = phase.coefficients
    powers = temperature * (3 * c4 + temperature * 4 * c5 if c5 else 3 * c4)
    powers += 2 * c3
    powers *= temperature
    powers += c2
    found = c6 - c0 / temperature
    found /= temperature
    found += powers
    return np.asarray(found)


def _within(
    quantity: str, value: ArrayLike, lowest: float, highest: float, *, unit: str, source: str = SOURCE
) -> FloatArray:
    """The value as an array of floats; raises when any of it is outside the range or not a number."""
    array = np.asarray(value, dtype=np.float64)
    inside = (array >= lowest) & (array <= highest)
    if not np.all(inside):
        first = float(array[~inside].flat[0]) if array.ndim else float(array)
        raise OutOfValidity(quantity, first, f"{lowest:.6g} to {highest:.6g}{unit}", source)
    return array


def _forward(phase: _Phase, temperature: ArrayLike) -> FloatArray:
    kelvin = _within(f"temperature {phase.name}", temperature, phase.lowest, phase.highest, unit=" K")
    return np.exp(_log_pressure(phase, kelvin))


def _inverse(phase: _Phase, vapour_pressure: ArrayLike) -> FloatArray:
    """Newton's method in 1/T, in which ln p is nearly straight: four steps from anywhere in range."""
    bounds = np.exp(_log_pressure(phase, np.array([phase.lowest, phase.highest])))
    pressure = _within(f"vapour pressure {phase.name}", vapour_pressure, bounds[0], bounds[1], unit=" Pa")
    wanted = np.log(pressure)
    # First guess: the Magnus form, within 1 K over the whole range (Alduchov and Eskridge 1996).
    logarithm = wanted - np.log(610.94)
    temperature = np.asarray(ICE_POINT + 243.04 * logarithm / (17.625 - logarithm))
    for _ in range(8):
        difference = _log_pressure(phase, temperature)
        difference -= wanted
        slope = _log_slope(phase, temperature)
        slope *= temperature**2
        difference /= slope
        difference += 1.0 / temperature
        step = 1.0 / difference
        step -= temperature
        temperature = temperature + step
        if np.all(np.abs(step) < 1e-4):  # the error after a step goes with its square: below 1e-9 K
            break
    return temperature


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure of air saturated over liquid water (supercooled below 0 degC).

    Parameters
    ----------
    temperature : array_like, shape (...)
        193.15 to 473.15. [K]

    Returns
    -------
    ndarray, shape (...)
        Saturation pressure; a NumPy float for a scalar. [Pa]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source; also for a value that is not a number.

    Source
    ------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equation 6; checked against
    tests/published/tables/saturation_pressure.csv (IAPWS) and two reference libraries.
    """
    return _forward(_WATER, temperature)


def saturation_pressure_over_ice(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure of air saturated over ice.

    Parameters
    ----------
    temperature : array_like, shape (...)
        173.15 to 273.16. [K]

    Returns
    -------
    ndarray, shape (...)
        Saturation pressure over ice. [Pa]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source.

    Source
    ------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equation 5; checked against
    tests/published/tables/saturation_pressure.csv (IAPWS).
    """
    return _forward(_ICE, temperature)


def saturation_slope(temperature: ArrayLike) -> FloatArray:
    """How fast the saturation pressure over liquid water rises with temperature.

    Parameters
    ----------
    temperature : array_like, shape (...)
        193.15 to 473.15. [K]

    Returns
    -------
    ndarray, shape (...)
        Derivative of :func:`saturation_pressure`. [Pa/K]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source.

    Source
    ------
    The derivative of equation 6 of the same source; a test compares it with differences.
    """
    pressure = saturation_pressure(temperature)
    return pressure * _log_slope(_WATER, np.asarray(temperature, dtype=np.float64))


def vapour_pressure(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """Partial pressure of water vapour from what a humidity chip says.

    Take both from the *same* chip: then its self-heating cancels.

    Parameters
    ----------
    temperature : array_like, shape (...)
        Of the chip, 193.15 to 473.15. [K]
    relative_humidity : array_like, shape (...)
        Over liquid water, also below 0 degC; 0 to 1. [1]

    Returns
    -------
    ndarray, shape (...)
        [Pa]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source.

    Source
    ------
    The definition of relative humidity; WMO-No. 8 (Guide to Instruments) keeps it over liquid water.
    """
    fraction = _within("relative humidity", relative_humidity, 0.0, 1.0, unit="", source="its definition")
    return fraction * saturation_pressure(temperature)


def relative_humidity(temperature: ArrayLike, vapour_pressure: ArrayLike) -> FloatArray:
    """Relative humidity over liquid water that this vapour makes at a place of this temperature.

    Above 1 where the place is colder than the dew point: there water condenses. It is not clipped,
    since by how much matters to whoever asks.

    Parameters
    ----------
    temperature : array_like, shape (...)
        Of the place, e.g. of a surface; 193.15 to 473.15. [K]
    vapour_pressure : array_like, shape (...)
        Not negative. [Pa]

    Returns
    -------
    ndarray, shape (...)
        [1]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source.

    Source
    ------
    The definition of relative humidity.
    """
    pressure = _within("vapour pressure", vapour_pressure, 0.0, np.inf, unit=" Pa", source="its definition")
    return pressure / saturation_pressure(temperature)


def dew_point(vapour_pressure: ArrayLike) -> FloatArray:
    """Temperature at which air of this vapour pressure becomes saturated over liquid water.

    Parameters
    ----------
    vapour_pressure : array_like, shape (...)
        Partial pressure of water vapour, that of dew points from 193.15 to 473.15 K. [Pa]

    Returns
    -------
    ndarray, shape (...)
        Dew-point temperature. [K]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source. Air with no vapour has no dew point.

    Source
    ------
    Newton inversion of ASHRAE Fundamentals 2017 chapter 1 equation 6; checked against
    tests/published/tables/dew_point.csv, a round trip below 1e-6 K and two reference libraries.
    """
    return _inverse(_WATER, vapour_pressure)


def frost_point(vapour_pressure: ArrayLike) -> FloatArray:
    """Temperature at which air of this vapour pressure becomes saturated over ice.

    Parameters
    ----------
    vapour_pressure : array_like, shape (...)
        Partial pressure of water vapour, that of frost points from 173.15 to 273.16 K. [Pa]

    Returns
    -------
    ndarray, shape (...)
        Frost-point temperature; above the dew point of the same air. [K]

    Raises
    ------
    OutOfValidity
        Names the quantity, the value, the range and the source; above 611.7 Pa there is no frost point.

    Source
    ------
    Newton inversion of ASHRAE Fundamentals 2017 chapter 1 equation 5; a round trip below 1e-6 K.
    """
    return _inverse(_ICE, vapour_pressure)


def vapour_density(temperature: ArrayLike, vapour_pressure: ArrayLike) -> FloatArray:
    """Mass of water vapour in a volume of air: what a dehumidifier must take out, a heater puts in.

    Parameters
    ----------
    temperature : array_like, shape (...)
        Of the air. [K]
    vapour_pressure : array_like, shape (...)
        [Pa]

    Returns
    -------
    ndarray, shape (...)
        [kg/m3]

    Raises
    ------
    OutOfValidity
        A temperature that is not positive, a pressure that is negative.

    Source
    ------
    Ideal gas law; R of water vapour from the CODATA 2018 gas constant and M = 18.01528 g/mol.
    """
    kelvin = _within("temperature", temperature, 1.0, np.inf, unit=" K", source="the gas law")
    pressure = _within("vapour pressure", vapour_pressure, 0.0, np.inf, unit=" Pa", source="the gas law")
    return pressure / (WATER_GAS_CONSTANT * kelvin)


def vapour_pressure_from_density(temperature: ArrayLike, density: ArrayLike) -> FloatArray:
    """Inverse of :func:`vapour_density` at the same temperature. [kg/m3] -> [Pa]

    Any shapes (...) that broadcast.

    Raises
    ------
    OutOfValidity
        A temperature or a density cannot be.

    Source
    ------
    Ideal gas law.
    """
    kelvin = _within("temperature", temperature, 1.0, np.inf, unit=" K", source="the gas law")
    mass = _within("vapour density", density, 0.0, np.inf, unit=" kg/m3", source="the gas law")
    return mass * (WATER_GAS_CONSTANT * kelvin)


def humidity_ratio(vapour_pressure: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> FloatArray:
    """Mass of water vapour to a mass of dry air.

    Parameters
    ----------
    vapour_pressure : array_like, shape (...)
        Below the air pressure. [Pa]
    pressure : array_like, shape (...)
        Of the air. [Pa]

    Returns
    -------
    ndarray, shape (...)
        [kg/kg]

    Raises
    ------
    OutOfValidity
        A vapour pressure that is negative or not below the air pressure.

    Source
    ------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equation 20.
    """
    total = np.asarray(pressure, dtype=np.float64)
    vapour = np.asarray(vapour_pressure, dtype=np.float64)
    _within("vapour pressure to air pressure", vapour / total, 0.0, 0.999, unit="")
    return np.asarray(MASS_RATIO * vapour / (total - vapour))


def dry_air_density(
    temperature: ArrayLike, vapour_pressure: ArrayLike = 0.0, pressure: ArrayLike = STANDARD_PRESSURE
) -> FloatArray:
    """Mass of dry air in a volume of humid air. [K], [Pa], [Pa] -> [kg/m3]. Ideal gas law.

    Any shapes (...) that broadcast.

    Raises
    ------
    OutOfValidity
        A temperature cannot be.

    Source
    ------
    Ideal gas law; Dalton's law of partial pressures.
    """
    kelvin = _within("temperature", temperature, 1.0, np.inf, unit=" K", source="the gas law")
    rest = np.asarray(pressure, dtype=np.float64) - np.asarray(vapour_pressure, dtype=np.float64)
    return np.asarray(rest / (DRY_AIR_GAS_CONSTANT * kelvin))
