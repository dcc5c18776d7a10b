"""Named fields become a reading: the same words, units and checks for text lines, CSV and JSON.

A field is known by a word of ours with its unit in it (``temperature_c``), or by one of the plain words
that devices use (``temp``, ``RH``), for which the unit may stand with the value (``15.2 degC``). A device
that uses other words is given a mapping from ours to its own in the configuration.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.units import ZERO_CELSIUS
from curewatch.wire.numbers import LARGEST, finite, name_allowed, number
from curewatch.wire.reasons import Reason, reject

# Every unit that may stand with a value -> the quantity it belongs to and how it becomes SI.
# degC and degF are the spellings of the Homie 5 convention; Cel, %RH, %EL of RFC 8428.
UNITS: dict[str, tuple[str, Callable[[float], float]]] = {
    **dict.fromkeys(("degC", "°C", "C", "Cel", "celsius"), ("temperature", lambda v: v + ZERO_CELSIUS)),
    **dict.fromkeys(
        ("degF", "°F", "F", "fahrenheit"), ("temperature", lambda v: (v - 32.0) / 1.8 + ZERO_CELSIUS)
    ),
    **dict.fromkeys(("K", "kelvin"), ("temperature", lambda v: v)),
    **dict.fromkeys(("%", "%RH", "%rH", "percent"), ("relative_humidity", lambda v: v / 100.0)),
    "ppm": ("carbon_dioxide", lambda v: v * 1e-6),
    "%EL": ("battery", lambda v: v / 100.0),
}
_PERCENT_TOO = {"battery": {"%", "percent"}}

# Our word -> quantity and the unit that is meant when none stands with the value.
WORDS: dict[str, tuple[str, str]] = {
    **dict.fromkeys(("temperature_c", "temperature", "temp", "t", "tc", "temp_c"), ("temperature", "degC")),
    **dict.fromkeys(("temperature_f", "temp_f", "tf"), ("temperature", "degF")),
    **dict.fromkeys(
        ("humidity_percent", "humidity", "hum", "rh", "h", "relative_humidity"), ("relative_humidity", "%")
    ),
    **dict.fromkeys(("carbon_dioxide_ppm", "co2", "c", "carbon_dioxide"), ("carbon_dioxide", "ppm")),
    **dict.fromkeys(("battery_percent", "battery", "bat", "b"), ("battery", "%EL")),
    **dict.fromkeys(("sensor", "name", "id"), ("sensor", "")),
    **dict.fromkeys(("time", "at", "timestamp", "ts"), ("time", "")),
    **dict.fromkeys(("age", "age_s"), ("age", "")),
    **dict.fromkeys(("sequence", "n", "seq"), ("sequence", "")),
}
QUANTITIES = ("temperature", "relative_humidity", "carbon_dioxide", "battery")
_ARRIVAL, _AGE = int(Flag.ARRIVAL_TIME), int(Flag.AGE_GIVEN)
AHEAD = 120.0  # so far ahead of arrival a stamp may lie: two clocks in one shed [s]
MILLISECONDS_FROM = 1e11  # a stamp this large counts milliseconds; in seconds it would be the year 5138


class Refused(Exception):  # noqa: N818 - named by the matter; never leaves this package
    """A field that cannot be taken; carries the reason."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(reason)
        self.reason = reason


def _split_unit(text: str) -> tuple[str, str]:
    """``15.2 degC`` -> (``15.2``, ``degC``); at the first character that no number has."""
    for place, letter in enumerate(text):
        if letter not in "+-.0123456789 \t" and not (
            letter in "eE" and text[place + 1 : place + 2].isdigit()
        ):
            return text[:place], text[place:].strip()
    return text, ""


def quantity(value: object, kind: str, unit: str) -> float:
    """The value in SI, by the unit that stands with it, else by the one that is meant."""
    found = finite(value)
    if found is None and type(value) is str and len(value) <= 60:
        text, own = _split_unit(value)
        found = number(text) if not own or own[0].isalpha() or own[0] in "°%" else None
        unit = own or unit
    if found is None:
        raise Refused(Reason.BAD_NUMBER)
    if unit in _PERCENT_TOO.get(kind, ()):
        return found / 100.0
    known = UNITS.get(unit)
    if known is None or known[0] != kind:
        raise Refused(Reason.BAD_UNIT)
    return known[1](found)


class Local(float):
    """A stamp without an offset, as if it were UTC; :func:`at_the_shed` makes UTC of it. [s]"""

    __slots__ = ()


