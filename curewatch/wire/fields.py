"""Named fields become a reading: the same words, units and checks for text lines, CSV and JSON.

A field is known by a word of ours with its unit in it (``temperature_c``), or by one of the plain words
that devices use (``temp``, ``RH``), for which the unit may stand with the value (``15.2 degC``). A device
that uses other words is given a mapping from ours to its own in the configuration.
"""

import re
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from functools import lru_cache
from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.readings import FURTHER, Flag, Reading, Rejected
from curewatch.units import ZERO_CELSIUS
from curewatch.wire.numbers import LARGEST, finite, name_allowed, number, tidy
from curewatch.wire.reasons import Reason, reject

# Unit -> the quantity it belongs to and how a number in it becomes SI.
UNITS: dict[str, tuple[str, Callable[[float], float]]] = {
    "degC": ("temperature", lambda v: v + ZERO_CELSIUS),
    "degF": ("temperature", lambda v: (v - 32.0) / 1.8 + ZERO_CELSIUS),
    "K": ("temperature", lambda v: v),
    "%": ("relative_humidity", lambda v: v / 100.0),
    "1": ("relative_humidity", lambda v: v),  # a fraction
    "ppm": ("carbon_dioxide", lambda v: v * 1e-6),
    "%EL": ("battery", lambda v: v / 100.0),
    "hPa": ("pressure", lambda v: v * 100.0),
    "Pa": ("pressure", lambda v: v),
}
# How each may be spelt, in small letters without blanks, deg as its sign. degC and degF are of the Homie 5
# convention; Cel, %RH, %EL of RFC 8428; metric and imperial what devices call their setting.
_SPELLINGS = {
    spelling: unit
    for unit, spellings in (
        ("degC", "°c c cel celsius °celsius centigrade metric"),
        ("degF", "°f f fahrenheit °fahrenheit imperial us"),
        ("K", "k kelvin °k"),
        ("%", "% %rh rh% percent pct percentrh rh"),
        ("1", "1 fraction ratio"),
        ("ppm", "ppm"),
        ("%EL", "%el"),
        ("hPa", "hpa hectopascal mbar millibar"),
        ("Pa", "pa pascal"),
    )
    for spelling in spellings.split()
}
_SIGNS = str.maketrans({"º": "°", "˚": "°", "℃": "°c", "℉": "°f", **dict.fromkeys(" \t_.\"'")})
# Of quantities that no answer needs; the longest first, since a pattern takes the first that fits.
FURTHER_SPELT = [spelling for spelling, unit in _SPELLINGS.items() if UNITS[unit][0] in FURTHER]
FURTHER_SPELT.sort(key=len, reverse=True)
UNIT_LONGEST = 40  # characters


def unit_named(text: str) -> str:
    """The unit of ours that a text spells; empty if it spells none."""
    return _unit_named(text) if len(text) <= UNIT_LONGEST else ""


@lru_cache(maxsize=512)
def _unit_named(text: str) -> str:
    return _SPELLINGS.get(_DEGREES.sub("°", text.translate(_SIGNS).lower()), "")


_DEGREES = re.compile("^deg(ree)?s?")

