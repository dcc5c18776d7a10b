"""How fast a thermoset cures: chemistry and diffusion as two resistances in a row. The one rate law.

da/dt = (1 - a)^n k,    1/k = 1/(k1 + k2 a^m) + 1/kd
ki    = ki(25 degC) exp[-(Ei/R) (1/T - 1/298.15 K)]
kd    = kd0 exp[C1 (T - Tg) / (C2 + |T - Tg|)]
Tg    = Tg0 + (Tginf - Tg0) L a / (1 - (1 - L) a)

Film, pot, laminate, flow map and quick times all ask :class:`RateLaw`; no other module writes the law out.
"""

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.physics.glass_transition import conversion_at
from curewatch.units import FloatArray

LOWEST = 223.15  # K; below -50 degC no cure data exist at all
HIGHEST = 623.15  # K; a pot in flames is no longer a cure problem
C1 = 17.44 * math.log(10.0)  # of Williams, Landel and Ferry (from memory) [1]
C2 = 51.6  # the same [K]
STANDSTILL = (
    1.6e-7  # 1/s, diffusion's rate constant in a film that two weeks have brought to its end (computed)
)
ROUNDS = 4  # until vitrification stands still; chemistry changes little over the step of one round


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
    """Raise :class:`OutOfValidity` unless every temperature is one that a cure law was ever used at.

    Temperatures of any shape (...).

    Raises
    ------
    OutOfValidity
        One is not, or is not a number. [K]

    Source
    ------
    The widest range of the kinetic studies that are cited in the resin files.
    """
    inside = (temperature >= LOWEST) & (temperature <= HIGHEST)
    if not np.all(inside):
        worst = float(np.ravel(temperature)[np.argmin(np.ravel(inside))])
        raise OutOfValidity("temperature in K", worst, "223.15..623.15 K (-50..350 degC)", "the cure law")


