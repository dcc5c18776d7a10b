"""Forecasts that the user feeds: readings of the air outside with times ahead of now.

They come as a file or over the wire under the name :data:`NAME`, in any form that readings come in. They
are kept as entries, never as readings: nobody has measured them. Older ones are not thrown away, since
what they got wrong is how the newest is set right.
"""

import codecs
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from curewatch.clock import Instant
from curewatch.errors import OutOfValidity, UsageError
from curewatch.logbook import LogbookStore
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.readings import Reading, Rejected
from curewatch.units import DAY, HOUR, ZERO_CELSIUS, FloatArray
from curewatch.wire.plausibility import LARGEST_FRACTION
from curewatch.wording import counted

if TYPE_CHECKING:  # the daemon, which only keeps forecasts, comes here too: it has no use for the model
    from curewatch.model.air.forecast import Forecast

NAME = "forecast"
KIND = "forecast"
UNUSABLE = "no usable forecast"  # why a message under that name is rejected
KEPT = 60 * DAY  # as far back as the shed's own past teaches [s]
APART = 3 * HOUR  # of those kept one in so long is read back, and the newest [s]
LONGEST = 2000  # moments of one forecast
COLDEST, HOTTEST = -90.0, 60.0  # measured on earth: -89.2 and 56.7 (WMO extremes archive; from memory) [degC]
FORMS = "lines of time,temperature,humidity (degC, %), SenML, or the JSON of a weather service"
HEADER = b"time,temperature,humidity\n"
_HEADLESS = re.compile(rb"\s*\d{4}-?\d\d-?\d\d[^,\n]*,[-+\d. ]+,[-+\d. ]+\r?(\n|$)")
EARTH_RADIUS = 6.371e6  # m
Values = Mapping[float, tuple[float | None, float | None]]  # UTC [s]: temperature [K], humidity [1]


class Fed(NamedTuple):
    """A forecast and what was understood of its bytes."""

    forecast: "Forecast"
    form: str  # in words
    issue_stated: bool
    left_out: int  # moments that lack temperature or humidity
    place: tuple[float, float] | None  # latitude, longitude, where it says so [degrees]


def are_told(found: Sequence[Reading | Rejected]) -> bool:
    """Whether what came in tells nothing but a forecast."""
    return (
        bool(found)
        and found[0].sensor == NAME
        and all(isinstance(item, Reading) and item.sensor == NAME for item in found)
    )


def from_bytes(data: bytes, now: float, source: str = "", zone: tzinfo = UTC) -> Fed:
    """A forecast from a file's bytes.

    It may be JSON as weather services publish it (:mod:`curewatch.wire.forecast_forms`), lines with times,
    CSV with or without a header, or a SenML pack (relative times count from now). ``zone`` is that of times
    without an offset.

    Raises
    ------
    UsageError
        Nothing in it can be a forecast; says what was found.
    """
    from curewatch.wire.forecast_forms import foretold  # a look reads what was kept: it has no use for forms

    data = data.removeprefix(codecs.BOM_UTF8)
    told = foretold(data, zone)
    if told is not None:
        left_out = sum(None in pair for pair in told.values.values())
        issued = now if told.issued is None else min(told.issued, now)
        made = _made(told.values, now, issued, left_out)
        return Fed(made, told.form, told.issued is not None, left_out, told.place)
    readings, form = _readings(data, now, source, zone)
    left_out = sum(None in (each.temperature, each.relative_humidity) for each in readings)
    return Fed(from_readings(readings, now), form, False, left_out, None)


def _readings(data: bytes, now: float, source: str, zone: tzinfo) -> tuple[list[Reading], str]:
    """The readings of lines or of a pack, and what form that was."""
    from curewatch.wire.parser import Parser

    at = Instant(now, 0.0)
    parser = Parser(check=False, zone=zone)
    packed = data.lstrip()[:1] in (b"[", b"{") or data[:1] > b"\x7f"
    headless = _HEADLESS.match(data)
    if packed:
        events, form = parser.payload(data, at, source, NAME), "SenML or JSON"
    else:
        lines = HEADER + data if headless else data
        events = parser.corpus(lines + b"\n", at, source, NAME)
        form = "CSV without a header" if headless else "lines or CSV with a header"
    readings = [event for event in events if isinstance(event, Reading)]
    if not readings:
        reasons = [str(event.reason) for event in events if isinstance(event, Rejected)]
        why = f" ({reasons[0]})" if reasons else ""
        raise UsageError(f"forecast: found no reading{why}. Use {FORMS}")
    return readings, form


