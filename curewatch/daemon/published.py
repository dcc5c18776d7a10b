"""What is told to others over MQTT: documents in JSON, retained, under the source's own prefix.

    PREFIX/daemon   {"running": true, "since": …}          running false is the broker's, by our will
    PREFIX/state    sensors with their last values, health and age; sources; the clock
    PREFIX/advice   the answer, as `curewatch tonight --json` gives it
    PREFIX/seal     the code of the last seal: on another machine it proves later that nothing changed
    PREFIX/alerts   the alerts that stand, and running layers with their times

Stamps are ISO 8601 in UTC, temperatures degC, humidity per cent: this is a border.
"""

from collections.abc import Mapping
from typing import Any

from curewatch.clock import Instant, iso_utc
from curewatch.logbook import StoredEntry
from curewatch.shed.clock_watch import ClockState
from curewatch.shed.health import SensorHealth, Track, last_word
from curewatch.units import celsius_from_kelvin, percent_from_fraction
from curewatch.wording import Wording, plain_wording

VERSION = 1  # of the documents; raised when a key changes its meaning


def state_document(
    at: Instant,
    tracks: Mapping[str, Track],
    healths: Mapping[str, SensorHealth],
    sources: Mapping[str, str],
    clock: ClockState,
    *,
    words: Wording | None = None,
) -> dict[str, Any]:
    """The present state of sensors, sources and clock."""
    return {
        "version": VERSION,
        "at": iso_utc(at.utc),
        "clock_believed": clock.believed,
        "sensors": {
            name: {
                "health": judged.health.value,
                "reason": (words or plain_wording()).say(judged.reason, at.utc),
                **_last(tracks.get(name), at.utc),
            }
            for name, judged in healths.items()
        },
        "sources": {name: {"up": not reason, "reason": reason} for name, reason in sources.items()},
    }


def _last(track: Track | None, now: float) -> dict[str, Any]:
    last = None if track is None else last_word(track)
    if last is None:
        return {}
    return {
        "time": iso_utc(last.time),
        "age_s": round(now - last.time, 1),
        "temperature_c": None
        if last.temperature is None
        else round(celsius_from_kelvin(last.temperature), 2),
        "humidity_percent": None
        if last.relative_humidity is None
        else round(percent_from_fraction(last.relative_humidity), 2),
    }


def seal_document(sealed: StoredEntry) -> dict[str, Any]:
    """The code of a seal, away from this machine: a rewritten logbook cannot have it."""
    return {
        "version": VERSION,
        "at": iso_utc(sealed.at),
        "code": str(sealed.payload.get("code", "")),
        "reason": str(sealed.payload.get("reason", "")),
        "job": sealed.job,
    }


def daemon_document(running: bool, at: float | None) -> dict[str, Any]:
    """Whether the daemon runs, and since when; null in our will, which cannot know when that is."""
    return {"version": VERSION, "running": running, "since": None if at is None else iso_utc(at)}
