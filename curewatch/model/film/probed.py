"""A layer with a thermometer in it: as warm as it was measured, and as the model has it before and after.

*Theory of operation.* What was measured is the layer's temperature, its own heat in it. Before the
thermometer spoke each lot warms itself as from its laying. After its last word each lot goes on with its own
heat from where it stands: from as much progress as it made along what was measured. What was read beyond
that fades, and is forgotten where the thermometer was lost.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film import film
from curewatch.model.film.ensemble import cures
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import Cure, History
from curewatch.model.film.lots import Lot
from curewatch.model.mass.buildup import Buildup
from curewatch.units import MINUTE, FloatArray

FADES = 30 * MINUTE  # in which the warmth of a layer above its surface goes to 1/e (assumed)
BEYOND = 15 * MINUTE  # s that a path is followed beyond what is asked: its last step reaches past it

StepArray = NDArray[np.intp]


class Laid(NamedTuple):
    """Lots of one layer, its dose in them, on one path."""

    started: float  # UTC [s]
    lots: Sequence[Lot]
    buildup: Buildup | None  # a film as warm as the path if none
    time: FloatArray  # (n,), from the laying of what lies below; UTC [s]
    surface: FloatArray  # (n,) [K]
    air: FloatArray  # (n,) [K]

    def cured(self, until: float) -> Cure:
        """So far: (lots, steps), its times from the start of the layer. UTC [s]"""
        upto = slice(0, int(np.searchsorted(self.time, until + BEYOND, side="right")) + 1)
        begin = float(self.time[0])
        if self.buildup is None and len(self.lots) == 1:  # by itself: it needs no table
            own = film.cure(self.lots[0].resin, self._since(upto), rate_factor=self.lots[0].factor)
            return Cure(own.time, *(each[None] for each in own[1:]))
        surface, air = (np.tile(each[upto], (len(self.lots), 1)) for each in (self.surface, self.air))
        heat = None if self.buildup is None else Heat(self.buildup, air)
        path = History(self.time[upto] - begin, surface)
        return cures(self.lots[0].resin, path, self.lots, heat, self.started - begin)

    def _since(self, upto: slice) -> History:
        """The path from the start of the layer."""
        time, surface = self.time[upto], self.surface[upto]
        later = np.append(0.0, time[time > self.started] - self.started)
        return History(later, np.interp(later + self.started, time, surface))


class MeasuredLayer(NamedTuple):
    """What is believed of a thermometer in a layer, and whether it was lost since. (n,) UTC [s], [K]"""

    time: FloatArray
    temperature: FloatArray
    lost: bool

    def within(self, time: FloatArray, now: float) -> NDArray[np.bool_]:
        """Which of these moments it tells of. (n,) UTC [s]"""
        found: NDArray[np.bool_] = (time >= self.time[0]) & (time <= self.until(now))
        return found

    def until(self, now: float) -> float:
        """As far as it is believed: to now, unless it was lost. UTC [s]"""
        return float(self.time[-1]) if self.lost else now

    def along(self, time: FloatArray) -> FloatArray:
        """What it read, straight between its readings. (n,) UTC [s] -> (n,) [K]"""
        return np.interp(time, self.time, self.temperature)


def own_paths(
    laid: Laid,
    seen: MeasuredLayer,
    now: float,
    bare: FloatArray | None = None,
    which: StepArray | None = None,
) -> FloatArray:
    """The temperature of each lot on its surface, or of each bare path that is given. (members, n) [K]

    Parameters
    ----------
    now : float
        UTC [s]
    bare : (members, n), optional
        Surfaces, at the times of ``laid``. [K]
    which : (members,), optional
        Of the lots each of them has.
    """
    warmer = _own_warmth(laid, seen, now)
    own = laid.surface + warmer if bare is None else bare + warmer[which]
    return np.where(seen.within(laid.time, now), seen.along(laid.time), own)


def _own_warmth(laid: Laid, seen: MeasuredLayer, now: float) -> FloatArray:
    """How far each lot is above its surface where it was not measured. (lots, n) [K]"""
    time, until = laid.time, seen.until(now)
    cure, spoke = laid.cured(float(time[-1])), time >= seen.time[0]
    excess = cure.temperature - np.interp(laid.started + cure.time, time, laid.surface)
    measured = seen.along(time)
    warmer = np.stack([np.interp(time - laid.started, cure.time, each, right=0.0) for each in excess])
    moments = np.append(time[time < until], until)
    for lot, own in enumerate(excess):
        gone = np.interp(moments, time, np.where(spoke, measured, laid.surface + warmer[lot]))
        alone = laid._replace(lots=[laid.lots[lot]], buildup=None, time=moments, surface=gone)
        progress = alone.cured(until).progress[0, -1]
        stands = float(np.interp(progress, cure.progress[lot], cure.time))
        coming = np.interp(stands + time - until, cure.time, own, right=0.0)
        if not seen.lost:
            beyond = seen.temperature[-1] - np.interp(until, time, laid.surface + coming)
            coming += beyond * np.exp(-np.maximum(time - until, 0.0) / FADES)
        warmer[lot] = np.where(time > until, coming, warmer[lot])
    return warmer