def from_readings(readings: Iterable[Reading], now: float) -> "Forecast":
    """A forecast issued now from readings with times.

    Raises
    ------
    UsageError
        It does not reach six hours ahead, lacks humidity, or holds what no air can be.
    """
    values = {reading.time: (reading.temperature, reading.relative_humidity) for reading in readings}
    return _made(values, now, now)


def _made(values: Values, now: float, issued: float, left_out: int = 0) -> "Forecast":
    from curewatch.model.air.forecast import SHORTEST, Forecast, checked
    from curewatch.physics import moist_air

    whole = {when: pair for when, pair in values.items() if None not in pair}
    time = np.array(sorted(whole))[:LONGEST]
    if len(time) < 2 or time[-1] < now + SHORTEST:
        ahead = f", the last {_from_now((time[-1] - now) / HOUR)}" if len(time) else ""
        lacking = f", and {left_out} that lack one of them" if left_out else ""
        raise UsageError(
            f"forecast: found {counted(len(time), 'moment')} with temperature and humidity{ahead}{lacking}. "
            f"Use one with two or more that reaches at least {SHORTEST / HOUR:.0f} h ahead of now"
        )
    columns = np.array([whole[moment] for moment in time], dtype=np.float64)
    _weather(time[0] - now, columns)
    try:
        vapour = moist_air.vapour_pressure(columns[:, 0], columns[:, 1])
        return checked(Forecast(issued, now, time, columns[:, 0], np.asarray(vapour)))
    except OutOfValidity as trouble:
        raise UsageError(f"forecast: found what no air can be ({trouble}). Use another file") from None


def _weather(first: float, columns: FloatArray) -> None:
    """UsageError where it is no weather on earth, or of another time: usually another unit. ``first`` [s]"""
    lowest, highest = (float(each) - ZERO_CELSIUS for each in (columns[:, 0].min(), columns[:, 0].max()))
    for found, number in (("down to", lowest), ("up to", highest)):
        if not COLDEST <= number <= HOTTEST:
            allowed = f"Use {COLDEST:.0f} to {HOTTEST:.0f} degC, and state Fahrenheit where it is that"
            raise UsageError(f"forecast: found {found} {number:.0f} degC in it. {allowed}")
    dampest = float(columns[:, 1].max())
    if dampest <= LARGEST_FRACTION:
        allowed = "Use per cent, or name its column humidity_fraction"
        raise UsageError(f"forecast: found no humidity above {dampest * 100:.1f} %. {allowed}")
    if first > DAY:
        allowed = "Use one that begins within 24 h"
        raise UsageError(f"forecast: found that it begins {first / HOUR:.0f} h ahead. {allowed}")


def _from_now(hours: float) -> str:
    return f"{hours:.1f} h ahead" if hours >= 0 else f"{-hours:.1f} h ago"


def far_away(place: tuple[float, float], home: tuple[float, float]) -> float:
    """Distance of two places on the globe. [m]"""
    (north, east), (home_north, home_east) = (np.radians(each) for each in (place, home))
    half = np.sin((north - home_north) / 2) ** 2
    half += np.cos(north) * np.cos(home_north) * np.sin((east - home_east) / 2) ** 2
    return float(2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))


def entry(forecast: "Forecast", source: str) -> Entry:
    """What is kept of it."""
    payload: dict[str, Any] = {
        "issued": forecast.issued,
        "source": source,
        "time": [round(float(moment), 1) for moment in forecast.time],
        "temperature": [round(float(value), 2) for value in forecast.temperature],
        "vapour_pressure": [round(float(value), 1) for value in forecast.vapour_pressure],
    }
    return Entry(KIND, payload, forecast.received)


def kept(logbook: LogbookStore, now: float) -> "tuple[Forecast, ...]":
    """The forecasts of the last weeks, the newest last."""
    from curewatch.model.air.forecast import Forecast

    entries = logbook.entries(KIND, start=now - KEPT, end=now + 1.0)
    return tuple(
        Forecast(
            float(each.payload["issued"]),
            each.at,
            *(
                np.array(each.payload[key], dtype=np.float64)
                for key in ("time", "temperature", "vapour_pressure")
            ),
        )
        for each in _thinned(entries)
    )


def _thinned(entries: list[StoredEntry]) -> list[StoredEntry]:
    """The newest, and before it none nearer than :data:`APART` to the next."""
    found: list[StoredEntry] = []
    for each in reversed(entries):
        if not found or found[-1].at - each.at >= APART:
            found.append(each)
    return found[::-1]