# Our word -> quantity and the unit that is meant when none stands with the value.
WORDS: dict[str, tuple[str, str]] = {
    **dict.fromkeys(
        ("temperature_c", "temperature", "temp", "t", "tc", "temp_c", "tempc"), ("temperature", "degC")
    ),
    **dict.fromkeys(("temperature_f", "temp_f", "tf", "tempf"), ("temperature", "degF")),
    **dict.fromkeys(
        ("humidity_percent", "humidity", "hum", "rh", "h", "relative_humidity"), ("relative_humidity", "%")
    ),
    "humidity_fraction": ("relative_humidity", "1"),
    **dict.fromkeys(("carbon_dioxide_ppm", "co2", "c", "carbon_dioxide"), ("carbon_dioxide", "ppm")),
    **dict.fromkeys(("battery_percent", "battery", "bat", "batt", "b"), ("battery", "%EL")),
    **dict.fromkeys(("pressure_hpa", "pressure"), ("pressure", "hPa")),
    "pressure_pa": ("pressure", "Pa"),
    **dict.fromkeys(("sensor", "name", "id"), ("sensor", "")),
    **dict.fromkeys(("time", "at", "timestamp", "ts"), ("time", "")),
    **dict.fromkeys(("age", "age_s"), ("age", "")),
    **dict.fromkeys(("sequence", "n", "seq"), ("sequence", "")),
}
QUANTITIES = ("temperature", "relative_humidity", "carbon_dioxide", "battery", *FURTHER)
# Words that say their unit; with another word it is only the usual one.
_COMMA = re.compile(r"\s*[+-]?\d{1,6},\d")
_UNIT_SAID = re.compile("tc|tf|tempc|tempf|.*_(c|f|percent|fraction|ppm|hpa|pa)")
_ARRIVAL, _AGE = int(Flag.ARRIVAL_TIME), int(Flag.AGE_GIVEN)
AHEAD = 120.0  # so far ahead of arrival a stamp may lie: two clocks in one shed [s]
MILLISECONDS_FROM = 1e11  # a stamp this large counts milliseconds; in seconds it would be the year 5138


class FieldRejected(Exception):  # noqa: N818 - named by the matter; never leaves this package
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


class Stated(NamedTuple):
    """A value and the units that its message states for it."""

    value: object
    units: tuple[str, ...]


class Meaning(NamedTuple):
    """What a word stands for."""

    kind: str  # of KINDS
    unit: str = ""
    said: bool = False  # the word or the configuration says the unit; else it is the usual one
    configured: bool = False  # the configuration says it


def meaning(word: str) -> Meaning:
    """What a word of ours stands for."""
    return Meaning(*WORDS[word], said=_UNIT_SAID.fullmatch(word) is not None)


def quantity(value: object, meant: Meaning) -> float:
    """The value in SI, by the unit that stands with it or is stated for it, else by the one that is meant."""
    stated: tuple[str, ...] = ()
    if type(value) is Stated:
        value, stated = value
    found = finite(value)
    if found is None and type(value) is str and len(value) <= 60:
        text, own = _split_unit(value)
        found = number(text) if not own or own[0].isalpha() or own[0] in "°º˚℃℉%" else None
        stated = (*stated, own) if own else stated
    if found is None:
        comma = type(value) is str and _COMMA.match(value)
        raise FieldRejected(Reason.COMMA if comma else Reason.BAD_NUMBER)
    return UNITS[_agreed(stated, meant) if stated else meant.unit][1](found)


def _agreed(stated: tuple[str, ...], meant: Meaning) -> str:
    """The one unit that all say.

    One that is not known rejects, unless the configuration says which it is. Two that differ reject always.
    """
    units = {meant.unit} if meant.said else set()
    for text in stated:
        unit = unit_named(text)
        if unit == "%" and meant.kind == "battery":
            unit = "%EL"
        if unit and UNITS[unit][0] == meant.kind:
            units.add(unit)
        elif unit or not meant.configured:
            raise FieldRejected(Reason.BAD_UNIT)
    if len(units) > 1:
        raise FieldRejected(Reason.UNITS_DIFFER)
    return units.pop() if units else meant.unit


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
            raise FieldRejected(Reason.BAD_TIME)
        try:
            told = datetime.fromisoformat(value.strip())
            if told.tzinfo is not None:
                return told.timestamp()
            return Local(told.replace(tzinfo=UTC).timestamp())
        except (ValueError, OverflowError) as trouble:
            raise FieldRejected(Reason.BAD_TIME) from trouble
    if seconds < 0:
        raise FieldRejected(Reason.BAD_TIME)
    return seconds / 1000.0 if seconds >= MILLISECONDS_FROM else seconds


def sequence(value: object) -> int:
    """A running number: a whole number from 0 below 2^32."""
    found = finite(value)
    if found is None or not 0 <= found < 4294967296 or found != int(found):
        raise FieldRejected(Reason.BAD_NUMBER)
    return int(found)


def sensor_name(value: object) -> str:
    """A sensor's name, if it is one that may be a name."""
    if type(value) is not str or not name_allowed(value):
        raise FieldRejected(Reason.BAD_NAME)
    return value


