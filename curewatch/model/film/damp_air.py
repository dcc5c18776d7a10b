"""How much sooner a film sets in damp air than dry calorimetry says: a factor with a spread.

Theory of operation. Water takes part in the cure of epoxy by amine as a catalyst, and calorimeters run dry
pans. So in a damp shed the model errs late, on the unsafe side of every deadline. The sign is published,
the size is not: a factor of rate, log-normal, that grows with the humidity at the surface above that of a
dry shop. On a path of one temperature a factor of rate divides every time. It moves deadlines alone
(working time, gel, the close of the recoat window): what is waited for is not told any sooner.
"""

from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from curewatch.materials.resin import Resin
from curewatch.model.film.lots import STRATA, turn_of
from curewatch.units import FloatArray

SHOP = 0.50  # relative humidity up to which sheets' own times hold (assumed)
GAIN, GAIN_SD = 0.3, 0.2  # of the logarithm of the rate, for a humidity of 1 above that (assumed)


def acceleration(resin: Resin, surface_humidity: ArrayLike) -> FloatArray:
    """How many times as fast the films of an ensemble cure as dry ones.

    Parameters
    ----------
    resin : Resin
    surface_humidity : array_like, shape (..., members)
        Mean over the time that matters. [1]

    Returns
    -------
    ndarray, shape (..., members)
        1 or more in the middle of the ensemble; 1 for what no amine cures, and for a lot whose rate was
        learnt from layers, which were as damp. [1]

    Source
    ------
    Sign: Bashir, Coatings 13:592 (2023), abstract: dry calorimetry underpredicts the cure of three coatings
    at 23 degC and 50 %, and at 40 degC and 70 %. Size and spread: ours, assumed.
    """
    humidity = np.asarray(surface_humidity, dtype=float)
    if not resin.chemistry.amine or _learnt(resin):
        return np.ones(humidity.shape)
    turn = turn_of(humidity.shape[-1], STRATA)  # so that every lot gets slow and fast water alike
    strata = [NormalDist().inv_cdf((each + 0.5) / (turn.max() + 1)) for each in range(turn.max() + 1)]
    gain = GAIN + GAIN_SD * np.array(strata)[turn]
    return np.asarray(np.exp(np.clip(humidity - SHOP, 0.0, 1.0 - SHOP) * gain))


def _learnt(resin: Resin) -> bool:
    origin = resin.origins.get("uncertainty.rate_sd")
    return origin is not None and origin.tag == "learned"
