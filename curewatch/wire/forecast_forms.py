"""The forms in which weather services publish a forecast as JSON, made into moments in SI.

Three forms are known by what stands in them, not by who sends them: a GeoJSON timeseries (an object for each
moment), arrays beside a list of times, and values that hold for an ISO 8601 interval. Each is documented in
public; ``tests/unit/test_forecast_forms.py`` names the pages. Nothing else of a document is looked at.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any, NamedTuple

from curewatch.units import HOUR
from curewatch.wire.fields import UNITS, FieldRejected, unit_named
from curewatch.wire.json_fields import load
from curewatch.wire.numbers import finite

LARGEST = 4_000_000  # bytes
MOST_MOMENTS = 5000
LONGEST_HOLD = 240  # hours that one value may hold for
# In each form the words of temperature and of humidity, and the unit where none is stated.
WORDS = {
    "temperature": ("air_temperature", "temperature_2m", "temperature"),
    "relative_humidity": ("relative_humidity", "relative_humidity_2m", "relativeHumidity"),
}
USUAL = {"temperature": "degC", "relative_humidity": "%"}
_ISSUED = ("updated_at", "updateTime", "updated", "generatedAt")
_DURATION = re.compile(r"P(?:(\d{1,3})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,5})M)?)?")


class Foretold(NamedTuple):
    """What a document foretells; a moment may lack either quantity."""

    form: str  # in words
    issued: float | None  # UTC; none where it does not say [s]
    place: tuple[float, float] | None  # latitude, longitude [degrees]
    values: dict[float, tuple[float | None, float | None]]  # UTC [s]: temperature [K], humidity [1]


def foretold(data: bytes, zone: tzinfo = UTC) -> Foretold | None:
    """What the bytes foretell; None where they are in none of these forms. It never raises.

    ``zone`` is that of times without an offset.
    """
    if data.lstrip()[:1] != b"{":
        return None
    try:
        document = load(data, LARGEST)
    except FieldRejected:
        return None
    properties = _table(document.get("properties")) if isinstance(document, dict) else {}
    for form, moments in (
        ("GeoJSON timeseries", _timeseries(properties, zone)),
        ("list of periods", _periods(properties, zone)),
        ("values with ISO 8601 intervals", _intervals(properties, zone)),
        ("arrays beside a list of times", _arrays(_table(document), zone)),
    ):
        values: dict[float, tuple[float | None, float | None]] = {}
        for when, warm, damp in moments:
            before = values.get(when, (None, None))
            values[when] = (before[0] if warm is None else warm, before[1] if damp is None else damp)
            if len(values) >= MOST_MOMENTS:
                break
        if values:
            return Foretold(form, _issued(properties, zone), _place(document), values)
    return None


Moment = tuple[float, float | None, float | None]


def _timeseries(properties: Mapping[str, Any], zone: tzinfo) -> Iterator[Moment]:
    """``properties.timeseries[].data.instant.details``, units in ``properties.meta.units``."""
    units = _table(_table(properties.get("meta")).get("units"))
    for each in _tables(properties.get("timeseries")):
        details = _table(_table(_table(each.get("data")).get("instant")).get("details"))
        if (when := _moment(each.get("time"), zone)) is not None:
            yield when, *_both(details, units)


def _periods(properties: Mapping[str, Any], zone: tzinfo) -> Iterator[Moment]:
    """``properties.periods[]`` with a start, and a unit beside or inside each value."""
    for each in _tables(properties.get("periods")):
        if (when := _moment(each.get("startTime"), zone)) is not None:
            yield when, *_both(each, {"temperature": each.get("temperatureUnit")})


def _intervals(properties: Mapping[str, Any], zone: tzinfo) -> Iterator[Moment]:
    """``properties.QUANTITY.values[].validTime``, START/DURATION; a value holds from hour to hour of it."""
    for place, kind in enumerate(WORDS):
        series = _table(next((properties[word] for word in WORDS[kind] if word in properties), None))
        for each in _tables(series.get("values")):
            value = _value(kind, each.get("value"), series.get("uom") or series.get("unitCode"))
            for when in _hours_of(each.get("validTime"), zone):
                yield (when, value, None) if place == 0 else (when, None, value)


def _arrays(document: Mapping[str, Any], zone: tzinfo) -> Iterator[Moment]:
    """``hourly.time`` and lists of the same length beside it, units in ``hourly_units``."""
    hourly, units = _table(document.get("hourly")), _table(document.get("hourly_units"))
    offset, times = document.get("utc_offset_seconds"), hourly.get("time")
    if finite(offset) is not None and abs(offset or 0) < 86_400:
        zone = timezone(timedelta(seconds=float(offset or 0)))
    if not isinstance(times, list):
        return
    for place, stamp in enumerate(times):
        row = {
            word: column[place]
            for word, column in hourly.items()
            if isinstance(column, list) and place < len(column)
        }
        if (when := _moment(stamp, zone)) is not None:
            yield when, *_both(row, units)


def _both(row: Mapping[str, Any], units: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Temperature and humidity of a row of values."""
    found = []
    for kind, words in WORDS.items():
        word = next((each for each in words if each in row), "")
        found.append(_value(kind, row.get(word), units.get(word)))
    return found[0], found[1]


