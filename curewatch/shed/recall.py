"""What the logbook's last hours say of each sensor: its track, its last word, and stamps that cannot be."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore, Series
from curewatch.readings import Flag, Reading, undated
from curewatch.shed import health
from curewatch.shed.health import Track
from curewatch.shed.tracing import reading_at, trace
from curewatch.units import HOUR

LOOK_BACK = 6 * HOUR  # for health [s]
HELD_BACK = "its broker held back what came last: of unknown age"
HELD_BACK_ADVISED = "wait for its next report; if that does not count either: curewatch doctor"
AHEAD = 60.0  # a stamp may lie so far ahead of now: two clocks on one bench [s]
SET_BACK = 300.0  # a last word so far ahead: the clock was set back, no sender's clock is that wrong [s]


class LastHeard(NamedTuple):
    """What the logbook has of one sensor around now."""

    track: Track
    last: Reading | None  # the newest whose stamp can be believed
    ahead: float | None  # UTC of a stamp that lies in the future [s]
    shown: Reading | None  # the last word, also by a doubtful clock; never one of unknown age
    held_back: bool  # what came last is of unknown age
    set_back: bool  # what came last is stamped in the future: nothing has come since this clock was set back


def sensors_of_interest(logbook: LogbookStore, configuration: Configuration) -> list[str]:
    """The configured sensors; without any, those in the logbook whose name tells a role."""
    if configuration.sensors:
        return list(configuration.sensors)
    return [name for name in logbook.sensors() if configuration.role_of(name)]


def tracks(logbook: LogbookStore, names: Iterable[str], now: float) -> dict[str, Track]:
    """The tracks that the logbook's last hours make: what a daemon knows when it starts again."""
    return {name: heard.track for name, heard in look_up(logbook, names, now).items()}


def look_up(logbook: LogbookStore, names: Iterable[str], now: float) -> dict[str, LastHeard]:
    """What there is of each of these sensors; the cost is that of their readings, however many they are."""
    found = logbook.every_series(names, now - LOOK_BACK, now + AHEAD)
    traced = {name: _traced(name, _believed(series)) for name, series in found.items()}
    return _heard(logbook, traced, now)


def look_up_few(logbook: LogbookStore, names: Iterable[str], now: float) -> dict[str, LastHeard]:
    """The same without numpy, where there are few readings: for a command that needs no model."""
    names = list(names)
    found = logbook.few_readings(names, now - LOOK_BACK, now + AHEAD)
    if found is None:
        return look_up(logbook, names, now)
    return _heard(logbook, {name: _folded(filter(_believable, own)) for name, own in found.items()}, now)


def _traced(name: str, found: Series) -> tuple[Track, Reading | None]:
    """The track that these readings make, and the last of them."""
    track, last = trace(name, found)
    if found.time.size:
        newest = found.time.size - 1 - int(found.received[::-1].argmax())
        if newest != found.time.size - 1:  # it came after, and is stamped before
            track = health.step(track, reading_at(name, found, newest))
    return track, last


def _folded(found: Iterable[Reading]) -> tuple[Track, Reading | None]:
    """The same of readings one by one."""
    track, last, newest = Track(), None, None
    for last in found:
        track = health.step(track, last)
        newest = last if newest is None or last.received >= newest.received else newest
    return track if newest is None or newest is last else health.step(track, newest), last


def _heard(
    logbook: LogbookStore, traced: Mapping[str, tuple[Track, Reading | None]], now: float
) -> dict[str, LastHeard]:
    latest = logbook.latest()
    return {
        name: _with_latest(*own, latest.get(name), now, set_back=_set_back(logbook, latest.get(name), now))
        for name, own in traced.items()
    }


def _set_back(logbook: LogbookStore, latest: Reading | None, now: float) -> bool:
    """Whether what came last of a sensor, in the order it was kept, lies in the future. [UTC s]"""
    if latest is None or latest.time <= now + SET_BACK:
        return False
    came = 0.0
    for block in logbook.blocks(now - LOOK_BACK, sensor=latest.sensor):
        came = float(block.rows["time"][-1]) / 1e3
    return came > now + SET_BACK


def _with_latest(
    track: Track, last: Reading | None, latest: Reading | None, now: float, *, set_back: bool
) -> LastHeard:
    """By its readings around now, and the latest of all times."""
    held_back = latest is not None and undated(latest.flags)
    if held_back:
        latest = None
    ahead = latest.time if latest is not None and latest.time > now + AHEAD else None
    if last is None and latest is not None and ahead is None and _believable(latest):
        track, last = health.step(track, latest), latest
    last = _whole(last, track)
    return LastHeard(track, last, ahead, last or latest, held_back, set_back and not held_back)


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


def _believed(found: Series) -> Series:
    """Readings whose stamp can be believed, oldest first."""
    found = found.dated()
    return found.where((found.flags & Flag.CLOCK_DOUBT) == 0)
