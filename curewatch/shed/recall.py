"""What the logbook's last hours say of each sensor: its track, its last word, and stamps that cannot be."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.readings import Flag, Reading, undated
from curewatch.shed import health
from curewatch.shed.health import Track
from curewatch.units import HOUR

LOOK_BACK = 6 * HOUR  # for health [s]
HELD_BACK = "its broker held back what came last: of unknown age"
HELD_BACK_ADVISED = "wait for its next report; if that does not count either: curewatch doctor"
AHEAD = 60.0  # a stamp may lie so far ahead of now: two clocks on one bench [s]


class LastHeard(NamedTuple):
    """What the logbook has of one sensor around now."""

    track: Track
    last: Reading | None  # the newest whose stamp can be believed
    ahead: float | None  # UTC of a stamp that lies in the future [s]
    shown: Reading | None  # the last word, also by a doubtful clock; never one of unknown age
    held_back: bool  # what came last is of unknown age


def sensors_of_interest(logbook: LogbookStore, configuration: Configuration) -> list[str]:
    """The configured sensors; without any, those in the logbook whose name tells a role."""
    if configuration.sensors:
        return list(configuration.sensors)
    return [name for name in logbook.sensors() if configuration.role_of(name)]


def tracks(logbook: LogbookStore, names: Iterable[str], now: float) -> dict[str, Track]:
    """The tracks that the logbook's last hours make: what a daemon knows when it starts again."""
    return {name: look_up(logbook, name, now).track for name in names}


def look_up(logbook: LogbookStore, name: str, now: float) -> LastHeard:
    """What there is of one sensor."""
    track, last, newest = Track(), None, None
    for reading in _readings(logbook, name, now - LOOK_BACK, now + AHEAD):
        track, last = health.step(track, reading), reading
        newest = reading if newest is None or reading.received >= newest.received else newest
    if newest is not None and newest is not last:  # it came after, and is stamped before
        track = health.step(track, newest)
    latest = logbook.latest().get(name)
    held_back = latest is not None and undated(latest.flags)
    if held_back:
        latest = None
    ahead = latest.time if latest is not None and latest.time > now + AHEAD else None
    if last is None and latest is not None and ahead is None and _believable(latest):
        track, last = health.step(track, latest), latest
    last = _whole(last, track)
    return LastHeard(track, last, ahead, last or latest, held_back)


def _whole(last: Reading | None, track: Track) -> Reading | None:
    """The last word of a sensor that speaks in halves is both of them."""
    word = health.last_word(track)
    if last is None or word is None:
        return last
    return last._replace(
        time=word.time, temperature=word.temperature, relative_humidity=word.relative_humidity
    )


def _believable(reading: Reading) -> bool:
    """Not stamped by a doubtful clock, and not of unknown age."""
    return not (reading.flags & Flag.CLOCK_DOUBT or undated(reading.flags))


def _readings(logbook: LogbookStore, name: str, start: float, end: float) -> Iterator[Reading]:
    """Readings whose stamp can be believed, oldest first."""
    found = logbook.series(name, start, end).dated()
    usable = (found.flags & Flag.CLOCK_DOUBT) == 0
    columns = (
        found.time,
        found.received,
        found.temperature,
        found.relative_humidity,
        found.quantities["carbon_dioxide"],
        found.flags,
    )
    for time, received, temperature, humidity, carbon_dioxide, flags in zip(
        *(column[usable].tolist() for column in columns), strict=True
    ):
        yield Reading(
            name,
            time,
            received,
            _known(temperature),
            _known(humidity),
            _known(carbon_dioxide),
            flags=int(flags),
        )


def _known(value: float) -> float | None:
    return None if value != value else value  # noqa: PLR0124 - nan stands for "no such quantity"