class RateLaw(NamedTuple):
    """The law of one mix: constants in SI, or of many mixes as arrays that broadcast against the states.

    Attributes
    ----------
    k1, k2 : float or array
        Rate constants at 25 degC of the uncatalysed and the autocatalysed path. [1/s]
    energy_1, energy_2 : float or array
        Their activation energies. [J/mol]
    m, n : float or array
        Orders. [1]
    diffusion : float or array
        kd0, the rate constant of diffusion where the glass transition is as warm as the film. [1/s]
    uncured, full, shape : float or array
        Glass transition of the fresh mix and of the full network [K], DiBenedetto's lambda [1].

    Source
    ------
    Chemistry: Kamal and Sourour, Polym. Eng. Sci. 13:59 (1973). Sum of resistances: Rabinowitch,
    Trans. Faraday Soc. 33:1225 (1937). Diffusion: the equation of Williams, Landel and Ferry with |T - Tg|
    below the line, so that it may be used below Tg: Wisanrakkit and Gillham, J. Coat. Technol. 62:35 (1990);
    Simon and Gillham, J. Appl. Polym. Sci. 47:461 (1993). All four from memory, none was read.
    An integration of these equations by others' code: tests/published/test_cure_integrated.py
    """

    k1: Any
    k2: Any
    energy_1: Any
    energy_2: Any
    m: Any
    n: Any
    diffusion: Any
    uncured: Any
    full: Any
    shape: Any

    def constants(self, temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Rate constants k1 and k2 at temperatures within the law's range. [K] -> [1/s]

        Any shape (...). Source: Arrhenius' law, energies of the resin's file.
        """
        k1 = arrhenius(self.k1, self.energy_1, temperature)
        if self.energy_1 is self.energy_2 or np.array_equal(self.energy_1, self.energy_2):
            return k1, k1 * (self.k2 / self.k1)
        return k1, arrhenius(self.k2, self.energy_2, temperature)

    def kernel(self, exp: Callable[[Any], Any]) -> Callable[[Any, Any, Any, Any], Any]:
        """The law itself: (conversion, k1, k2, temperature) -> rate. [1, 1/s, 1/s, K] -> [1/s]

        ``exp`` is ``math.exp`` for numbers, ``numpy.exp`` for arrays, which may broadcast. Conversion must
        lie in 0..1; nothing is checked here, because every integrator passes through.

        Source: the Rabinowitch sum in the module's head.
        """
        bend, rest, start = (self.full - self.uncured) * self.shape, 1.0 - self.shape, np.log(self.diffusion)
        m, n, uncured, bend, rest, start, one, c1, c2 = _kept(
            exp, self.m, self.n, self.uncured, bend, rest, start, 1.0, C1, C2
        )

        def rate(a: Any, k1: Any, k2: Any, temperature: Any) -> Any:
            above = temperature - uncured - bend * a / (one - rest * a)
            diffusion = exp(c1 * above / (c2 + abs(above)) + start)
            chemical = k1 + k2 * a**m
            return chemical * diffusion / (chemical + diffusion) * (one - a) ** n

        return rate

    def at(self, exp: Callable[[Any], Any]) -> Callable[[Any, Any], Any]:
        """The same with rate constants at the temperature itself: (conversion, temperature) -> rate.

        [1, K] -> [1/s] Source: as :meth:`kernel`.
        """
        warmth_1, warmth_2 = self.energy_1 / GAS_CONSTANT, self.energy_2 / GAS_CONSTANT
        alike, kernel = bool(np.all(warmth_1 == warmth_2)), self.kernel(exp)
        k1, k2, warmth_1, warmth_2, cold, one = _kept(
            exp, self.k1, self.k2, warmth_1, warmth_2, 1.0 / REFERENCE_TEMPERATURE, 1.0
        )

        def rate(a: Any, temperature: Any) -> Any:
            inverse = cold - one / temperature
            faster = exp(warmth_1 * inverse)
            return kernel(a, k1 * faster, k2 * (faster if alike else exp(warmth_2 * inverse)), temperature)

        return rate

    def vitrified(self, temperature: ArrayLike) -> FloatArray:
        """Conversion from which diffusion resists more than chemistry does. [K] -> [1]

        Above 1 the full network is none the slower at that temperature; below 0 the fresh mix already is.

        Any shape (...). Source: the diffusion limit of :meth:`kernel`, solved for the conversion.
        """
        kelvin = np.asarray(temperature, dtype=float)
        k1, k2 = self.constants(kelvin)
        a = conversion_at(kelvin, self.uncured, self.full, self.shape)
        for _ in range(ROUNDS):
            a = self.slowed_to(k1 + k2 * np.clip(a, 0.0, 1.0) ** self.m, kelvin)
        return a

    def reachable(self, temperature: ArrayLike) -> FloatArray:
        """Conversion that a film of this temperature comes to in two weeks, 1 at most. [K] -> [1]

        Any shape (...). Source: as :meth:`vitrified`.
        """
        reached = self.slowed_to(STANDSTILL, np.asarray(temperature, dtype=float))
        return np.asarray(np.clip(reached, 0.0, 1.0), dtype=float)

    def slowed_to(self, rate: ArrayLike, kelvin: FloatArray) -> FloatArray:
        """Conversion at which diffusion's rate constant has fallen to this. [1/s, K] -> [1]

        Any shape (...). Source: as :meth:`vitrified`.
        """
        share = np.log(np.asarray(rate) / self.diffusion) / C1
        above = C2 * share / (1.0 - np.abs(share))
        return conversion_at(kelvin - above, self.uncured, self.full, self.shape)


def _kept(exp: Callable[[Any], Any], *constants: Any) -> tuple[Any, ...]:
    """Constants as a law with this exponential uses them: numbers, or arrays, of no dimension where need be.

    numpy takes as long to make an array of a plain number as to multiply eight of them.
    """
    return tuple(float(each) if exp is math.exp else np.asarray(each) for each in constants)
