"""When a network gels, how thick the mix is before that, and how much hardener belongs to it."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.units import FloatArray


def viscosity_ratio(conversion: ArrayLike, gel: float, a: float, b: float) -> FloatArray:
    """Viscosity relative to the fresh mix at the same temperature; infinite from gel on.

    Elementwise: [1] -> [1], shape (...).

    Source
    ------
    Castro and Macosko, AIChE J. 28:250 (1982): [ag/(ag-a)]^(A + B a) (form from memory)
    """
    x = np.asarray(conversion, dtype=float)
    gap = np.maximum(gel - x, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray((gel / gap) ** (a + b * x), dtype=float)


@lru_cache(maxsize=64)  # each of many ensembles of a resin asks for it
def conversion_at_viscosity(ratio: float, gel: float, a: float, b: float) -> float:
    """Conversion at which the viscosity has risen ``ratio``-fold: the inverse, by bisection. [1]

    Raises
    ------
    OutOfValidity
        The ratio is below 1.

    Source
    ------
    The inverse of :func:`viscosity_ratio`.
    """
    if ratio < 1.0:
        raise OutOfValidity("viscosity ratio", ratio, "1 or more", "the Castro–Macosko relation")
    low, high = 0.0, gel
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(viscosity_ratio(middle, gel, a, b)) < ratio else (low, middle)
    return 0.5 * (low + high)


def hardener_per_hundred_resin(
    molar_mass: float, functionality: float, epoxy_equivalent_weight: float
) -> float:
    """Parts of amine by mass for 100 parts of resin, at one hydrogen to each epoxy group.

    Parameters
    ----------
    molar_mass : float
        Of the amine. [g/mol]
    functionality : float
        Amine hydrogens a molecule. [1]
    epoxy_equivalent_weight : float
        Resin mass that holds one mole of epoxy groups. [g/mol]

    Returns
    -------
    float
        [1]

    Source
    ------
    Definition of the equivalent weights; tests/published/tables/stoichiometry.csv
    """
    return 100.0 * (molar_mass / functionality) / epoxy_equivalent_weight


def gel_time_of_cobalt(cobalt_percent: ArrayLike, a: float, b: float) -> FloatArray:
    """Gel time of a promoted polyester against its cobalt content: a + b/[Co]. [s, s·%] -> [s]

    Any shape (...), the same on both sides.

    Raises
    ------
    OutOfValidity
        A content is not above 0.

    Source
    ------
    The law is ours, fitted to four of the points of Matušková, Vinklárek and Honzíček, Ind. Eng.
    Chem. Res. 2021, SI Table S1 and checked on the other three:
    tests/published/tables/polyester_gel_cobalt.csv
    """
    cobalt = np.asarray(cobalt_percent, dtype=float)
    if np.any(cobalt <= 0.0):
        raise OutOfValidity("cobalt in per cent", float(np.min(cobalt)), "above 0", "the law a + b/[Co]")
    return np.asarray(a + b / cobalt, dtype=float)


def cobalt_law(cobalt_percent: ArrayLike, gel_time: ArrayLike) -> tuple[float, float]:
    """The a and b of ``t = a + b/[Co]`` with the least relative error at some points. [%, s] -> [s, s·%]

    Both of shape (points,).

    Source
    ------
    Least squares of the relative error; the law is that of :func:`gel_time_of_cobalt`.
    """
    cobalt, time = np.asarray(cobalt_percent, dtype=float), np.asarray(gel_time, dtype=float)
    rows = np.stack([1.0 / time, 1.0 / (cobalt * time)], axis=1)
    a, b = np.linalg.lstsq(rows, np.ones(time.size), rcond=None)[0]
    return float(a), float(b)
