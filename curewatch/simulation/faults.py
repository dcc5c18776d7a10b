"""Faults on demand: what a sensor, a cable or a clock does when it fails, for so long."""

import re
from collections.abc import Collection
from enum import StrEnum
from random import Random

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.simulation.sensors import Said
from curewatch.units import HOUR, MINUTE


class FaultKind(StrEnum):
    """The faults there are."""

    SILENT = "silent"  # nothing comes
    LATE = "late"  # every fifth report only: a radio at the end of its reach
    UNPLUG = "unplug"  # nothing comes, and a simulated port is gone meanwhile
    STUCK = "stuck"  # the last value for ever
    JUMP = "jump"  # 8 K and 20 % off
    JUMPING = "jumping"  # ... at every second report: a loose wire
    DRIFT = "drift"  # creeps away from the truth, by 6 K and 12 % an hour
    AGED = "aged"  # humidity 4 % too high: a chip that hung in solvent vapour
    SATURATED = "saturated"  # humidity at 100 %: a wet chip
    SWAPPED = "swapped"  # humidity sent as temperature and the other way round
    EXCHANGED = "exchanged"  # its plug and the yard's are exchanged (the yard's and the bench's)
    FAHRENHEIT = "fahrenheit"  # degrees Fahrenheit sent as Celsius
    FAILED = "failed"  # nan, as small boards print when a chip does not answer
    NOISE = "noise"  # bytes of no meaning instead of a line
    CUT = "cut"  # a line that lost its end
    CLOCK_1970 = "clock-1970"  # stamped by a clock that was never set; when it ends, the clock jumps
    CLOCK_BACK = "clock-back"  # ... by one that is an hour slow
    CLOCK_AHEAD = "clock-ahead"  # ... by one that is an hour fast


CLOCKS = (FaultKind.CLOCK_1970, FaultKind.CLOCK_BACK, FaultKind.CLOCK_AHEAD)
LATE_KEEPS = 5  # of a late sensor's reports one in so many comes
_OFF = {FaultKind.JUMP: (8.0, 20.0), FaultKind.AGED: (0.0, -4.0)}  # K warmer, % drier
DRIFT_TEMPERATURE, DRIFT_HUMIDITY = 6.0, 12.0  # K and % an hour


_SPAN = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,3})?)(h|m|s)")
_FAULT = re.compile(r"([a-z0-9-]+)(?::([A-Za-z0-9_.:/-]+))?@([0-9.]+[hms])(?:\+([0-9.]+[hms]))?")
_SECONDS = {"h": HOUR, "m": MINUTE, "s": 1.0}


class Fault(Struct, frozen=True):
    """One fault: what, of which sensor, from when and for how long, counted from the start. [s]"""

    kind: FaultKind
    sensor: str | None = None  # none: of all
    start: float = 0.0
    length: float = float("inf")

    def touches(self, sensor: str, elapsed: float) -> bool:
        """Does it touch this sensor now?"""
        return self.sensor in (None, sensor) and self.start <= elapsed < self.start + self.length


def parse_fault(text: str) -> Fault:
    """A fault as it is typed: ``KIND[:SENSOR]@FROM[+FOR]``, e.g. ``silent:bench@2h+30m``.

    Raises
    ------
    UsageError
        It is not written so, or there is no such kind.
    """
    match = _FAULT.fullmatch(text)
    kinds = [kind.value for kind in FaultKind]
    if match is None or match[1] not in kinds:
        allowed = f"KIND[:SENSOR]@FROM[+FOR], e.g. silent:bench@2h+30m; KIND is one of {', '.join(kinds)}"
        raise UsageError(f"fault: found {text!r}. Use {allowed}")
    length = float("inf") if match[4] is None else parse_span(match[4])
    return Fault(FaultKind(match[1]), match[2], parse_span(match[3]), length)


def parse_span(text: str) -> float:
    """A span such as ``2h``, ``30m`` or ``45s`` in seconds. Raises UsageError."""
    match = _SPAN.fullmatch(text)
    if match is None:
        raise UsageError(f"span: found {text!r}. Use a number and h, m or s, e.g. 30m")
    return float(match[1]) * _SECONDS[match[2]]


class FaultMoment(Struct, frozen=True):
    """A report under a fault: which one it is, how long the fault has lasted, what was said before it."""

    index: int
    lasted: float = 0.0  # [s]
    before: Said | None = None  # the sensor's report before the fault


def distort(kind: FaultKind, said: Said, moment: FaultMoment) -> Said:
    """What is reported under a fault of the sensor itself."""
    wet = said.humidity_percent
    if kind is FaultKind.STUCK and moment.before is not None:
        return moment.before
    if kind in _OFF or (kind is FaultKind.JUMPING and moment.index % 2):
        return _off(said, *_OFF.get(kind, _OFF[FaultKind.JUMP]))
    if kind is FaultKind.DRIFT:
        hours = moment.lasted / HOUR
        return _off(said, DRIFT_TEMPERATURE * hours, DRIFT_HUMIDITY * hours)
    if wet is not None and kind in {FaultKind.SATURATED, FaultKind.SWAPPED}:
        return (
            Said(said.temperature_c, 100.0) if kind is FaultKind.SATURATED else Said(wet, said.temperature_c)
        )
    if kind is FaultKind.FAHRENHEIT:
        return Said(round(said.temperature_c * 1.8 + 32.0, 2), wet)
    return said


def _off(said: Said, warmer: float, drier: float) -> Said:
    wet = said.humidity_percent
    dry = None if wet is None else min(100.0, max(1.0, round(abs(wet - drier), 2)))
    return Said(round(said.temperature_c + warmer, 2), dry)


def exchanged_with(sensor: str) -> str:
    """Whose plug a sensor's is exchanged with: the yard's, or the bench's for the yard itself."""
    return "bench" if sensor == "yard" else "yard"


def stamp(kinds: Collection[FaultKind], at: float, elapsed: float) -> float:
    """The time that the board's clock shows. [s]"""
    if FaultKind.CLOCK_1970 in kinds:
        return elapsed
    return at + HOUR * ((FaultKind.CLOCK_AHEAD in kinds) - (FaultKind.CLOCK_BACK in kinds))


def damage(kind: FaultKind, line: bytes, random: Random) -> bytes:
    """What arrives of a line under a fault of the cable."""
    if kind is FaultKind.NOISE:
        return bytes(random.randrange(128, 256) for _ in range(len(line)))
    if kind is FaultKind.CUT:
        return line[: random.randrange(6, len(line) - 1)]
    return line
