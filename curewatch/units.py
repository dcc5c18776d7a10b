"""The only place where degC, per cent, hPa and minutes become K, 1, Pa and s, and back.

Inside, everything is SI and the name is bare (``temperature``). At a border the unit is in
the name (``temperature_c``, ``humidity_percent``). All functions take floats or arrays.
"""

from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
else:
    FloatArray = Any  # a command that only words numbers must not pay for numpy

Number = TypeVar("Number", float, "FloatArray")

ZERO_CELSIUS = 273.15  # K, by definition (ITS-90)

MINUTE = 60.0  # s
HOUR = 3600.0  # s
DAY = 86400.0  # s


def kelvin_from_celsius(temperature_c: Number) -> Number:
    return temperature_c + ZERO_CELSIUS


def celsius_from_kelvin(temperature: Number) -> Number:
    return temperature - ZERO_CELSIUS


def kelvin_from_fahrenheit(temperature_f: Number) -> Number:
    return (temperature_f - 32.0) / 1.8 + ZERO_CELSIUS


def fahrenheit_from_kelvin(temperature: Number) -> Number:
    return (temperature - ZERO_CELSIUS) * 1.8 + 32.0


def fraction_from_percent(percent: Number) -> Number:
    return percent / 100.0


def percent_from_fraction(fraction: Number) -> Number:
    return fraction * 100.0


def kilogram_from_gram(mass_g: Number) -> Number:
    return mass_g / 1000.0


def gram_from_kilogram(mass: Number) -> Number:
    return mass * 1000.0


def millimetre_from_metre(length: Number) -> Number:
    return length * 1000.0


def millilitre_from_cubic_metre(volume: Number) -> Number:
    return volume * 1e6


def cubic_metre_from_millilitre(volume_ml: Number) -> Number:
    return volume_ml / 1e6


def gram_from_ounce(mass_oz: Number) -> Number:
    return mass_oz * 28.349523125  # international avoirdupois ounce, exact


def ounce_from_gram(mass_g: Number) -> Number:
    return mass_g / 28.349523125


def second_from_minute(minutes: Number) -> Number:
    return minutes * MINUTE


def minute_from_second(seconds: Number) -> Number:
    return seconds / MINUTE


def hour_from_second(seconds: Number) -> Number:
    return seconds / HOUR