def age(value: object) -> float:
    """Seconds since the measurement; a number that is not negative."""
    found = finite(value)
    if found is None or found < 0:
        raise FieldRejected(Reason.BAD_TIME)
    return found


# A field's place among gathered values.
KINDS = (
    *("sensor", "time", "age", "temperature", "relative_humidity", "carbon_dioxide", "battery", "sequence"),
    *FURTHER,
)
SENSOR, TIME, AGE, TEMPERATURE, HUMIDITY, CARBON_DIOXIDE, BATTERY, SEQUENCE = range(8)

Take = Callable[[object], Any]
Taken = dict[str, tuple[int, Take]]  # word -> place and how its value is taken
_TAKE: dict[str, Take] = {"sensor": sensor_name, "time": stamp, "age": age, "sequence": sequence}


def _take(meant: Meaning) -> Take:
    if meant.kind in _TAKE:
        return _TAKE[meant.kind]
    to_si = UNITS[meant.unit][1]

    def take(value: object) -> float:
        if type(value) is float and -LARGEST < value < LARGEST:
            return to_si(value)  # the usual case: a number in the unit that is meant
        return quantity(value, meant)

    # no answer needs it: one that cannot be read costs no temperature, in no form
    return _if_read(take, False) if meant.kind in FURTHER else take


def _if_read(take: Take, _: bool) -> Take:
    """What is not needed, such as ``"battery": "low"``, is passed over where it is not a number."""

    def taken(value: object) -> Any:
        try:
            return take(value)
        except FieldRejected:
            return None

    return taken


def _battery(take: Take, configured: bool) -> Take:
    read = _if_read(take, configured)

    def taken(value: object) -> Any:
        found = read(value)
        return found if found is not None and 0.0 <= found <= 1.0 else None  # 255: not known

    return taken


def _name(_: Take, configured: bool) -> Take:
    """A number is a name only where the configuration says so: devices number their messages and probes."""

    def taken(value: object) -> Any:
        if type(value) is str:
            return sensor_name(tidy(value))
        return str(value) if configured and type(value) is int else None

    return taken


_LOOSE: dict[str, Callable[[Take, bool], Take]] = {
    "sensor": _name,
    "sequence": _if_read,
    "carbon_dioxide": _if_read,
    **dict.fromkeys(FURTHER, _if_read),
    "battery": _battery,
}


def plain(word: str) -> str:
    """A word in small letters, without what stands between its parts."""
    return _BETWEEN.sub("", word).lower()


_BETWEEN = re.compile(r"[\s_.$-]+")


class ValuePlace(NamedTuple):
    """Where a device's value stands, and how it becomes one in the unit of our word."""

    at: str
    scale: float = 1.0
    offset: float = 0.0
    comma: bool = False  # a comma is the decimal mark


def _scaled(take: Take, place: ValuePlace) -> Take:
    def taken(value: object) -> Any:
        units: tuple[str, ...] = ()
        if type(value) is Stated:
            value, units = value
        if place.comma and type(value) is str:
            value = value.replace(",", ".")
        if (place.scale, place.offset) != (1.0, 0.0):
            found = finite(value)
            if found is None:
                raise FieldRejected(Reason.BAD_NUMBER)
            value = found * place.scale + place.offset
        return take(Stated(value, units) if units else value)

    return taken


class KnownShape(NamedTuple):
    """How an object with certain keys is read, whatever its values."""

    takes: tuple[tuple[str, int, Take], ...]  # key, its place, and how its value is taken
    silent: tuple[tuple[str, tuple[str, ...]], ...]  # key of an object in it that says nothing, and its keys
    colons: int  # in its text, if no text in it has one


