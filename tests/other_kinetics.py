"""Resins that are not of our making: three other forms of kinetics, and what a sheet would say of them.

Two paths with orders of their own; primary and secondary amines that react at different rates; an
activation energy that falls as it cures. All three turn to glass. Their numbers are invented, spread as
practice spreads them (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np
from msgspec.structs import replace

from curewatch.materials import Resin, load_resin
from curewatch.materials.maker_sheet import Statement
from curewatch.model.mass import pot as pots
from curewatch.model.mass.heated_row import TOLERANCE, Reaction
from curewatch.units import DAY, FloatArray

GAS, COLD, CELSIUS = 8.314462618, 298.15, 273.15
WLF_1, WLF_2 = 17.44 * np.log(10.0), 51.6
GRID = np.concatenate([np.linspace(0.0, 1.0, 1500) ** 2 * 0.1, np.linspace(0.1, 0.98, 3000)[1:]])
Chemistry = Callable[[FloatArray, FloatArray], FloatArray]  # conversion, temperature -> rate [1/s]


def arrhenius(rate: float, energy: FloatArray | float, temperature: FloatArray) -> FloatArray:
    return np.asarray(rate * np.exp(-np.asarray(energy) / GAS * (1.0 / temperature - 1.0 / COLD)))


def two_paths(random: np.random.Generator, speed: float) -> Chemistry:
    """k1 (1-a)^n1 + k2 a^m (1-a)^n2, each with its own energy."""
    orders, m = random.uniform((1.0, 1.2), (2.0, 1.9)), random.uniform(0.7, 1.1)
    energies = random.normal((62e3, 57e3), (4e3, 2.5e3))
    k1, k2 = speed * 1.7e-5 * random.lognormal(0.0, 0.3), speed * 1.7e-4

    def rate(a: FloatArray, temperature: FloatArray) -> FloatArray:
        plain = arrhenius(k1, energies[0], temperature) * (1.0 - a) ** orders[0]
        return plain + arrhenius(k2, energies[1], temperature) * a**m * (1.0 - a) ** orders[1]

    return rate


def two_amines(random: np.random.Generator, speed: float) -> Chemistry:
    """Primary and secondary hydrogens, the second at a share r of the first's rate; hydroxyl speeds both."""
    r, grows = random.uniform(0.35, 0.8), random.uniform(6.0, 14.0)
    energies = random.normal((62e3, 57e3), (4e3, 2.5e3))
    primary = np.linspace(1.0, 0.0, 4000) ** 2
    secondary = (primary**r - primary) / (1.0 - r)
    cured = 1.0 - primary - 0.5 * secondary  # as in dp = -p, ds = p - r s
    left = primary + r * secondary
    k1 = speed * 2.0e-5

    def rate(a: FloatArray, temperature: FloatArray) -> FloatArray:
        hydrogens = np.interp(a, cured, left)
        plain, helped = (arrhenius(k1, energy, temperature) for energy in energies)
        return np.asarray((plain + grows * helped * a) * hydrogens * (1.0 - a))

    return rate


def falling_energy(random: np.random.Generator, speed: float) -> Chemistry:
    """Kamal and Sourour's form, whose energy falls with conversion."""
    start, fall = random.normal(62e3, 2.5e3), random.uniform(2e3, 10e3)
    m, n = random.uniform((0.7, 1.3), (1.1, 1.8))
    k1, k2 = speed * 1.7e-5 * random.lognormal(0.0, 0.3), speed * 1.7e-4

    def rate(a: FloatArray, temperature: FloatArray) -> FloatArray:
        warm = arrhenius(1.0, start - fall * a, temperature)
        return np.asarray(warm * (k1 + k2 * a**m) * (1.0 - a) ** n)

    return rate


FORMS = (two_paths, two_amines, falling_energy)


