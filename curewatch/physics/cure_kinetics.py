"""How fast a thermoset cures: Arrhenius rates, the Kamal–Sourour law, the diffusion limit.

da/dt = fd (k1 + k2 a^m) (1 - a)^n
ki(T) = ki(25 degC) exp[-(Ei/R) (1/T - 1/298.15 K)]
fd    = 1 / (1 + exp[C (a - ac)])
"""

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.units import FloatArray

LOWEST = 223.15  # K; below -50 degC no cure data exist at all
HIGHEST = 623.15  # K; a pot in flames is no longer a cure problem


def arrhenius(rate: ArrayLike, energy: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Rate constant at a temperature, from its value at 25 degC.

    Parameters
    ----------
    rate : array_like
        Rate constant at 298.15 K. [1/s]
    energy : array_like
        Activation energy. [J/mol]
    temperature : array_like, shape (...)
        [K]

    Returns
    -------
    ndarray, shape (...)
        Rate constant. [1/s]

    Raises
    ------
    OutOfValidity
        Temperature outside -50..350 degC, or not a number.

    Source
    ------
    Arrhenius' law. Ratios between two temperatures are checked against the activation energy of
    gelation, J. Appl. Polym. Sci. 92:1190 (2004): tests/published/tables/temperature_ratio.csv
    """
    kelvin = np.asarray(temperature, dtype=float)
    require_temperature(kelvin)
    inverse = 1.0 / kelvin - 1.0 / REFERENCE_TEMPERATURE
    return np.asarray(rate, dtype=float) * np.exp(-np.asarray(energy, dtype=float) / GAS_CONSTANT * inverse)


def require_temperature(temperature: FloatArray) -> None:
    """Raise :class:`OutOfValidity` unless every temperature is one that a cure law was ever used at."""
    inside = (temperature >= LOWEST) & (temperature <= HIGHEST)
    if not np.all(inside):
        worst = float(np.ravel(temperature)[np.argmin(np.ravel(inside))])
        raise OutOfValidity("temperature in K", worst, "223.15..623.15 K (-50..350 degC)", "the cure law")


def kamal_sourour(  # noqa: PLR0917 - the quantities of the equation, in its order
    conversion: ArrayLike, k1: ArrayLike, k2: ArrayLike, m: float, n: float, final: float = 1.0
) -> FloatArray:
    """Rate of cure without a diffusion limit, or with a final conversion in its place.

    Parameters
    ----------
    conversion : array_like, shape (...)
        Conversion, 0..1. [1]
    k1, k2 : array_like
        Rate constants of the uncatalysed and the autocatalysed path. [1/s]
    m, n : float
        Orders. [1]
    final : float
        Conversion at which isothermal cure ends; shares the order n with full conversion. [1]

    Returns
    -------
    ndarray, shape (...)
        [1/s]

    Raises
    ------
    OutOfValidity
        Conversion outside 0..1, or beyond the final one.

    Source
    ------
    Kamal and Sourour, Polym. Eng. Sci. 13:59 (1973) (form from memory); checked against the closed
    form of m = n = 1 in tests/published/tables/kinetics_closed_form.csv, and with a final conversion
    against open data of three amines in tests/published/tables/diamine_conversion.csv
    """
    a = np.asarray(conversion, dtype=float)
    inside = (a >= 0.0) & (a <= min(1.0, final))
    if not np.all(inside):
        worst = float(np.ravel(a)[np.argmin(np.ravel(inside))])
        raise OutOfValidity("conversion", worst, f"0..{min(1.0, final):g}", "the Kamal–Sourour law")
    left = (1.0 - a) ** n if final == 1.0 else ((1.0 - a) * (final - a)) ** (0.5 * n)
    return np.asarray((np.asarray(k1) + np.asarray(k2) * a**m) * left, dtype=float)


def diffusion_factor(conversion: ArrayLike, critical: ArrayLike, steepness: float) -> FloatArray:
    """Share of the chemical rate that is left once the network turns to glass.

    Parameters
    ----------
    conversion, critical : array_like, shape (...)
        Conversion, and the conversion at which the glass transition overtakes the cure. [1]
    steepness : float
        C; 20..40 is usual (from memory). [1]

    Returns
    -------
    ndarray, shape (...)
        1 in the liquid, 1/2 at ``critical``, towards 0 in the glass. [1]

    Source
    ------
    Chern and Poehlein, Polym. Eng. Sci. 27:788 (1987), in the form that is 1 early (from memory);
    with the glass transition it is checked against tests/published/tables/stall.csv
    """
    excess = steepness * (np.asarray(conversion, dtype=float) - np.asarray(critical, dtype=float))
    return np.asarray(1.0 / (1.0 + np.exp(np.minimum(excess, 700.0))), dtype=float)
