"""Forecasts that the user feeds: readings of the air outside with times ahead of now.

They come as a file or over the wire under the name :data:`NAME`, in any form that readings come in. They
are kept as entries, never as readings: nobody has measured them. Older ones are not thrown away, since
what they got wrong is how the newest is set right.
"""

from collections.abc import Iterable
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from curewatch.clock import Instant
from curewatch.errors import OutOfValidity, UsageError
from curewatch.logbook import LogbookStore
from curewatch.logbook.entry import Entry
from curewatch.readings import Reading, Rejected
from curewatch.units import DAY, HOUR
from curewatch.wire.parser import Parser

if TYPE_CHECKING:  # the daemon, which only keeps forecasts, comes here too: it has no use for the model
    from curewatch.model.air.forecast import Forecast

NAME = "forecast"
KIND = "forecast"
UNUSABLE = "no usable forecast"  # why a message under that name is rejected
KEPT = 21 * DAY  # older ones say little of this season [s]
MOST = 200  # forecasts read back, the newest
LONGEST = 2000  # moments of one forecast


def from_bytes(data: bytes, now: float, source: str = "", zone: tzinfo = UTC) -> "Forecast":
    """A forecast from a file's bytes: lines with times, or a SenML pack (relative times count from now).

    ``zone`` is that of times without an offset.

    Raises
    ------
    UsageError
        Nothing in it can be a forecast; says what was found.
    """
    at = Instant(now, 0.0)
    parser = Parser(check=False, zone=zone)
    packed = data.lstrip()[:1] in (b"[", b"{") or data[:1] > b"\x7f"
    events = (
        parser.payload(data, at, source, NAME) if packed else parser.corpus(data + b"\n", at, source, NAME)
    )
    rejected = [event for event in events if isinstance(event, Rejected)]
    readings = [event for event in events if isinstance(event, Reading)]
    if not readings:
        why = f": {rejected[0].reason}" if rejected else ""
        raise UsageError(
            f"no reading in the forecast{why}; wanted: lines of time,temperature,humidity (degC, %) or SenML"
        )
    return from_readings(readings, now)


def from_readings(readings: Iterable[Reading], now: float) -> "Forecast":
    """A forecast issued now from readings with times.

    Raises
    ------
    UsageError
        It does not reach six hours ahead, lacks humidity, or holds what no air can be.
    """
    from curewatch.model.air.forecast import SHORTEST, Forecast, checked
    from curewatch.physics import moist_air

    whole = {
        reading.time: (reading.temperature, reading.relative_humidity)
        for reading in readings
        if reading.temperature is not None and reading.relative_humidity is not None
    }
    time = np.array(sorted(whole))[:LONGEST]
    if len(time) < 2 or time[-1] < now + SHORTEST:
        ahead = (time[-1] - now) / HOUR if len(time) else 0.0
        raise UsageError(
            f"{len(time)} moments with temperature and humidity, ending {ahead:.1f} h ahead; "
            f"wanted: two or more, reaching at least {SHORTEST / HOUR:.0f} h ahead of now"
        )
    values = np.array([whole[moment] for moment in time])
    try:
        vapour = moist_air.vapour_pressure(values[:, 0], values[:, 1])
        return checked(Forecast(now, time, values[:, 0], np.asarray(vapour)))
    except OutOfValidity as trouble:
        raise UsageError(f"the forecast cannot be: {trouble}") from None


def entry(forecast: "Forecast", source: str) -> Entry:
    """What is kept of it."""
    payload: dict[str, Any] = {
        "issued": forecast.issued,
        "source": source,
        "time": [round(float(moment), 1) for moment in forecast.time],
        "temperature": [round(float(value), 2) for value in forecast.temperature],
        "vapour_pressure": [round(float(value), 1) for value in forecast.vapour_pressure],
    }
    return Entry(KIND, payload, forecast.issued)


def kept(logbook: LogbookStore, now: float) -> "tuple[Forecast, ...]":
    """The forecasts of the last weeks, the newest last."""
    from curewatch.model.air.forecast import Forecast

    entries = logbook.entries(KIND, start=now - KEPT, end=now + 1.0)[-MOST:]
    return tuple(
        Forecast(
            float(each.payload["issued"]),
            *(
                np.array(each.payload[key], dtype=np.float64)
                for key in ("time", "temperature", "vapour_pressure")
            ),
        )
        for each in entries
    )
