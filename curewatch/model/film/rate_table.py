"""The rate of progress of one system as a function of progress and temperature, prepared once.

Everything that integrates outside a film (pots, laminates, the flow map) asks here, as one number
or as arrays. The critical conversion of the diffusion limit is a hyperbola in temperature,
``upper - bend / (T - pole)``: DiBenedetto's relation solved and written out.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.units import FloatArray

RateOfMany = Callable[[FloatArray, FloatArray], FloatArray]

FROZEN = 300.0  # exponent beyond which the rate is nought in any case


class RateTable(NamedTuple):
    """Constants of the rate, in the order in which it uses them."""

    k1: float
    k2: float
    warmth_1: float  # E1/R [K]
    warmth_2: float  # E2/R [K]
    m: float
    n: float
    steepness: float
    upper: float  # steepness x highest critical conversion
    bend: float  # [K]
    pole: float  # [K]
    coldest: float  # the hyperbola is held below this temperature [K]

    def at(self, progress: FloatArray, temperature: FloatArray) -> FloatArray:
        """Rate for arrays; below 0 the inhibitor goes at the rate at which cure starts. [1/s]

        ``temperature`` has the shape of ``progress``, or one that broadcasts to it.
        """
        a = np.minimum(np.maximum(progress, 0.0), 1.0)
        inverse = 1.0 / REFERENCE_TEMPERATURE - 1.0 / temperature
        chemical = a**self.m
        chemical *= self.k2
        if self.warmth_1 == self.warmth_2:
            chemical += self.k1
            chemical *= np.exp(self.warmth_1 * inverse)
        else:
            chemical *= np.exp(self.warmth_2 * inverse)
            chemical += self.k1 * np.exp(self.warmth_1 * inverse)
        chemical *= (1.0 - a) ** self.n
        glassy = self.steepness * a
        glassy += self.bend / (np.maximum(temperature, self.coldest) - self.pole) - self.upper
        glassy = np.exp(np.minimum(glassy, FROZEN))
        glassy += 1.0
        chemical /= glassy
        return np.asarray(chemical, dtype=float)

    def of_one(self) -> Callable[[float, float], float]:
        """The same for one mass at one temperature, in plain Python. (progress, K) -> 1/s"""
        k1, k2, b1, b2, m, n, steepness, upper, bend, pole, coldest = self
        exp = math.exp

        def rate(progress: float, temperature: float) -> float:
            a = 0.0 if progress < 0.0 else min(progress, 1.0)
            inverse = 1.0 / REFERENCE_TEMPERATURE - 1.0 / temperature
            glassy = bend / (max(temperature, coldest) - pole) + steepness * a - upper
            chemical: float = (k1 * exp(b1 * inverse) + k2 * exp(b2 * inverse) * a**m) * (1.0 - a) ** n
            return chemical / (1.0 + exp(min(glassy, FROZEN)))

        return rate

    def of_many(self) -> RateOfMany:
        """The same as ``at`` for a few cells at a time: its constants stand ready as arrays of no dimension.

        numpy takes as long to make an array of a plain number as to multiply eight of them.
        """
        k1, k2, b1, b2, m, n, steepness, upper, bend, pole, coldest = (np.asarray(each) for each in self)
        nought, one, frozen = np.asarray(0.0), np.asarray(1.0), np.asarray(FROZEN)
        reference, alike = np.asarray(1.0 / REFERENCE_TEMPERATURE), self.warmth_1 == self.warmth_2

        def rate(progress: FloatArray, temperature: FloatArray) -> FloatArray:
            a = np.minimum(np.maximum(progress, nought), one)
            inverse = reference - one / temperature
            chemical = a**m
            chemical *= k2
            if alike:
                chemical += k1
                chemical *= np.exp(b1 * inverse)
            else:
                chemical *= np.exp(b2 * inverse)
                chemical += k1 * np.exp(b1 * inverse)
            chemical *= (one - a) ** n
            glassy = bend / (np.maximum(temperature, coldest) - pole)
            glassy += steepness * a
            glassy -= upper
            glassy = np.exp(np.minimum(glassy, frozen))
            glassy += one
            chemical /= glassy
            return np.asarray(chemical, dtype=float)

        return rate


def pace(resin: Resin, factor: float = 1.0) -> RateTable:
    """Prepare a system whose lot and dose make it ``factor`` times as fast."""
    kinetics, network = resin.kinetics, resin.network
    rest = 1.0 - network.shape  # y/(L + rest y) = (1 - L/(L + rest y))/rest, y = (T - base)/span
    base, span = network.uncured - kinetics.lead, network.full - network.uncured
    depth = span * network.shape / rest
    return RateTable(
        k1=factor * kinetics.k1,
        k2=factor * kinetics.k2,
        warmth_1=kinetics.energy_1 / GAS_CONSTANT,
        warmth_2=kinetics.energy_2 / GAS_CONSTANT,
        m=kinetics.m,
        n=kinetics.n,
        steepness=kinetics.steepness,
        upper=kinetics.steepness / rest,
        bend=kinetics.steepness * depth / rest,
        pole=base - depth,
        coldest=base - 0.5 * depth,
    )