@dataclass(frozen=True)
class Truth:
    """One such resin."""

    chemistry: Chemistry
    body: Resin  # its heat, its network and its marks; its kinetics are not used

    def rate(self, a: FloatArray, temperature: FloatArray) -> FloatArray:
        """With the glass in series. [1/s]"""
        chemical, open_ends = self.chemistry(a, temperature), np.maximum(1.0 - a, 1e-9)
        return np.asarray(chemical / (1.0 + chemical / (open_ends * self.diffusion(a, temperature))))

    def diffusion(self, a: FloatArray, temperature: FloatArray | float) -> FloatArray:
        """The glass's own rate constant. [1/s]"""
        net = self.body.network
        cured = net.shape * a / (1.0 - (1.0 - net.shape) * a)
        above = temperature - net.uncured - (net.full - net.uncured) * cured
        return np.asarray(self.body.kinetics.diffusion * np.exp(WLF_1 * above / (WLF_2 + np.abs(above))))

    def film(self, mark: str, kelvin: float) -> float:
        """When a film at one temperature comes to a mark. [s]"""
        marks, net = self.body.milestones, self.body.network
        if mark == "firm":
            y = (kelvin - net.uncured) / (net.full - net.uncured)
            at = max(marks.tack_free, y / (net.shape + (1.0 - net.shape) * y))
        elif mark == "recoat_until":
            at = self.closing(kelvin)
        else:
            at = marks.open if mark == "working_time" else getattr(marks, mark)
        slowness = 1.0 / self.rate(GRID, np.full_like(GRID, kelvin))
        steps = 0.5 * (slowness[1:] + slowness[:-1]) * np.diff(GRID)
        return float(np.interp(at, GRID, np.concatenate([[0.0], np.cumsum(steps)])))

    def closing(self, kelvin: float) -> float:
        """The conversion from which too few groups are left, or at which it turns to glass. [1]"""
        chemical = self.chemistry(GRID, np.full_like(GRID, kelvin)) / (1.0 - GRID)
        glass = GRID[np.argmax(self.diffusion(GRID, kelvin) < chemical)] or 1.0
        reached = self.body.bond.closes * float(self.body.law().reachable(kelvin))
        return min(max(reached, self.body.milestones.gel), float(glass))

    def cup(self, mass: float, kelvin: float) -> float:
        """When a cup kicks. [s]"""

        def reaction(_: Resin, __: float, rise: float) -> Reaction:
            return Reaction(lambda a, t: self.rate(np.clip(a, 0.0, 1.0), t), rise, False, TOLERANCE)

        with patch.object(pots, "reaction", reaction):
            return pots.pot(self.body, mass, kelvin, duration=4.0 * DAY, to_gel=True).pot_life

    def time(self, asked: Statement) -> float:
        """What a statement of it would be, without error. [s]"""
        if asked.mass is not None:
            return self.cup(asked.mass, asked.temperature)
        return self.film(asked.mark, asked.temperature)


def drawn(random: np.random.Generator, form: Callable[[np.random.Generator, float], Chemistry]) -> Truth:
    """One resin of a form, of the general-purpose kind."""
    base = load_resin("epoxy-slow")
    speed = random.lognormal(0.0, 0.5)
    gel = float(np.clip(random.normal(0.58, 0.02), 0.53, 0.64))
    marks = replace(
        base.milestones,
        gel=gel,
        recoat_from=float(min(random.normal(0.45, 0.04), gel)),
        tack_free=float(max(random.normal(0.63, 0.025), gel)),
        viscosity_a=float(random.normal(1.5, 0.2)),
    )
    network = replace(
        base.network,
        uncured=float(random.normal(-35.0, 5.0) + CELSIUS),
        full=float(random.normal(66.0, 5.0) + CELSIUS),
        shape=float(random.normal(0.4, 0.04)),
    )
    glass = replace(base.kinetics, diffusion=float(0.08 * random.lognormal(0.0, 1.5) * speed))
    heat = replace(base.thermal, reaction_heat=float(random.normal(420e3, 30e3)))
    body = replace(base, milestones=marks, network=network, kinetics=glass, thermal=heat)
    return Truth(form(random, speed), body)
