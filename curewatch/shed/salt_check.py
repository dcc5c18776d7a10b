"""Checking a humidity chip over saturated salts: when it has settled, what it shows, what follows.

Theory of operation: wet salt in a closed jar holds a known humidity. The chip sits in the air of the jar
until its reading no longer moves; the mean of the last minutes is compared with what the salt holds at that
temperature. One salt gives a point, two give a line. A difference that is smaller than the check can tell
is left alone.

Numbers marked ASSUMED are ours; times in the jar and the cost of a kelvin are those of calibration
practice.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np

from curewatch.errors import UsageError
from curewatch.phrases import Said, phrase
from curewatch.physics.moist_air import saturation_pressure
from curewatch.physics.saturated_salts import SALTS
from curewatch.physics.saturated_salts import relative_humidity as over_salt
from curewatch.units import DAY, HOUR, MINUTE, FloatArray

SALT_WET = 24 * HOUR  # before the air over new salt is at rest (common practice)
PROBE_IN = 20 * MINUTE  # at least, in the jar; 40 min for a chip behind a membrane (common practice)
WINDOW = 10 * MINUTE  # the last minutes, that must be at rest and are averaged (ASSUMED)
FEWEST = 5  # readings in the window (ASSUMED)
REST_HUMIDITY = 0.004  # it may wander this far in the window [1] (ASSUMED)
REST_TEMPERATURE = 0.3  # and this far [K] (ASSUMED)
MISMATCH = 0.1  # between salt and chip when both rest [K] (ASSUMED)
RESOLUTION = 0.001  # of a chip's word [1] (ASSUMED)
TOGETHER = 30 * DAY  # two points further apart in time are not one check (ASSUMED)
APART = 0.2  # two salts nearer than this in humidity make no line (ASSUMED) [1]
LARGEST = 0.10  # a chip that is further off is not corrected but replaced (ASSUMED) [1]
GAINS = (0.8, 1.25)  # (ASSUMED)
AGAIN = 365 * DAY  # drift is 0.25 to 0.5 % a year in clean air, far more in solvent (data sheets)

LITHIUM = (
    "lithium chloride changes for good below 18 degC: not in a shed. Use MgCl2 (33 %), NaCl (75 %), "
    "KCl (85 %), K2SO4 (98 %)"
)


class Samples(NamedTuple):
    """What the chip said, oldest first; without any correction."""

    time: FloatArray  # UTC [s]
    temperature: FloatArray  # [K]
    relative_humidity: FloatArray  # [1]


class Settled(NamedTuple):
    """The chip is at rest."""

    start: float  # UTC [s]
    end: float  # UTC [s]
    readings: int
    temperature: float  # mean [K]
    relative_humidity: float  # mean [1]
    scatter: float  # standard deviation of the humidity [1]


class Unsettled(NamedTuple):
    """Not yet, and why."""

    reason: Said


class SaltPoint(NamedTuple):
    """What one salt showed."""

    salt: str
    at: float  # UTC [s]
    temperature: float  # [K]
    expected: float  # [1]
    found: float  # as the chip reports, without correction [1]
    uncertainty: float  # of the difference, one standard deviation [1]

    @property
    def difference(self) -> float:
        """How far the chip is off: found less expected. [1]"""
        return self.found - self.expected


class CorrectionLine(NamedTuple):
    """corrected = offset + gain x reported."""

    offset: float
    gain: float


class CheckOutcome(StrEnum):
    """What follows from the points there are."""

    SECOND_SALT = "second-salt"
    RIGHT = "right"  # within what the check can tell
    CORRECTED = "corrected"
    REPLACE = "replace"  # too far off


def known_salt(name: str) -> str:
    """The formula of a salt, whatever its case.

    Raises
    ------
    UsageError
        No such salt, or lithium chloride.
    """
    asked = name.strip().lower()
    asked = "nacl" if asked in {"table salt", "cooking salt", "salt"} else asked
    if asked in {"licl", "lithium chloride"}:
        raise UsageError(LITHIUM)
    for formula, salt in SALTS.items():
        if asked in {formula.lower(), salt.name.lower(), salt.name.split(" (")[0].lower()}:
            return formula
    raise UsageError(f"salt: found {name!r}. Use {', '.join(SALTS)}")


def settle(samples: Samples, begin: float, now: float) -> Settled | Unsettled:
    """Is the chip, in the jar since ``begin``, at rest ``now``? [s]"""
    inside = now - begin
    if inside < PROBE_IN:
        return Unsettled(f"in the jar for {inside / MINUTE:.0f} min of {PROBE_IN / MINUTE:.0f}")
    recent = (samples.time > now - WINDOW) & (samples.time <= now)
    humidity, temperature = samples.relative_humidity[recent], samples.temperature[recent]
    usable = np.isfinite(humidity) & np.isfinite(temperature)
    humidity, temperature = humidity[usable], temperature[usable]
    if humidity.size < FEWEST:
        minutes = WINDOW / MINUTE
        return Unsettled(f"{humidity.size} readings in the last {minutes:.0f} min; {FEWEST} are needed")
    wander, warm = float(np.ptp(humidity)), float(np.ptp(temperature))
    if wander > REST_HUMIDITY:
        return Unsettled(f"humidity still moves: {wander * 100:.1f} % in {WINDOW / MINUTE:.0f} min")
    if warm > REST_TEMPERATURE:
        words = "temperature still moves: {moved:difference} in {window:duration}"
        return Unsettled(phrase(words, moved=warm, window=WINDOW))
    return Settled(
        float(samples.time[recent][0]),
        now,
        int(humidity.size),
        float(temperature.mean()),
        float(humidity.mean()),
        float(humidity.std(ddof=1)),
    )


def point(salt: str, settled: Settled) -> SaltPoint:
    """What this salt showed, with the uncertainty of the difference.

    Raises
    ------
    OutOfValidity
        The jar was frozen, or too warm for the salt.
    """
    expected = float(over_salt(salt, settled.temperature))
    kelvin = _cost_of_a_kelvin(expected, settled.temperature)
    parts = (
        SALTS[salt].uncertainty,
        kelvin * MISMATCH,
        max(settled.scatter, RESOLUTION) / settled.readings**0.5,
    )
    uncertainty = float(np.sqrt(sum(part * part for part in parts)))
    return SaltPoint(salt, settled.end, settled.temperature, expected, settled.relative_humidity, uncertainty)


def _cost_of_a_kelvin(humidity: float, temperature: float) -> float:
    """How far the humidity at a chip one kelvin warmer than the salt is off. [1/K]"""
    return humidity * (1.0 - float(saturation_pressure(temperature) / saturation_pressure(temperature + 1.0)))


def together(points: Sequence[SaltPoint], now: float) -> list[SaltPoint]:
    """The points that are one check: the newest of each salt, none older than a month."""
    newest = {each.salt: each for each in sorted(points, key=lambda each: each.at)}
    return sorted(
        (each for each in newest.values() if now - each.at <= TOGETHER), key=lambda each: each.expected
    )


def conclude(points: Sequence[SaltPoint]) -> tuple[CheckOutcome, CorrectionLine | None]:
    """What follows from the points of one check."""
    if any(abs(each.difference) > LARGEST for each in points):
        return CheckOutcome.REPLACE, None
    low, high = points[0], points[-1]
    if len(points) < 2 or high.expected - low.expected < APART:
        return CheckOutcome.SECOND_SALT, None
    if all(abs(each.difference) <= 2.0 * each.uncertainty for each in points):
        return CheckOutcome.RIGHT, None
    line = _line(points)
    if not GAINS[0] <= line.gain <= GAINS[1]:
        return CheckOutcome.REPLACE, None
    return CheckOutcome.CORRECTED, line


def _line(points: Sequence[SaltPoint]) -> CorrectionLine:
    """The line nearest to the points, each weighed by its uncertainty; through both when there are two."""
    found = np.array([each.found for each in points])
    expected = np.array([each.expected for each in points])
    weight = np.array([1.0 / each.uncertainty for each in points])
    gain, offset = np.polyfit(found, expected, 1, w=weight)
    return CorrectionLine(float(offset), float(gain))


def payload(
    sensor: str, part: str, points: Sequence[SaltPoint], line: CorrectionLine | None, at: float
) -> dict[str, Any]:
    """The check as the logbook keeps it."""
    return {
        "sensor": sensor,
        "part": part,
        "points": [each._asdict() for each in points],
        "correction": None if line is None else line._asdict(),
        "outcome": conclude(points)[0].value,
        "due": at + AGAIN,
    }


def points_of(payloads: Sequence[Mapping[str, Any]]) -> list[SaltPoint]:
    """The points of earlier checks, from what the logbook kept."""
    return [
        SaltPoint(**{name: each[name] for name in SaltPoint._fields})
        for told in payloads
        for each in told.get("points", ())
    ]


class Beside(NamedTuple):
    """Two sensors side by side: one less the other."""

    pairs: int
    temperature: float  # mean difference [K]
    relative_humidity: float | None  # mean difference [1]
    vapour_pressure: float | None  # mean difference, as a share of the mean [1]
    temperature_allowed: float  # twice what two such parts may differ by [K]
    humidity_allowed: float | None  # [1]

    @property
    def agree(self) -> bool:
        """Do they differ by no more than two such parts may?"""
        wet = self.relative_humidity is None or self.humidity_allowed is None
        return abs(self.temperature) <= self.temperature_allowed and (
            wet or abs(self.relative_humidity or 0.0) <= (self.humidity_allowed or 0.0)
        )


PAIRED = 90.0  # two readings this far apart are of one moment [s]


def beside(
    one: Samples,
    other: Samples,
    temperature_sds: tuple[float, float],
    humidity_sds: tuple[float | None, float | None],
) -> Beside | Unsettled:
    """How two sensors that lie side by side differ, over the moments both spoke."""
    if one.time.size < FEWEST or other.time.size < FEWEST:
        return Unsettled("one of them has hardly spoken")
    nearest = np.clip(np.searchsorted(other.time, one.time), 1, other.time.size - 1)
    nearest -= (one.time - other.time[nearest - 1]) < (other.time[nearest] - one.time)
    pairs = np.abs(other.time[nearest] - one.time) <= PAIRED
    if int(pairs.sum()) < FEWEST:
        return Unsettled(f"they spoke together {int(pairs.sum())} times; {FEWEST} are needed")
    mine = Samples(*(column[pairs] for column in one))
    yours = Samples(*(column[nearest][pairs] for column in other))
    humidity = _mean(mine.relative_humidity - yours.relative_humidity)
    first, second = humidity_sds
    return Beside(
        int(pairs.sum()),
        float(np.nanmean(mine.temperature - yours.temperature)),
        humidity,
        None if humidity is None else _vapour_difference(mine, yours),
        2.0 * float(np.hypot(*temperature_sds)),
        None if humidity is None or first is None or second is None else 2.0 * float(np.hypot(first, second)),
    )


def _mean(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else None


def _vapour_difference(one: Samples, other: Samples) -> float:
    mine = one.relative_humidity * saturation_pressure(one.temperature)
    yours = other.relative_humidity * saturation_pressure(other.temperature)
    return float(np.nanmean(mine - yours) / np.nanmean((mine + yours) / 2.0))