class Words:
    """The words and units of one kind of device: ours, but where its configuration says others.

    ``fields`` maps our words to its own; ``units`` has the unit of a quantity whose messages do not say it.
    ``ignored`` are passed over. Of several names of one device, one in ``known`` is taken.
    """

    def __init__(
        self,
        fields: Mapping[str, str | ValuePlace] = {},
        units: Mapping[str, str] = {},
        known: Container[str] = (),
        ignored: Iterable[str] = (),
    ) -> None:
        places = {ours: ValuePlace(it) if isinstance(it, str) else it for ours, it in fields.items()}
        self.known = known  # names and addresses of the configuration
        named = {WORDS[ours][0] for ours in fields if ours in WORDS}
        self.meanings = {word: meaning(word) for word, (kind, _) in WORDS.items() if kind not in named}
        for word in ignored:
            self.meanings = {each: m for each, m in self.meanings.items() if each != word.lower()}
        for ours, place in places.items():
            if ours in WORDS:
                meant = meaning(ours)
                self.meanings[place.at] = meant._replace(configured=meant.said)
        for word, meant in self.meanings.items():
            if meant.kind in units:
                self.meanings[word] = Meaning(meant.kind, units[meant.kind], said=True, configured=True)
        self.kinds = {plain(w): m.kind for w, m in self.meanings.items() if m.kind in QUANTITIES}
        self.taken: Taken = {w: (KINDS.index(m.kind), _take(m)) for w, m in self.meanings.items()}
        for ours, place in places.items():
            if ours in WORDS and place != ValuePlace(place.at):
                index, take = self.taken[place.at]
                self.taken[place.at] = (index, _scaled(take, place))
        told = {place.at for place in places.values()}
        self.loose: Taken = {
            w: (place, _LOOSE[KINDS[place]](take, w in told) if KINDS[place] in _LOOSE else take)
            for w, (place, take) in self.taken.items()
        }
        # an object's keys, and the types of their values -> how it is read; bounded by its user
        self.shapes: dict[tuple[Any, ...], KnownShape] = {}
        # of CSV lines without a header, counted from 1
        self.columns = tuple(int(place) for place in told if place.isdecimal() and len(place) <= 2)
        self.paths = tuple(path for path in told if "." in path)  # into nested objects

    def meant(self, word: str) -> Meaning | None:
        return self.meanings.get(word) or self.meanings.get(word.lower())


OURS = Words()


def gather(
    named: Iterable[tuple[str, object]], words: Taken = OURS.taken, known: Container[str] | None = None
) -> list[Any]:
    """Values by their place in KINDS from (word, value) pairs; words that are not known are passed over.

    Several names are allowed where ``known`` is given: the best of them is taken.

    Raises
    ------
    Rejected
        A known word with a value that cannot be taken, or a quantity given twice.
    """
    values: list[Any] = [None] * len(KINDS)
    for word, value in named:
        meant = words.get(word) or words.get(word.lower())
        if meant is None or value is None or value == "":
            continue
        place, take = meant
        if values[place] is None:
            values[place] = take(value)
        elif place == SENSOR and known is not None:
            values[place] = _better(values[place], take(value), word, known)
        elif not _says_the_same(place, values[place], take(value)):
            raise FieldRejected(Reason.TWICE)
    return values


def _says_the_same(place: int, one: Any, other: Any) -> bool:
    """One temperature in two units, each rounded. Of what no answer needs the first is kept."""
    return place > SEQUENCE or (place == TEMPERATURE and other is not None and abs(one - other) <= ROUNDED)


def _better(one: str, other: str | None, word: str, known: Container[str]) -> str:
    """Of two names the one that the configuration knows; else a number, which is one device's alone."""
    if other is None:
        return one
    if (one in known) == (other in known):
        return one if word.lower() == "name" else other
    return one if one in known else other


ROUNDED = 0.1  # between tenths of degC and of degF, and a last digit [K]


def reading(values: Sequence[Any], sensor: str, raw: bytes, at: Instant, source: str) -> Reading | Rejected:
    """The reading that gathered values make; ``sensor`` names it where the values do not."""
    own, time, since, temperature, humidity, carbon_dioxide, battery, number_of, *further = values
    utc, flags = at[0], 0
    if temperature is None and humidity is None:
        return reject(Reason.NO_QUANTITY, raw, utc, source, own or sensor)
    if time is None:
        time, flags = (utc, _ARRIVAL) if since is None else (utc - since, _AGE)
    return tuple.__new__(
        Reading,
        (
            own or sensor,
            time,
            utc,
            temperature,
            humidity,
            carbon_dioxide,
            battery,
            flags,
            number_of,
            *further,
        ),
    )
