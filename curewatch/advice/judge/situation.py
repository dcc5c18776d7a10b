"""What is known of the shed at one moment, and what is wrong with that knowledge.

A situation is a value: whoever keeps the readings builds it, the advice only reads it. Trouble is
carried beside the numbers and never swallowed: one trouble is enough to make the answer "unknown".
"""

from enum import StrEnum

import numpy as np
from msgspec import Struct, field

from curewatch.errors import OutOfValidity
from curewatch.model.air.forecast import Forecast
from curewatch.model.air.past import Past, no_past
from curewatch.model.film.blush import FRESH_AIR
from curewatch.phrases import Phrase, Said, phrase
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.units import DAY


class Role(StrEnum):
    """Where a sensor stands."""

    AIR = "air"  # at the work, in the shade, at the height of the work
    SURFACE = "surface"  # taped to what is laminated
    OUTSIDE = "outside"  # in the shade, out of the wind


class TroubleKind(StrEnum):
    """Why a reading cannot be trusted."""

    NO_READING = "no reading"  # nothing has come from it, ever
    SILENT = "silent"  # it spoke, and stopped
    STALE = "stale"  # the last reading is too old to decide on
    IMPLAUSIBLE = "implausible"  # what it says cannot be
    INCOMPLETE = "incomplete"  # temperature without humidity where both are needed, or neither
    CLOCK = "clock"  # stamps cannot be believed: the wall clock stepped, or was never set


WHAT_TO_DO = {
    TroubleKind.NO_READING: "run `curewatch setup`, or check its cable and its power",
    TroubleKind.SILENT: "check its cable and battery; the verdict comes back with its next reading",
    TroubleKind.STALE: "wait for a fresh reading, or see to the sensor",
    TroubleKind.IMPLAUSIBLE: "look at the sensor: wet, in the sun, broken? compare it with another",
    TroubleKind.INCOMPLETE: "use a sensor that reports temperature and humidity of one chip",
    TroubleKind.CLOCK: "set this machine's clock, then wait for the next reading",
}


class Trouble(Struct, frozen=True):
    """One thing wrong with one sensor, or with the clock (``sensor`` empty)."""

    kind: TroubleKind
    reason: Said  # in a few words: "nothing for 41 min"
    sensor: str = ""
    role: str = ""
    since: float | None = None  # UTC [s]
    advised: str = ""  # where more is known than the kind tells

    @property
    def remedy(self) -> str:
        """What to do about it: what was advised, else the usual."""
        return self.advised or WHAT_TO_DO[self.kind]

    @property
    def told(self) -> Phrase:
        """Its kind and the reason."""
        return phrase("{kind}: {reason}", kind=str(self.kind), reason=self.reason)


UNHEARD = DAY  # so long ago the coming hours may begin [s]


class Place(Struct, frozen=True):
    """The last word of the sensor of one role. Humidity is of the same chip as temperature.

    ``estimated`` marks a surface without a probe: its temperature then comes from the air's
    history and the substrate's thermal lag, with a wider error.
    """

    sensor: str
    role: str
    time: float  # UTC, when it was measured [s]
    temperature: float | None  # [K]
    temperature_sd: float  # [K]
    relative_humidity: float | None = None  # over liquid water [1]
    relative_humidity_sd: float = 0.0  # [1]
    vapour_pressure: float | None = None  # [Pa]
    vapour_pressure_sd: float = 0.0  # [Pa]
    estimated: bool = False


def place(reading: Reading, role: str, temperature_sd: float, relative_humidity_sd: float = 0.0) -> Place:
    """What a reading says of a role, with its error in vapour pressure by linear propagation.

    A humidity that no air can have, or one outside the range of the equations, gives a place without
    vapour pressure: the trust checks then call it incomplete.

    ``temperature_sd`` [K], ``relative_humidity_sd`` [1].
    """
    pressure, pressure_sd = None, 0.0
    if reading.temperature is not None and reading.relative_humidity is not None:
        pressure, pressure_sd = _pressure(
            reading.temperature, reading.relative_humidity, temperature_sd, relative_humidity_sd
        )
    return Place(
        sensor=reading.sensor,
        role=role,
        time=reading.time,
        temperature=reading.temperature,
        temperature_sd=temperature_sd,
        relative_humidity=reading.relative_humidity,
        relative_humidity_sd=relative_humidity_sd,
        vapour_pressure=pressure,
        vapour_pressure_sd=pressure_sd,
    )


def _pressure(
    temperature: float, humidity: float, temperature_sd: float, humidity_sd: float
) -> tuple[float | None, float]:
    try:
        saturated = float(moist_air.saturation_pressure(temperature))
        slope = float(moist_air.saturation_slope(temperature))
        pressure = float(moist_air.vapour_pressure(temperature, humidity))
    except OutOfValidity:
        return None, 0.0
    if pressure <= 0.0:
        return None, 0.0
    return pressure, float(np.hypot(saturated * humidity_sd, humidity * slope * temperature_sd))


class Situation(Struct, frozen=True):
    """The shed at ``at``: the last word of each role, the recent past, and what is wrong."""

    at: float  # UTC [s]
    air: Place | None = None
    surface: Place | None = None
    outside: Place | None = None
    troubles: tuple[Trouble, ...] = ()
    past: Past = field(default_factory=no_past)
    carbon_dioxide: float | None = None  # mole fraction in the shed's air, where measured [1]
    forecasts: tuple[Forecast, ...] = ()  # of the air outside, fed by the user, the newest last
    rejected: str = ""  # what came in lately and could not be taken, in a line
    judged: frozenset[str] | None = None  # the sensors that take part; None where nobody looked

    def places(self) -> tuple[Place, ...]:
        """The places that have ever spoken: air, surface, outside."""
        return tuple(place for place in (self.air, self.surface, self.outside) if place is not None)

    @property
    def heard(self) -> float:
        """When a sensor of the shed last spoke, at most a day ago: the coming hours begin there. [UTC s]"""
        newest = max((place.time for place in self.places()), default=self.at)
        return min(self.at, max(newest, self.at - UNHEARD))

    def age(self, place: Place) -> float:
        """How old the last word of a place is; negative if its stamp lies ahead of the clock. [s]"""
        return self.at - place.time


class Surfaced(Situation, frozen=True, kw_only=True):
    """A situation that has its surface, of a probe or estimated from the air: what can be judged.

    In the program only the look at the shed (:mod:`curewatch.shed.look`) makes one. Whatever judges, plans or
    follows takes this type, so that none of them can go by a surface of its own.
    """

    surface: Place
    carbon_dioxide: float = FRESH_AIR  # measured, else as configured [1]
