"""Heat in a curing mass: how far it can rise, how it leaves, when one temperature is too few."""

import math

from curewatch.errors import OutOfValidity

STILL_AIR = 10.0  # W/(m2 K), natural convection and radiation of a warm pot in a shed; 5..15 (from memory)


def adiabatic_rise(reaction_heat: float, heat_capacity: float, conversion: float = 1.0) -> float:
    """Temperature rise when no heat leaves. [J/kg, J/(kg K), 1] -> [K]"""
    return reaction_heat * conversion / heat_capacity


def biot(transfer: float, length: float, conductivity: float) -> float:
    """Resistance inside over resistance outside; above about 0.3 one temperature is too few.

    Parameters
    ----------
    transfer : float
        Heat transfer coefficient at the surface. [W/(m2 K)]
    length : float
        Volume over cooled area. [m]
    conductivity : float
        Of the mass. [W/(m K)]

    Source
    ------
    Definition. The usual limit for one lumped temperature is 0.1 (handbooks); 0.3 is chosen here
    because the error in gel time stays below that of the kinetics (computed).
    """
    return transfer * length / conductivity


def upright_cylinder(volume: float) -> tuple[float, float]:
    """Diameter and cooled area (all round) of a full cup as high as it is wide. [m3] -> [m, m2]"""
    if volume <= 0.0:
        raise OutOfValidity("volume in m3", volume, "above 0", "the shape of a cup")
    diameter = (4.0 * volume / math.pi) ** (1.0 / 3.0)
    return diameter, 1.5 * math.pi * diameter**2
