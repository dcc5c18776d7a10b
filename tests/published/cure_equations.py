"""The cure written out from its documented equations, apart from the product: what the checks integrate.

The law, and the first edition's law, which every check of the glass must find wrong. Nothing here asks the
product for more than a resin's numbers.
"""

from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

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
