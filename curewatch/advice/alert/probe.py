"""A thermometer in the layer or in a cup of the same mix: what of it is believed, and why no more.

It is the best witness there is, as long as it lies where it was put. Pulled out, it falls at once to the
temperature of the air, faster than a layer can cool. Never put in, or come loose, it is colder than air
and surface. Or it is silent. From that moment on nothing of it is believed, and the model takes over.
"""

from typing import NamedTuple

import numpy as np

from curewatch.model.film.probed import MeasuredLayer
from curewatch.phrases import Said, phrase
from curewatch.units import MINUTE, FloatArray

SILENT = 15 * MINUTE  # as for every other reading
FALL, WITHIN = 4.0, 5 * MINUTE  # K in so short a time: faster than a layer or a cup cools (assumed)
AT_AIR = 2.0  # K from the air: lies in it
COLD = 3.0  # K below both air and surface: nothing in a layer is
RING = 0.5 / MINUTE  # K/s of a cup that is about to kick (assumed)
RISEN = 2.0  # K above its start, before a slope says anything
LOOK = 5 * MINUTE  # over which a slope is taken


class Surroundings(NamedTuple):
    """Air and surface around it: over ``time`` (n,), UTC [s]; temperatures (n,), nan where not known. [K]"""

    time: FloatArray
    air: FloatArray
    surface: FloatArray


class ProbePath(NamedTuple):
    """What is believed of a probe, over ``time`` (n,), UTC [s]; (n,) [K]."""

    name: str
    time: FloatArray
    temperature: FloatArray
    trouble: Said = ""  # why nothing newer is believed; empty while it follows

    @property
    def measured(self) -> MeasuredLayer:
        """As the model takes it; of readings that there are."""
        return MeasuredLayer(self.time, self.temperature, bool(self.trouble))

    @property
    def slope(self) -> float | None:
        """How fast it warms now, once it has risen; none where it no longer follows. [K/s]"""
        if self.trouble or self.time.size < 3:
            return None
        late = self.time >= self.time[-1] - LOOK
        if late.sum() < 3 or float(self.temperature[-1] - self.temperature[0]) < RISEN:
            return 0.0
        return float(np.polyfit(self.time[late] - self.time[-1], self.temperature[late], 1)[0])


def believed(
    name: str, time: FloatArray, temperature: FloatArray, now: float, around: Surroundings
) -> ProbePath:
    """What of these readings is believed. UTC [s]; [K]

    Parameters
    ----------
    time, temperature : (n,)
        From when it was put in until now; rising.
    """
    if time.size == 0:
        return ProbePath(name, time, temperature, "no reading since it was put in")
    air, below = (_along(around.time, each, time) for each in (around.air, around.surface))
    last = time.size
    before = np.maximum.reduce([_shifted(time, temperature, back) for back in (60.0, 120.0, WITHIN)])
    with np.errstate(invalid="ignore"):
        out = (before - temperature > FALL) & (np.abs(temperature - air) < AT_AIR) & (before - air > FALL)
        cold = temperature < np.fmin(air, below) - COLD
    wrong = np.flatnonzero(out | cold)
    trouble: Said = ""
    if wrong.size:
        last = int(wrong[0])
        trouble = "it is colder than air and surface"
        if out[last]:
            trouble = phrase("it fell to the air at {when:moment}: pulled out", when=float(time[last]))
    elif now - time[-1] > SILENT:
        trouble = phrase("silent for {silent:duration}", silent=now - float(time[-1]))
    return ProbePath(name, time[:last], temperature[:last], trouble)


def _shifted(time: FloatArray, temperature: FloatArray, back: float) -> FloatArray:
    """The temperature so long before each moment. [s, K] -> [K]"""
    return np.interp(time - back, time, temperature)


def _along(time: FloatArray, values: FloatArray, moments: FloatArray) -> FloatArray:
    """Values at these moments; nan where none is known."""
    known = np.isfinite(values)
    if not known.any():
        return np.full(moments.shape, np.nan)
    return np.interp(moments, time[known], values[known])
