"""What a thermometer in a layer teaches of its lot, while it cures: the rate whose own heat looks like that.

Theory of operation. Lots of many rates are followed with their own heat along the path that the surface would
have had without the layer. Each is as likely as the prior says, times a likelihood of the measured excess: a
Student's t with four degrees of freedom, so that one bad stretch rules nothing out. Readings of one curve
err together: all of them count as a few. A film too thin to warm teaches nothing, and nothing is claimed.
"""

import numpy as np
from msgspec.structs import replace

from curewatch.materials.resin import Origin, Resin
from curewatch.model.film.ensemble import cures
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import History
from curewatch.model.film.lots import Lot
from curewatch.model.fit.learning import WITHIN_LOT
from curewatch.units import FloatArray

RATES = 25  # lots that are tried
REACH = 3.0  # standard deviations of the prior, either way
ERROR = 1.0  # K: where it lies in the layer, and what the model of heat lacks (assumed)
WORTH = 6.0  # independent readings that one curve is worth (assumed)
FREEDOM = 4.0  # of Student's t


def taught_by_rise(resin: Resin, surface: History, time: FloatArray, excess: FloatArray, heat: Heat) -> Resin:
    """The resin with the rate, and its spread, that the measured warmth of a layer gives it.

    Parameters
    ----------
    surface : History
        Of the place without the layer, from mixing or from when the first was laid that is warm below;
        one path (n,). [s, K]
    time, excess : (n,)
        From mixing [s]; how much warmer the layer was measured. [K]
    heat : Heat
        The layer, and what is warm below it.

    Returns
    -------
    Resin
        The same one where the curve says nothing.

    Raises
    ------
    OutOfValidity
        A path that leaves the range of the cure law, or a layer too thin or thick for its heat.
    """
    start = -min((ply.at for ply in heat.buildup.before), default=0.0)
    logs = resin.rate_sd * np.linspace(-REACH, REACH, RATES)
    ensemble = History(surface.time, np.tile(surface.temperature, (RATES, 1)))
    found = cures(
        resin, ensemble, [Lot(resin, float(np.exp(each))) for each in logs], heat._replace(fine=True), start
    )
    along = np.interp(start + found.time, surface.time, surface.temperature)
    modelled = np.array([np.interp(time, found.time, row - along) for row in found.temperature])
    off = (excess - modelled) / ERROR
    fit = -0.5 * (FREEDOM + 1.0) * np.log1p(off**2 / FREEDOM).mean(axis=1) * min(WORTH, time.size)
    weight = np.exp(fit - fit.max() - 0.5 * (logs / resin.rate_sd) ** 2)
    weight /= weight.sum()
    mean = float(weight @ logs)
    spread = float(np.sqrt(weight @ (logs - mean) ** 2))
    if spread > 0.95 * resin.rate_sd:
        return resin
    learned = Origin("learned", "the thermometer in this layer")
    return replace(
        resin,
        kinetics=resin.kinetics.faster(float(np.exp(mean))),
        rate_sd=max(spread, WITHIN_LOT),
        origins={**resin.origins, "uncertainty.rate_sd": learned},
    )