def at_the_shed(local: float, zone: tzinfo) -> tuple[float, float]:
    """The two moments when clocks in this zone show this, early and late: one, but in an hour that repeats.

    In the hour that is left out in spring they are an hour apart, too.
    """
    shown = datetime.fromtimestamp(local, UTC).replace(tzinfo=zone)
    both = shown.timestamp(), shown.replace(fold=1).timestamp()
    return min(both), max(both)


def _when(time: float, zone: tzinfo, received: float) -> float:
    """Of the two moments the last that is not in the future."""
    early, late = at_the_shed(time, zone)
    return late if late <= received + AHEAD else early


def in_zone(event: Reading | Rejected, zone: tzinfo) -> Reading | Rejected:
    """The reading with its time as UTC, where it came without an offset."""
    if type(event) is not Reading or type(event.time) is not Local:
        return event
    return event._replace(time=_when(event.time, zone, event.received))


def stamp(value: object) -> float:
    """A time as UTC seconds: a number of seconds or milliseconds since 1970, or ISO 8601 text."""
    seconds = finite(value)
    if seconds is None:
        if type(value) is not str or len(value) > 40 or not value.isascii():
            raise Refused(Reason.BAD_TIME)
        try:
            told = datetime.fromisoformat(value.strip())
            if told.tzinfo is not None:
                return told.timestamp()
            return Local(told.replace(tzinfo=UTC).timestamp())
        except (ValueError, OverflowError) as trouble:
            raise Refused(Reason.BAD_TIME) from trouble
    if seconds < 0:
        raise Refused(Reason.BAD_TIME)
    return seconds / 1000.0 if seconds >= MILLISECONDS_FROM else seconds


def sequence(value: object) -> int:
    """A running number: a whole number from 0 below 2^32."""
    found = finite(value)
    if found is None or not 0 <= found < 4294967296 or found != int(found):
        raise Refused(Reason.BAD_NUMBER)
    return int(found)


def sensor_name(value: object) -> str:
    """A sensor's name, if it is one that may be a name."""
    if type(value) is not str or not name_allowed(value):
        raise Refused(Reason.BAD_NAME)
    return value


def age(value: object) -> float:
    """Seconds since the measurement; a number that is not negative."""
    found = finite(value)
    if found is None or found < 0:
        raise Refused(Reason.BAD_TIME)
    return found


# A field's place among gathered values.
KINDS = ("sensor", "time", "age", "temperature", "relative_humidity", "carbon_dioxide", "battery", "sequence")
SENSOR, TIME, AGE, TEMPERATURE, HUMIDITY, CARBON_DIOXIDE, BATTERY, SEQUENCE = range(len(KINDS))

Take = Callable[[object], Any]
Taken = dict[str, tuple[int, Take]]  # word -> place and how its value is taken
_TAKE: dict[str, Take] = {"sensor": sensor_name, "time": stamp, "age": age, "sequence": sequence}


def taking(words: Mapping[str, tuple[str, str]]) -> Taken:
    """How the value of each word is taken: made once for a mapping, used for each message."""
    return {word: (KINDS.index(kind), _take(kind, unit)) for word, (kind, unit) in words.items()}


def _take(kind: str, unit: str) -> Take:
    if kind in _TAKE:
        return _TAKE[kind]
    _, to_si = UNITS.get(unit, (kind, None))

    def take(value: object) -> float:
        if type(value) is float and to_si is not None and -LARGEST < value < LARGEST:
            return to_si(value)  # the usual case: a number in the unit that is meant
        return quantity(value, kind, unit)

    return take


OURS = taking(WORDS)


def gather(named: Iterable[tuple[str, object]], words: Taken = OURS) -> list[Any]:
    """Values by their place in KINDS from (word, value) pairs; words that are not known are passed over.

    Raises
    ------
    Refused
        A known word with a value that cannot be taken, or a quantity given twice.
    """
    values: list[Any] = [None] * len(KINDS)
    for word, value in named:
        known = words.get(word) or words.get(word.lower())
        if known is None or value is None or value == "":
            continue
        place, take = known
        if values[place] is not None:
            raise Refused(Reason.TWICE)
        values[place] = take(value)
    return values


def reading(values: Sequence[Any], sensor: str, raw: bytes, at: Instant, source: str) -> Reading | Rejected:
    """The reading that gathered values make; ``sensor`` names it where the values do not."""
    own, time, since, temperature, humidity, carbon_dioxide, battery, number_of = values
    utc, flags = at[0], 0
    if temperature is None and humidity is None:
        return reject(Reason.NO_QUANTITY, raw, utc, source, own or sensor)
    if time is None:
        time, flags = (utc, _ARRIVAL) if since is None else (utc - since, _AGE)
    return tuple.__new__(
        Reading,
        (own or sensor, time, utc, temperature, humidity, carbon_dioxide, battery, flags, number_of),
    )
