"""Relative humidity over saturated salt solutions: fixed points for checking a humidity chip.

Lithium chloride is left out on purpose: it changes for good below 18 degC, which a shed is in winter.
Source of the polynomials: L. Greenspan, J. Res. Natl. Bur. Stand. 81A:89 (1977), table 2, as two public
copies of it agree on them.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curewatch.errors import OutOfValidity
from curewatch.units import ZERO_CELSIUS, FloatArray

SOURCE = "Greenspan, J. Res. NBS 81A:89 (1977)"


class Salt(NamedTuple):
    """One salt whose wet crystals hold a humidity."""

    formula: str
    name: str
    coefficients: tuple[float, ...]  # of t^0, t^1 …, t in degC, result in per cent
    highest: float  # K; each holds from 0 degC
    uncertainty: float  # of the humidity at 20 degC [1]
    origin: str  # of the uncertainty


SALTS = {
    salt.formula: salt
    for salt in (
        Salt(
            "MgCl2",
            "magnesium chloride",
            (33.6686, -0.00797397, -0.00108988),
            372.15,
            0.0018,
            "published: Greenspan",
        ),
        Salt(
            "NaCl",
            "sodium chloride (pure, without iodine or flow agent)",
            (75.5164, 0.0398321, -0.00265459, 2.848e-5),
            353.15,
            0.0014,
            "published: Greenspan",
        ),
        Salt(
            "KCl",
            "potassium chloride",
            (88.6190, -0.193340, 0.000899706),
            363.15,
            0.0029,
            "from memory: Greenspan",
        ),
        Salt("K2SO4", "potassium sulfate", (98.7792, -0.0590502), 323.15, 0.005, "published: Greenspan"),
    )
}


def relative_humidity(formula: str, temperature: ArrayLike) -> FloatArray:
    """Relative humidity of the air over a saturated solution of this salt, over liquid water.

    Parameters
    ----------
    formula : str
        One of :data:`SALTS`: MgCl2, NaCl, KCl, K2SO4.
    temperature : array_like, shape (...)
        Of salt and air, which must be the same: one kelvin between them costs 4.5 % at 75 %. [K]

    Returns
    -------
    ndarray, shape (...)
        [1]

    Raises
    ------
    OutOfValidity
        Temperature below 0 degC or above what the salt's polynomial holds for.
    KeyError
        No such salt.

    Source
    ------
    Greenspan 1977, table 2; checked against tests/published/tables/saturated_salts.csv.
    """
    salt = SALTS[formula]
    kelvin = np.asarray(temperature, dtype=np.float64)
    inside = (kelvin >= ZERO_CELSIUS) & (kelvin <= salt.highest)
    if not np.all(inside):
        allowed = f"{ZERO_CELSIUS:g} to {salt.highest:g} K"
        raise OutOfValidity(f"temperature of {formula}", float(np.ravel(kelvin[~inside])[0]), allowed, SOURCE)
    percent = np.polynomial.polynomial.polyval(kelvin - ZERO_CELSIUS, np.array(salt.coefficients))
    return np.asarray(percent / 100.0)
