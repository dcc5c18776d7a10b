"""The cure written out from its documented equations, apart from the product: what the checks integrate.

The law, and the first edition's law, which every check of the glass must find wrong. Nothing here asks the
product for more than a resin's numbers.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from curewatch.materials import Resin
from curewatch.model.film.film import History
from curewatch.units import FloatArray

Rate = Callable[[Resin, FloatArray, FloatArray], FloatArray]
GAS, COLD = 8.314462618, 298.15
WLF_1, WLF_2 = 17.44 * np.log(10.0), 51.6


def transition(resin: Resin, conversion: FloatArray) -> FloatArray:
    """(Tg - Tg0)/(Tginf - Tg0) = L a / (1 - (1-L) a). [K]"""
    net = resin.network
    share = net.shape * conversion / (1.0 - (1.0 - net.shape) * conversion)
    return np.asarray(net.uncured + (net.full - net.uncured) * share)


def chemistry(resin: Resin, a: FloatArray, temperature: FloatArray) -> FloatArray:
    """k1 + k2 a^m, each by Arrhenius. [1/s]"""
    k = resin.kinetics
    first = k.k1 * np.exp(-k.energy_1 / GAS * (1.0 / temperature - 1.0 / COLD))
    second = k.k2 * np.exp(-k.energy_2 / GAS * (1.0 / temperature - 1.0 / COLD))
    return np.asarray(first + second * a**k.m)


def law(resin: Resin, progress: FloatArray, temperature: FloatArray) -> FloatArray:
    """da/dt = (1-a)^n / (1/chemistry + 1/diffusion); below 0 the inhibitor goes as cure will start. [1/s]"""
    a = np.clip(progress, 0.0, 1.0)
    above = temperature - transition(resin, a)
    diffusion = resin.kinetics.diffusion * np.exp(WLF_1 * above / (WLF_2 + np.abs(above)))
    resistance = 1.0 / chemistry(resin, a, temperature) + 1.0 / diffusion
    return np.asarray((1.0 - a) ** resin.kinetics.n / resistance)


def first_law(resin: Resin, progress: FloatArray, temperature: FloatArray) -> FloatArray:
    """The first edition: fd = 1/(1 + exp[30 (a - ac)]), ac where Tg is 15 K (polyester: 11 K) above. [1/s]"""
    a, net = np.clip(progress, 0.0, 1.0), resin.network
    y = (temperature + (15.0 if resin.chemistry.amine else 11.0) - net.uncured) / (net.full - net.uncured)
    critical = y / (net.shape + (1.0 - net.shape) * y)
    slowed = 1.0 + np.exp(np.minimum(30.0 * (a - critical), 300.0))
    return np.asarray(chemistry(resin, a, temperature) * (1.0 - a) ** resin.kinetics.n / slowed)


def unlimited(resin: Resin, progress: FloatArray, temperature: FloatArray) -> FloatArray:
    """Chemistry alone: a cure that no glass stops. [1/s]"""
    a = np.clip(progress, 0.0, 1.0)
    return np.asarray(chemistry(resin, a, temperature) * (1.0 - a) ** resin.kinetics.n)


def film(
    resin: Resin, history: History, at: FloatArray, rate: Rate = law, start: float | None = None
) -> FloatArray:
    """Progress of a film by SciPy at 1e-10; the steps are held so that no kink is stepped over."""
    begin = -resin.kinetics.inhibitor if start is None else start

    def slope(time: float, state: FloatArray) -> FloatArray:
        return rate(resin, state, np.interp(time, history.time, history.temperature))

    longest = 600.0 if np.ptp(history.temperature) else np.inf
    found = solve_ivp(
        slope, (0.0, float(history.time[-1])), [begin], method="LSODA", rtol=1e-10, atol=1e-12,
        max_step=longest, t_eval=at,
    )  # fmt: skip
    return np.asarray(found.y[0])


class CupPeak(NamedTuple):
    """What a cup does."""

    life: float  # until its furthest shell gels [s]
    working_life: float  # until that is twice as thick [s]
    mean: float  # hottest mean of the mass [K]
    middle: float  # hottest middle [K]


def cup(resin: Resin, mass: float, air: float, duration: float, shells: int = 8) -> CupPeak:
    """A full cup as high as wide, as shells of the sphere in it that conducts 0.72 times as well.

    m cp(T) dT/dt = m dH da/dt + conduction; cp = cp25 (1 + b (T - 25 degC)); the outermost half shell gives
    1.3 |dT|^(5/4) / width^(1/4) + 0.9 sigma (T^4 - Tair^4) to the air. By SciPy at 1e-8.
    """
    heat = resin.thermal
    width = (4.0 * mass / heat.density / np.pi) ** (1.0 / 3.0)
    edge = np.linspace(0.0, 0.5 * width, shells + 1)
    kilograms, conductivity = heat.density * np.diff(edge**3) / 3.0, 0.72 * heat.conductivity
    passes, half = conductivity * edge[1:-1] ** 2 / edge[1], conductivity / (0.5 * edge[1])

    def leaves(surface: float) -> float:
        draught = 1.3 * abs(surface - air) ** 0.25 / width**0.25 * (surface - air)
        return float(draught + 0.9 * 5.670374419e-8 * (surface**4 - air**4))

    def slope(_: float, state: FloatArray) -> FloatArray:
        progress, warmth = state[:shells], state[shells:]
        speed, flow = law(resin, progress, warmth), np.zeros(shells)
        passed = passes * np.diff(warmth)
        flow[:-1] += passed
        flow[1:] -= passed
        last, span = float(warmth[-1]), abs(float(warmth[-1]) - air) + 1e-6
        surface = brentq(
            lambda at: half * (last - at) - leaves(at),
            min(last, air) - span,
            max(last, air) + span,
            xtol=1e-9,
        )
        flow[-1] -= leaves(surface) * edge[-1] ** 2
        capacity = heat.heat_capacity * (1.0 + heat.heat_capacity_rise * (warmth - COLD))
        made = heat.reaction_heat * np.where(progress > 0.0, speed, 0.0)
        return np.concatenate([speed, (made + flow / kilograms) / capacity])

    start = np.concatenate([np.full(shells, -resin.kinetics.inhibitor), np.full(shells, air)])
    found = solve_ivp(slope, (0.0, duration), start, method="LSODA", rtol=1e-8, atol=1e-8, max_step=60.0)
    furthest = np.maximum.accumulate(found.y[:shells].max(axis=0))
    life, working = (
        float(np.interp(mark, furthest, found.t)) for mark in (resin.milestones.gel, resin.milestones.open)
    )
    warmth = found.y[shells:]
    return CupPeak(life, working, float((kilograms @ warmth / kilograms.sum()).max()), float(warmth[0].max()))
