"""The cure of one layer with its own heat along one surface: the laminate itself, as two cures."""

from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film.film import Cure, History
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import Laminate, felt, laminate
from curewatch.physics.glass_transition import glass_transition


class LayerCure(NamedTuple):
    """What must be reached goes by the slowest part, what must not be passed by the quickest."""

    slowest: Cure
    quickest: Cure
    whole: Laminate


def layer_cure(
    resin: Resin, surface: History, buildup: Buildup, *, peroxide_percent: float | None = None
) -> LayerCure:
    """Follow one layer along the temperature that the bare surface has. [s, K]

    Raises
    ------
    OutOfValidity, DoseOutOfRange
        As :func:`curewatch.model.mass.laminate.laminate`.
    """
    buildup.require()
    below = buildup.substrate
    face = None if below is None else felt(surface, below, insulated=buildup.insulated)
    whole = laminate(
        resin,
        buildup.plies,
        surface,
        below,
        fibre_mass_fraction=buildup.fibre_mass_fraction,
        peroxide_percent=peroxide_percent,
        insulated=buildup.insulated,
        face=face,
    )
    net = resin.network
    slow, quick = (
        Cure(
            whole.time,
            progress,
            glass_transition(np.maximum(progress, 0.0), net.uncured, net.full, net.shape),
            whole.hottest,
            progress,
        )
        for progress in (whole.slowest, whole.quickest)
    )
    return LayerCure(slow, quick, whole)
