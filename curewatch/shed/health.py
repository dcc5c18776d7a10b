"""Whether each sensor can be believed, judged by what it said lately and by its neighbours.

Theory of operation: of every sensor a short, thinned track is kept (:class:`Track`, bounded). ``step``
adds a reading; ``judge`` looks at one track, ``neighbours.compare`` at all of them together. The same
functions serve the daemon, which steps as readings come, and `tonight`, which traces the logbook.
Law: a judgement depends on the readings and the time given, on nothing else.

The numbers are ASSUMED (tag: assumed) unless they name a source; each says what it was chosen against.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from curewatch.phrases import Said, phrase
from curewatch.readings import Flag, Reading
from curewatch.shed import halves as pairs
from curewatch.shed.halves import TOGETHER, Halves
from curewatch.units import HOUR, MINUTE, celsius_from_kelvin, fahrenheit_from_kelvin


class Health(StrEnum):
    """The health of a sensor, worst last."""

    FRESH = "fresh"
    LATE = "late"
    SATURATED = "saturated"
    JUMPING = "jumping"
    DISAGREEING = "disagreeing"
    STUCK = "stuck"
    SWAPPED = "swapped"
    SILENT = "silent"
    NEVER = "never reported"


class SensorHealth(NamedTuple):
    """What is thought of one sensor, and what was seen that makes one think so."""

    sensor: str
    health: Health
    reason: Said
    since: float  # UTC [s]


class TrackPoint(NamedTuple):
    """One reading of a track."""

    time: float  # UTC [s]
    temperature: float | None  # [K]
    relative_humidity: float | None  # [1]
    flags: int


class StillQuantity(NamedTuple):
    """A quantity that is the very same, and what the other one of its chip said meanwhile."""

    since: float = 0.0  # UTC [s]
    reports: int = 0
    lowest: float = float("inf")  # of the other one, in its unit
    highest: float = float("-inf")

    def step(
        self, at: float, value: float | None, before: float | None, other: float | None
    ) -> "StillQuantity":
        """With one more point at a UTC time [s]; it begins anew where the value is not the one before."""
        if value is None:
            return STIRRED
        now = self if value == before else StillQuantity(at)
        if other is None:
            return now._replace(reports=now.reports + 1)
        return StillQuantity(now.since, now.reports + 1, min(now.lowest, other), max(now.highest, other))


STIRRED = StillQuantity()


class Track(NamedTuple):
    """The last hours of one sensor, thinned; with what thinning would lose kept beside it."""

    points: Sequence[TrackPoint] = ()  # oldest first, at most LONGEST
    last: TrackPoint | None = None
    unchanged_since: float | None = None  # the very same values since then [s]
    unchanged_count: int = 0
    saturated_since: float | None = None
    jumps: tuple[float, ...] = ()  # times of the last jumps, at most JUMPS_MANY [s]
    moves: tuple[
        tuple[TrackPoint, TrackPoint], ...
    ] = ()  # the last moves of SWAP_MOVE and more, at most SWAP_MANY
    halves: Halves = Halves()  # of a sensor whose two quantities come apart
    interval: float = 0.0  # between the last two readings [s]
    temperature: StillQuantity = STIRRED
    humidity: StillQuantity = STIRRED
    behind: tuple[float, float] | None = None  # of the last that was older: UTC it came, and by how much [s]


LONGEST = 160  # points a track holds
SPACING = 2 * MINUTE  # between the points that are kept: 160 of them are over five hours
EVERY_ASSUMED = 60.0  # between the reports of a sensor nobody configured [s]
LATE_AFTER = 3.0  # reporting intervals: two lost reports in a row happen on any radio
SILENT_AFTER = 10.0  # reporting intervals
SILENT_AT_LEAST = 5 * MINUTE
STUCK_ALONE = (
    4 * HOUR
)  # a living digital chip changes its last digit within minutes; a 1/16 K probe within hours
STUCK_BESIDE = 90 * MINUTE  # ... if another sensor has moved by NEIGHBOUR_MOVED meanwhile
STUCK_COUNT = 20  # reports
NEIGHBOUR_MOVED = 1.5  # K
# What stays the very same for STUCK_ALONE while the other quantity of its chip moves so much is stuck: in two
# real roof spaces (TRH database) nothing of tenths did, of whole steps 1 hour in 600.
HUMIDITY_MOVES, WHOLE_HUMIDITY_MOVES = 1.0, 3.0  # K
TEMPERATURE_MOVES, WHOLE_TEMPERATURE_MOVES = 0.08, 0.20  # of humidity [1]
SATURATED_AT = 0.995
SATURATED_FOR = HOUR
JUMPS_MANY = 3  # ... within JUMPS_WITHIN: one jump is a door, three are a fault
JUMPS_WITHIN = 30 * MINUTE
DISAGREE_TEMPERATURE = 3.0  # K between two sensors of one role: over twice the worst of the common chips
DISAGREE_HUMIDITY = 0.12  # two chips at +-5 % and a little of their own air
FAR_APART = 20.0  # K between air and surface indoors: no closed shed holds that
SWAP_MOVE = 2.0  # K that both must jump by at once, towards each other's values
SWAP_FIT = 0.25  # of that jump may remain between one's old value and the other's new one
SWAP_WITHIN = 10 * MINUTE
SWAP_MANY = 4  # moves remembered
SWAP_KNOWN = 12 * HOUR


_JUMP, _CORRECTED = (
    int(Flag.JUMP),
    int(Flag.CORRECTED),
)  # plain: an enumeration's operators cost a microsecond


def step(track: Track, reading: Reading) -> Track:
    """The track after one more reading; readings older than its last one change nothing."""
    last = track.last
    if last is not None and reading.time < last.time:
        return track._replace(behind=(reading.received, reading.received - reading.time))
    halves, said = track.halves, reading
    if reading.relative_humidity is None or reading.temperature is None:
        halves = pairs.step(halves, reading)
        said = pairs.joined(reading, halves)
    point = TrackPoint(reading.time, said.temperature, said.relative_humidity, reading.flags)
    same = last is not None and last[1:3] == point[1:3]
    saturated = point.relative_humidity is not None and point.relative_humidity >= SATURATED_AT
    return Track(
        _with(track.points, point),
        point,
        track.unchanged_since if same else point.time,
        track.unchanged_count + 1 if same else 1,
        (track.saturated_since or point.time) if saturated else None,
        _jumps(track.jumps, point, paired=said is not reading),
        (*track.moves, (last, point))[-SWAP_MANY:]
        if last is not None and _moved(last, point)
        else track.moves,
        halves,
        0.0 if last is None else point.time - last.time,
        track.temperature.step(
            point.time, point.temperature, last and last.temperature, point.relative_humidity
        ),
        track.humidity.step(
            point.time, point.relative_humidity, last and last.relative_humidity, point.temperature
        ),
    )


def last_word(track: Track) -> TrackPoint | None:
    """What the sensor said last; of two halves both, and the time of the older one."""
    last, (warm, damp) = track.last, track.halves
    if last is None or warm is None or damp is None or last.time not in (warm[0], damp[0]):
        return last
    whole = last.temperature is not None and last.relative_humidity is not None
    return last._replace(time=min(warm[0], damp[0])) if whole else last


def _jumps(before: tuple[float, ...], point: TrackPoint, *, paired: bool) -> tuple[float, ...]:
    """The last jumps; both halves of a pair make one."""
    if not point.flags & _JUMP or (paired and before and point.time - before[-1] <= TOGETHER):
        return before
    return (*before, point.time)[-JUMPS_MANY:]


def _moved(before: TrackPoint, after: TrackPoint) -> bool:
    if before.temperature is None or after.temperature is None:
        return False
    return abs(after.temperature - before.temperature) >= SWAP_MOVE


def _with(points: Sequence[TrackPoint], point: TrackPoint) -> Sequence[TrackPoint]:
    if points and point.time - points[-1].time < SPACING:
        return points
    return (*points[-LONGEST + 1 :], point)


def patience(every: float) -> float:
    """How long a sensor that should report every so often may say nothing before it is silent. [s]"""
    return max(SILENT_AFTER * every, SILENT_AT_LEAST)


def judge(name: str, track: Track, now: float, every: float) -> SensorHealth:
    """The health of one sensor by itself; ``every`` is how often it should report. [s]"""
    if track.last is None:
        return SensorHealth(name, Health.NEVER, "nothing has come from it", now)
    age = now - track.last.time
    if age > patience(every):
        reason = clock_behind(track, now, every) or f"nothing for {duration(age)}"
        return SensorHealth(name, Health.SILENT, reason, track.last.time)
    return complaint(name, track, track.last, now) or _pace(name, track, age, every)


def _pace(name: str, track: Track, age: float, every: float) -> SensorHealth:
    """Fresh, or late: now, or as long as its reports come too far apart."""
    since = 0.0 if track.last is None else track.last.time
    if age <= LATE_AFTER * every < track.interval <= patience(every):
        return SensorHealth(name, Health.LATE, f"its reports come {duration(track.interval)} apart", since)
    late = age > LATE_AFTER * every
    return SensorHealth(
        name, Health.LATE if late else Health.FRESH, f"last report {duration(age)} ago", since
    )


def clock_behind(track: Track, now: float, every: float) -> str:
    """What shows that a sensor without a fresh stamp does speak, by a clock that was set back; or nothing."""
    if track.behind is None or track.last is None:
        return ""
    came, lag = track.behind
    if now - came > patience(every) or lag <= patience(every):
        return ""
    return f"it reports, but its stamps lie {duration(lag)} behind this machine's clock"


def complaint(name: str, track: Track, last: TrackPoint, now: float) -> SensorHealth | None:
    """What is wrong with a sensor that speaks."""
    since = track.unchanged_since or last.time
    if track.unchanged_count >= STUCK_COUNT and last.time - since >= STUCK_ALONE:
        return SensorHealth(
            name, Health.STUCK, f"the very same value for {duration(last.time - since)}", since
        )
    alone = _stuck_half(track, last)
    if alone is not None:
        return SensorHealth(name, Health.STUCK, *alone)
    if len(track.jumps) == JUMPS_MANY and now - track.jumps[0] <= JUMPS_WITHIN:
        reason = f"{JUMPS_MANY} jumps in {duration(now - track.jumps[0])}"
        return SensorHealth(name, Health.JUMPING, reason, track.jumps[0])
    if track.saturated_since is not None and last.time - track.saturated_since >= SATURATED_FOR:
        reason = f"100 % for {duration(last.time - track.saturated_since)}: wet chip, or fog"
        return SensorHealth(name, Health.SATURATED, reason, track.saturated_since)
    return None


def _stuck_half(track: Track, last: TrackPoint) -> tuple[Said, float] | None:
    """What is said of a quantity that stands still while the other moves, and since when; 100 % may stay."""
    warm, damp = last.temperature, last.relative_humidity
    if warm is None or damp is None:
        return None
    # what a correction made of a whole per cent is none, and moves as seldom
    moves = WHOLE_HUMIDITY_MOVES if last.flags & _CORRECTED or _whole(damp * 100.0) else HUMIDITY_MOVES
    if damp < SATURATED_AT and _stands(track.humidity, last, moves):
        words = "the very same humidity for {span} while its temperature moved {moved:difference}"
        return _still(words, track.humidity, last)
    steps = (2.0 * celsius_from_kelvin(warm), fahrenheit_from_kelvin(warm))
    moves = WHOLE_TEMPERATURE_MOVES if any(map(_whole, steps)) else TEMPERATURE_MOVES
    if _stands(track.temperature, last, moves):
        words = "the very same temperature for {span} while its humidity moved {moved:fraction}"
        return _still(words, track.temperature, last)
    return None


def _still(words: str, still: StillQuantity, last: TrackPoint) -> tuple[Said, float]:
    span, moved = duration(last.time - still.since), still.highest - still.lowest
    return phrase(words, span=span, moved=moved), still.since


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 2e-3  # a logbook keeps temperatures to 1 mK


def _stands(still: StillQuantity, last: TrackPoint, moves: float) -> bool:
    """Whether it stood still for so long, and was said often enough, that the other would have moved it."""
    long = still.reports >= STUCK_COUNT and last.time - still.since >= STUCK_ALONE
    return long and still.highest - still.lowest >= moves


def duration(seconds: float) -> str:
    """So long, in words."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 90 * MINUTE:
        return f"{seconds / MINUTE:.0f} min"
    return f"{seconds / HOUR:.1f} h"
