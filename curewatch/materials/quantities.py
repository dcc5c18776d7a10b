"""What a resin file may say: each key with its units and the range that makes sense.

A number in a file is written ``key = { value = 45, unit = "kJ/mol", tag = "published", source = "…" }``
and optionally ``spread`` (one standard deviation in the same unit). Ranges are wide: they catch a slip
of the pen (kJ for J, per cent for a fraction), not an unusual resin. They are our own judgement.
"""

from typing import NamedTuple

from curewatch.units import ZERO_CELSIUS

TAGS = (
    "published",
    "open data",
    "computed",
    "common practice",
    "from memory",
    "assumed",
    "sheet",
    "learned",
)


class Unit(NamedTuple):
    """SI value = factor x value + offset."""

    factor: float
    offset: float = 0.0


class Quantity(NamedTuple):
    """What one key may hold; ``low`` and ``high`` in SI."""

    units: dict[str, Unit]
    low: float
    high: float
    required: bool = True


PURE = {"1": Unit(1.0)}
SHARE = {"1": Unit(1.0), "%": Unit(0.01)}
PERCENT = {"%": Unit(1.0)}
RATE = {"1/s": Unit(1.0), "1/min": Unit(1 / 60), "1/h": Unit(1 / 3600)}
ENERGY = {"J/mol": Unit(1.0), "kJ/mol": Unit(1000.0)}
TEMPERATURE = {"degC": Unit(1.0, ZERO_CELSIUS), "K": Unit(1.0)}
TIME = {"s": Unit(1.0), "min": Unit(60.0), "h": Unit(3600.0), "d": Unit(86400.0)}
DENSITY = {"kg/m3": Unit(1.0), "g/cm3": Unit(1000.0), "kg/l": Unit(1000.0)}

QUANTITIES: dict[str, Quantity] = {
    "kinetics.k1": Quantity(RATE, 1e-9, 1.0),
    "kinetics.k2": Quantity(RATE, 1e-8, 1.0),
    "kinetics.energy_1": Quantity(ENERGY, 20e3, 120e3),
    "kinetics.energy_2": Quantity(ENERGY, 20e3, 120e3),
    "kinetics.m": Quantity(PURE, 0.2, 3.0),
    "kinetics.n": Quantity(PURE, 1.0, 4.0),
    "kinetics.diffusion": Quantity(RATE, 1e-7, 1e4),
    "kinetics.inhibitor": Quantity(SHARE, 0.0, 0.2, required=False),
    "network.uncured": Quantity(TEMPERATURE, 173.15, 293.15),
    "network.full": Quantity(TEMPERATURE, 303.15, 523.15),
    "network.shape": Quantity(PURE, 0.2, 0.95),
    "network.stated": Quantity(TEMPERATURE, 273.15, 523.15, required=False),
    "milestones.gel": Quantity(SHARE, 0.005, 0.9),
    "milestones.recoat_from": Quantity(SHARE, 0.005, 0.9),
    "milestones.tack_free": Quantity(SHARE, 0.02, 0.98),
    "milestones.open_viscosity": Quantity(PURE, 1.1, 100.0),
    "milestones.viscosity_a": Quantity(PURE, 0.1, 10.0),
    "milestones.viscosity_b": Quantity(PURE, -5.0, 10.0),
    "milestones.sand": Quantity(TIME, 0.0, 30 * 86400.0, required=False),
    "milestones.sand_temperature": Quantity(TEMPERATURE, 253.15, 333.15, required=False),
    "thermal.reaction_heat": Quantity({"J/kg": Unit(1.0), "kJ/kg": Unit(1e3), "J/g": Unit(1e3)}, 0.0, 900e3),
    "thermal.heat_capacity": Quantity({"J/(kg K)": Unit(1.0), "kJ/(kg K)": Unit(1e3)}, 800.0, 4200.0),
    "thermal.density": Quantity(DENSITY, 500.0, 3000.0),
    "thermal.conductivity": Quantity({"W/(m K)": Unit(1.0)}, 0.02, 5.0),
    "mix.hardener_mass": Quantity(SHARE, 0.02, 2.0),
    "mix.resin_density": Quantity(DENSITY, 500.0, 3000.0),
    "mix.hardener_density": Quantity(DENSITY, 500.0, 3000.0),
    "mix.tolerance": Quantity(SHARE, 0.0, 0.2),
    "dose.peroxide_low": Quantity(PERCENT, 0.1, 5.0),
    "dose.peroxide_normal": Quantity(PERCENT, 0.1, 5.0),
    "dose.peroxide_high": Quantity(PERCENT, 0.1, 6.0),
    "dose.peroxide_order": Quantity(PURE, 0.1, 2.0),
    "dose.cobalt_low": Quantity(PERCENT, 1e-4, 1.0),
    "dose.cobalt_normal": Quantity(PERCENT, 1e-4, 1.0),
    "dose.cobalt_high": Quantity(PERCENT, 1e-4, 1.0),
    "dose.gel_a": Quantity(TIME, 0.0, 86400.0),
    "dose.gel_b": Quantity({"s %": Unit(1.0), "min %": Unit(60.0)}, 0.0, 1e5),
    "blush.amine_factor": Quantity(PURE, 0.0, 10.0),
    "blush.energy": Quantity(ENERGY, 10e3, 120e3),
    "blush.peel_ply_from": Quantity(TIME, 0.0, 30 * 86400.0),
    "blush.wash_from": Quantity(TIME, 0.0, 30 * 86400.0),
    "blush.rest": Quantity(TIME, 0.0, 7200.0, required=False),
    "bond.best_from": Quantity(SHARE, 0.0, 1.0),
    "bond.best_until": Quantity(SHARE, 0.0, 1.0),
    "bond.closes": Quantity(SHARE, 0.0, 1.0),
    "bond.sheet_closes": Quantity(TIME, 0.0, 30 * 86400.0, required=False),
    "bond.sheet_temperature": Quantity(TEMPERATURE, 253.15, 333.15, required=False),
    "limits.lowest_temperature": Quantity(TEMPERATURE, 243.15, 323.15),
    "limits.highest_temperature": Quantity(TEMPERATURE, 273.15, 373.15),
    "limits.highest_humidity": Quantity(SHARE, 0.0, 1.0),
    "price.per_kilogram": Quantity({"1/kg": Unit(1.0)}, 0.0, 1e6),
    "uncertainty.rate_sd": Quantity(PURE, 0.0, 2.0),
}