def _value(kind: str, value: Any, unit: Any) -> float | None:
    """In SI; None for what is missing, no number, or in a unit of something else."""
    if isinstance(value, dict):
        value, unit = value.get("value"), value.get("unitCode", unit)
    number, name = finite(value), USUAL[kind]
    if isinstance(unit, str) and unit:
        name = unit_named(unit.rpartition(":")[2])
    if number is None or name not in UNITS or UNITS[name][0] != kind:
        return None
    return finite(UNITS[name][1](number))


def _hours_of(text: Any, zone: tzinfo) -> list[float]:
    """The whole hours from the start of an interval, before its end."""
    start, _, duration = text.partition("/") if isinstance(text, str) else ("", "", "")
    first, matched = _moment(start, zone), _DURATION.fullmatch(duration)
    if first is None or matched is None:
        return []
    days, hours, minutes = (int(part or 0) for part in matched.groups())
    whole = int(24 * days + hours + minutes / 60)
    return [first + HOUR * hour for hour in range(min(max(1, whole), LONGEST_HOLD))]


def _moment(stamp: Any, zone: tzinfo) -> float | None:
    """UTC of an ISO 8601 time, or of seconds since 1970."""
    if isinstance(stamp, str):
        try:
            when = datetime.fromisoformat(stamp)
            return (when if when.tzinfo else when.replace(tzinfo=zone)).timestamp()
        except (ValueError, OverflowError, OSError):
            return None
    number = finite(stamp)
    return number if number is not None and 0 < number < 1e11 else None


def _issued(properties: Mapping[str, Any], zone: tzinfo) -> float | None:
    stated = {**properties, **_table(properties.get("meta"))}
    return next((found for key in _ISSUED if (found := _moment(stated.get(key), zone)) is not None), None)


def _place(document: Mapping[str, Any]) -> tuple[float, float] | None:
    """Of a point in GeoJSON (longitude first) or of two numbers; an area has no place here."""
    pair: Iterable[Any] = (document.get("latitude"), document.get("longitude"))
    geometry = _table(document.get("geometry"))
    if geometry.get("type") == "Point" and isinstance(point := geometry.get("coordinates"), list):
        pair = point[1::-1]
    found = [finite(each) for each in pair]
    if len(found) != 2 or found[0] is None or found[1] is None:
        return None
    return (found[0], found[1]) if abs(found[0]) <= 90 and abs(found[1]) <= 360 else None


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _tables(value: Any) -> list[dict[str, Any]]:
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []
