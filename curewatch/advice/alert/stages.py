"""Where a running layer stands, from the moments that were told of it and how far it goes; without the model.

So what was told once can be said again at a later moment.
"""

from bisect import bisect_right
from collections.abc import Mapping
from typing import NamedTuple

from curewatch.units import HOUR, MINUTE

STAGES = ("open", "thickening", "takes-the-next-layer", "gelled", "tack-free", "firm", "ready-to-sand")
COOLED = STAGES[5:]  # once its own heat has gone
BRIDGED = HOUR + 15 * MINUTE  # s without a reading that count: an hourly one may come a cell late (assumed)
MARKS = ("working-time", "laminate-from", "gel", "tack-free", "firm", "ready-to-sand")  # that begin each


def stage(likely: Mapping[str, float | None], now: float) -> str:
    """The last stage whose likely moment has come. [UTC s]"""
    found = STAGES[0]
    for name, reached in zip(MARKS, STAGES[1:], strict=True):
        when = likely[name]
        if when is not None and when <= now:
            found = reached
    return found


class Curing(NamedTuple):
    """Conversions of the usual lot on the likely path, as it was stepped."""

    started: float  # UTC [s]
    elapsed: tuple[float, ...]  # rising [s]
    conversion: tuple[float, ...]  # [1]

    def at(self, now: float) -> float:
        """The conversion then, straight between two; beyond its ends that of the end. [UTC s] -> [1]"""
        elapsed = min(max(now - self.started, self.elapsed[0]), self.elapsed[-1])
        after = min(max(bisect_right(self.elapsed, elapsed), 1), len(self.elapsed) - 1)
        (begin, end), (low, high) = (
            self.elapsed[after - 1 : after + 1],
            self.conversion[after - 1 : after + 1],
        )
        return low + (high - low) * (elapsed - begin) / (end - begin)


class Silence(NamedTuple):
    """Time of a layer without a reading, in stretches longer than :data:`BRIDGED`."""

    ended: float  # in stretches that a reading ended [s]
    heard: float  # the last reading, or the start of the layer where there is none. UTC [s]

    def at(self, now: float) -> float:
        """So far, if nothing was heard since. [UTC s] -> [s]"""
        silent = now - self.heard
        return self.ended + (silent if silent > BRIDGED else 0.0)
