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


class ResinQuantity(NamedTuple):
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

QUANTITIES: dict[str, ResinQuantity] = {
    "kinetics.k1": ResinQuantity(RATE, 1e-9, 1.0),
    "kinetics.k2": ResinQuantity(RATE, 1e-8, 1.0),
    "kinetics.energy_1": ResinQuantity(ENERGY, 20e3, 120e3),
    "kinetics.energy_2": ResinQuantity(ENERGY, 20e3, 120e3),
    "kinetics.m": ResinQuantity(PURE, 0.2, 3.0),
    "kinetics.n": ResinQuantity(PURE, 1.0, 4.0),
    "kinetics.diffusion": ResinQuantity(RATE, 1e-7, 1e4),
    "kinetics.inhibitor": ResinQuantity(SHARE, 0.0, 0.2, required=False),
    "network.uncured": ResinQuantity(TEMPERATURE, 173.15, 293.15),
    "network.full": ResinQuantity(TEMPERATURE, 303.15, 523.15),
    "network.shape": ResinQuantity(PURE, 0.2, 0.95),
    "network.stated": ResinQuantity(TEMPERATURE, 273.15, 523.15, required=False),
    "milestones.gel": ResinQuantity(SHARE, 0.005, 0.9),
    "milestones.recoat_from": ResinQuantity(SHARE, 0.005, 0.9),
    "milestones.tack_free": ResinQuantity(SHARE, 0.02, 0.98),
    "milestones.open_viscosity": ResinQuantity(PURE, 1.1, 100.0),
    "milestones.viscosity_a": ResinQuantity(PURE, 0.1, 10.0),
    "milestones.viscosity_b": ResinQuantity(PURE, -5.0, 10.0),
    "milestones.sand": ResinQuantity(TIME, 0.0, 30 * 86400.0, required=False),
    "milestones.sand_temperature": ResinQuantity(TEMPERATURE, 253.15, 333.15, required=False),
    "milestones.touch": ResinQuantity(TIME, 0.0, 30 * 86400.0, required=False),
    "milestones.touch_temperature": ResinQuantity(TEMPERATURE, 253.15, 333.15, required=False),
    "thermal.reaction_heat": ResinQuantity(
        {"J/kg": Unit(1.0), "kJ/kg": Unit(1e3), "J/g": Unit(1e3)}, 0.0, 900e3
    ),
    "thermal.heat_capacity": ResinQuantity({"J/(kg K)": Unit(1.0), "kJ/(kg K)": Unit(1e3)}, 800.0, 4200.0),
    "thermal.heat_capacity_rise": ResinQuantity({"%/K": Unit(0.01)}, 0.0, 0.02, required=False),
    "thermal.density": ResinQuantity(DENSITY, 500.0, 3000.0),
    "thermal.conductivity": ResinQuantity({"W/(m K)": Unit(1.0)}, 0.02, 5.0),
    "mix.hardener_mass": ResinQuantity(SHARE, 0.02, 2.0),
    "mix.resin_density": ResinQuantity(DENSITY, 500.0, 3000.0),
    "mix.hardener_density": ResinQuantity(DENSITY, 500.0, 3000.0),
    "mix.tolerance": ResinQuantity(SHARE, 0.0, 0.2),
    "dose.peroxide_low": ResinQuantity(PERCENT, 0.1, 5.0),
    "dose.peroxide_normal": ResinQuantity(PERCENT, 0.1, 5.0),
    "dose.peroxide_high": ResinQuantity(PERCENT, 0.1, 6.0),
    "dose.peroxide_order": ResinQuantity(PURE, 0.1, 2.0),
    "dose.cobalt_low": ResinQuantity(PERCENT, 1e-4, 1.0),
    "dose.cobalt_normal": ResinQuantity(PERCENT, 1e-4, 1.0),
    "dose.cobalt_high": ResinQuantity(PERCENT, 1e-4, 1.0),
    "dose.gel_a": ResinQuantity(TIME, 0.0, 86400.0),
    "dose.gel_b": ResinQuantity({"s %": Unit(1.0), "min %": Unit(60.0)}, 0.0, 1e5),
    "blush.amine_factor": ResinQuantity(PURE, 0.0, 10.0),
    "blush.energy": ResinQuantity(ENERGY, 10e3, 120e3),
    "blush.peel_ply_from": ResinQuantity(TIME, 0.0, 30 * 86400.0),
    "blush.wash_from": ResinQuantity(TIME, 0.0, 30 * 86400.0),
    "blush.rest": ResinQuantity(TIME, 0.0, 7200.0, required=False),
    "bond.best_from": ResinQuantity(SHARE, 0.0, 1.0),
    "bond.best_until": ResinQuantity(SHARE, 0.0, 1.0),
    "bond.closes": ResinQuantity(SHARE, 0.0, 1.0),
    "bond.sheet_closes": ResinQuantity(TIME, 0.0, 30 * 86400.0, required=False),
    "bond.sheet_temperature": ResinQuantity(TEMPERATURE, 253.15, 333.15, required=False),
    "limits.lowest_temperature": ResinQuantity(TEMPERATURE, 243.15, 323.15),
    "limits.highest_temperature": ResinQuantity(TEMPERATURE, 273.15, 373.15),
    "limits.highest_humidity": ResinQuantity(SHARE, 0.0, 1.0),
    "price.per_kilogram": ResinQuantity({"1/kg": Unit(1.0)}, 0.0, 1e6),
    "uncertainty.rate_sd": ResinQuantity(PURE, 0.0, 2.0),
}
