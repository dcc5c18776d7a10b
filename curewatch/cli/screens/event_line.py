"""One line an event: for the daemon's journal, for a replay, as text or as JSON."""

import json
from typing import Any

from curewatch.cli.safe_text import safe_line
from curewatch.clock import iso_utc
from curewatch.ingest.events import Show
from curewatch.readings import Flag, Reading
from curewatch.units import celsius_from_kelvin, percent_from_fraction

WIDEST = 200  # characters of an event's text


def as_text(event: Show) -> str:
    """``2026-10-17T14:31:00Z  source  usb answers``; loud ones are marked with an exclamation mark."""
    mark = "!" if event.loud else " "
    return f"{_stamp(event.at)} {mark} {event.kind:<8} {safe_line(_words(event), WIDEST)}"


def as_json(event: Show) -> str:
    """The same as one JSON object on one line, ASCII only."""
    return json.dumps(as_plain(event), sort_keys=True, separators=(",", ":"), allow_nan=False)


def as_plain(event: Show) -> dict[str, Any]:
    """The event as plain values: ``at``, ``event``, ``text``, ``loud``, and its ``detail``."""
    reading = event.detail.get("reading")
    detail = reading_as_plain(reading) if isinstance(reading, Reading) else event.detail
    return {
        "at": iso_utc(event.at),
        "event": event.kind,
        "text": _words(event),
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


def _words(event: Show) -> str:
    reading = event.detail.get("reading")
    if not isinstance(reading, Reading):
        return event.text
    parts = [reading.sensor]
    if reading.temperature is not None:
        parts.append(f"{celsius_from_kelvin(reading.temperature):.2f} degC")
    if reading.relative_humidity is not None:
        parts.append(f"{percent_from_fraction(reading.relative_humidity):.1f} %")
    return " ".join(parts)


def _rounded(value: float | None, convert: Any) -> float | None:
    return None if value is None else round(float(convert(value)), 3)


def _stamp(utc: float) -> str:
    return iso_utc(utc)[:19] + "Z"
