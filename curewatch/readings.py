"""The values everyone shares: what a sensor said, and what was rejected and why.

A reading keeps temperature and humidity *of the same chip* together: a relative humidity has no
meaning without the temperature it was measured at. Both are NamedTuples because a daemon makes
many thousands a second and a tuple is the cheapest frozen value Python has.
"""

from enum import IntFlag
from typing import Any, NamedTuple


class Flag(IntFlag):
    """What is peculiar about a reading that was kept."""

    NONE = 0
    CLAMPED = 1  # humidity of 100..102 % from a wet chip, taken as 100 %; kept as it came in raw
    ARRIVAL_TIME = 2  # the sensor gave no time: stamped on arrival
    AGE_GIVEN = 4  # the sensor gave an age: stamped arrival minus age
    LATE = 8  # delivered out of order, or long after it was measured
    JUMP = 16  # further from the last reading than air can move
    RETAINED = 32  # the broker kept it: old until its own time says otherwise
    CORRECTED = 64  # a two-point check's correction was applied
    CLOCK_DOUBT = 128  # the stamp is doubtful: the wall clock had stepped, or had not been set
    BACKLOG = 256  # the broker may have held it back: old until its own time says otherwise
    LEFT_OUT = 512  # a quantity that no answer needs cannot be true, as told: kept without it


_HELD_BACK = int(Flag.RETAINED | Flag.BACKLOG)
_BY_ARRIVAL = int(Flag.ARRIVAL_TIME | Flag.AGE_GIVEN)


def undated(flags: Any) -> Any:
    """Is it of unknown age? The broker held it back, and its stamp counts from arrival. Also for an array."""
    return (flags & _HELD_BACK != 0) & (flags & _BY_ARRIVAL != 0)


class Reading(NamedTuple):
    """One report of one sensor. SI throughout; ``None`` where the sensor has no such quantity."""

    sensor: str  # the name the configuration gives it, else the name on the wire
    time: float  # UTC, when it was measured [s]
    received: float  # UTC, when it reached the edge [s]
    temperature: float | None = None  # [K]
    relative_humidity: float | None = None  # over liquid water, also below 0 degC [1]
    carbon_dioxide: float | None = None  # mole fraction [1]
    battery: float | None = None  # state of charge [1]
    flags: int = 0  # Flag
    sequence: int | None = None  # the sender's own running number, if it keeps one
    pressure: float | None = None  # of the air where the sensor is, not carried to sea level [Pa]


FURTHER_FROM = Reading._fields.index("sequence") + 1
FURTHER = Reading._fields[FURTHER_FROM:]  # quantities that no answer needs: none of them costs a reading
UNSAID = (None,) * len(FURTHER)  # a report that tells none of them


class Rejected(NamedTuple):
    """Something that came in and is not a reading: counted, shown, kept; never raised."""

    reason: str  # one of the reasons in wire.plausibility / the parser, a stable short phrase
    raw: bytes  # what came in, cut to a bounded length
    at: float  # UTC, when it reached the edge [s]
    source: str = ""  # which port, topic or file
    sensor: str = ""  # if it could be told
