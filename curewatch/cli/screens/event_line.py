"""One line an event: for the daemon's journal, for a replay, as text or as JSON."""

import json
from typing import Any

from curewatch.cli.safe_text import safe_line
from curewatch.clock import iso_utc
from curewatch.daemon.events import Show
from curewatch.readings import Flag, Reading
from curewatch.units import celsius_from_kelvin, percent_from_fraction
from curewatch.wording import Wording

WIDEST = 200  # characters of an event's text


def as_text(event: Show, words: Wording) -> str:
    """``2026-10-17 15:31:00   source   usb answers``; loud ones are marked with an exclamation mark."""
    mark = "!" if event.loud else " "
    return f"{words.stamp(event.at)} {mark} {event.kind:<8} {safe_line(_said(event, words), WIDEST)}"


def as_json(event: Show, words: Wording) -> str:
    """The same as one JSON object on one line, ASCII only; its text by ``words``, plain ones."""
    return json.dumps(as_plain(event, words), sort_keys=True, separators=(",", ":"), allow_nan=False)


def as_plain(event: Show, words: Wording) -> dict[str, Any]:
    """The event as plain values: ``at``, ``event``, ``text``, ``loud``, and its ``detail``."""
    reading = event.detail.get("reading")
    detail = reading_as_plain(reading) if isinstance(reading, Reading) else event.detail
    return {
        "at": iso_utc(event.at),
        "event": event.kind,
        "text": _said(event, words),
        "loud": event.loud,
        "detail": detail,
    }


def reading_as_plain(reading: Reading) -> dict[str, Any]:
    """A reading at the border: degC and per cent."""
    return {
        "sensor": reading.sensor,
        "time": iso_utc(reading.time),
        "temperature_c": _rounded(reading.temperature, celsius_from_kelvin),
        "humidity_percent": _rounded(reading.relative_humidity, percent_from_fraction),
        "flags": [flag.name for flag in Flag if flag and reading.flags & flag],
        "sequence": reading.sequence,
    }


def _said(event: Show, words: Wording) -> str:
    reading = event.detail.get("reading")
    if not isinstance(reading, Reading):
        return words.say(event.text, event.at)
    parts = [reading.sensor]
    if reading.temperature is not None:
        parts.append(words.temperature(reading.temperature))
    if reading.relative_humidity is not None:
        parts.append(words.percent(reading.relative_humidity))
    return " ".join(parts)


def _rounded(value: float | None, convert: Any) -> float | None:
    return None if value is None else round(float(convert(value)), 3)
