"""Temperature and humidity of one chip that came in two messages: which of them belong together.

A device with a topic for each quantity reports in halves. Each half is stored as it came, with its own
time; only whoever reads puts them together. Laws: two halves make a pair when they are no more than
:data:`TOGETHER` apart; a pair is as old as its older half; a half whose other one is older stays half,
so that an old humidity never passes for a new one, and the answer is "unknown" for want of it.
"""

from typing import TYPE_CHECKING, Any, NamedTuple

from curewatch.later import Later
from curewatch.logbook import Series
from curewatch.readings import Reading
from curewatch.units import MINUTE, FloatArray

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Mask = NDArray[np.bool_]
else:
    np = Later("numpy")  # readings are judged one by one without it
    Mask = Any

# ASSUMED: in a shed the air then moves by some tenths of a kelvin, 1 to 2 % of humidity. [s]
TOGETHER = 5 * MINUTE


class Halves(NamedTuple):
    """The newest half of each kind: when, and what it said."""

    warm: tuple[float, float] | None = None  # UTC [s], temperature [K]
    damp: tuple[float, float] | None = None  # UTC [s], relative humidity [1]


def step(halves: Halves, reading: Reading) -> Halves:
    """The halves after one more reading; a whole reading is none."""
    if reading.relative_humidity is None and reading.temperature is not None:
        return halves._replace(warm=(reading.time, reading.temperature))
    if reading.temperature is None and reading.relative_humidity is not None:
        return halves._replace(damp=(reading.time, reading.relative_humidity))
    return halves


def is_half(reading: Reading) -> bool:
    """Does one of the two quantities want?"""
    return reading.temperature is None or reading.relative_humidity is None


def joined(reading: Reading, halves: Halves) -> Reading:
    """A half with its other half, and the time of the older one; any other reading as it is."""
    other = halves.damp if reading.relative_humidity is None else halves.warm
    if not is_half(reading) or other is None or abs(reading.time - other[0]) > TOGETHER:
        return reading
    time = min(reading.time, other[0])
    if reading.relative_humidity is None:
        return reading._replace(time=time, relative_humidity=other[1])
    return reading._replace(time=time, temperature=other[1])


def wanting(halves: Halves, at: float) -> str:
    """Which half of a sensor that speaks in halves is too old for a pair, in words; else nothing."""
    if halves.warm is None or halves.damp is None:
        return ""
    newest = max(halves.warm[0], halves.damp[0])
    for name, half in (("temperature", halves.warm), ("humidity", halves.damp)):
        if newest - half[0] > TOGETHER:
            return f"its {name} is {(at - half[0]) / MINUTE:.0f} min old, the other half is newer"
    return ""


def joined_series(found: Series) -> Series:
    """The same for a stretch of time: each half with the newest other half before it; times stay."""
    dry, cold = np.isnan(found.relative_humidity), np.isnan(found.temperature)
    damp, warm = cold & ~dry, dry & ~cold
    if not damp.any():
        return found
    joined = {
        "temperature": _filled(found.time, found.temperature, damp, warm),
        "relative_humidity": _filled(found.time, found.relative_humidity, warm, damp),
    }
    return found._replace(quantities={**found.quantities, **joined})


def _filled(time: FloatArray, values: FloatArray, wanting: Mask, having: Mask) -> FloatArray:
    """``values`` where they are wanting, from the newest row before that has one."""
    newest = np.maximum.accumulate(np.where(having, np.arange(time.size), -1))
    known = wanting & (newest >= 0)
    known[known] = time[known] - time[newest[known]] <= TOGETHER
    filled = values.copy()
    filled[known] = values[newest[known]]
    return filled
