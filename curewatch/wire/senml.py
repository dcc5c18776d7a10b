"""SenML, RFC 8428: packs of sensor measurements in JSON or CBOR, resolved and made into readings.

Kept from the RFC: base fields carry on until replaced (4.1); a name is base name plus name, a time base
time plus time, a value base value plus value (4.1, 4.2); a time below 2^28 s is relative to now (4.5.3);
a version above ours is rejected, and all records of a pack have one version (4.4); a field that is not
known is passed over unless its label ends in ``_`` (4.4); resolved records come in time order (4.6).
"""

import io
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.readings import FURTHER, UNSAID, Flag, Reading, Rejected
from curewatch.wire.fields import UNITS, WORDS, FieldRejected
from curewatch.wire.json_fields import LARGEST, load
from curewatch.wire.numbers import LARGEST as LARGEST_NUMBER
from curewatch.wire.numbers import name_allowed
from curewatch.wire.reasons import Reason, reject

VERSION = 10
RELATIVE_BELOW = float(1 << 28)  # s; RFC 8428, 4.5.3
MOST_RECORDS = 5000
NAME_LONGEST = 256
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")  # RFC 8428, 4.5.1

# RFC 8428, table 2: the integer labels of the CBOR form.
CBOR_LABELS: dict[int, str] = {
    -1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs",
    0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}  # fmt: skip
# Of each field the types its value may have: RFC 8428, table 1; binary data is bytes in CBOR.
_NUMBER: tuple[type, ...] = (float, int)
_TYPES: dict[object, tuple[type, ...]] = {
    **dict.fromkeys(("bt", "bv", "bs", "v", "s", "t", "ut"), _NUMBER),
    **dict.fromkeys(("bn", "bu", "n", "u", "vs"), (str,)),
    "vd": (str, bytes),
    "vb": (bool,),
}
_BASES = frozenset(("bver", "bn", "bt", "bu", "bv", "bs"))
_VALUES = ("v", "vs", "vb", "vd")
# The unit of RFC 8428 or RFC 8798 -> place of its quantity in a Reading, and our unit.
_PLACES = {
    "Cel": (3, "degC"), "K": (3, "K"), "%RH": (4, "%"), "ppm": (5, "ppm"), "%EL": (6, "%EL"),
}  # fmt: skip
_FURTHER = {unit: Reading._fields.index(kind) for unit, (kind, _) in UNITS.items() if kind in FURTHER}
_ARRIVAL, _AGE = int(Flag.ARRIVAL_TIME), int(Flag.AGE_GIVEN)
_make = tuple.__new__


class Record(NamedTuple):
    """One resolved record: it stands by itself."""

    name: str
    time: float  # UTC [s]
    unit: str
    value: float | str | bool | None  # None: the record carries only a sum, or binary data
    relative: bool  # the pack gave no absolute time: this is arrival, or arrival less an age


def resolve(payload: bytes, at: Instant) -> list[Record]:
    """The records of a pack, each with its full name, time, unit and value, in time order.

    Raises
    ------
    Rejected
        The payload is no SenML of a version we know; carries the reason.
    """
    return resolve_pack(decode(payload), at.utc)


def decode(payload: bytes, largest: int = LARGEST) -> Any:
    """The pack as JSON would have it, from its JSON or its CBOR form."""
    if len(payload) > largest:
        raise FieldRejected(Reason.TOO_LONG)
    return _from_cbor(payload) if is_cbor(payload) else load(payload, largest)


def is_cbor(payload: bytes) -> bool:
    """A CBOR pack is an array: major type 4, so a first byte of 80 to 9F, hexadecimal. No text begins so."""
    return payload[:1] != b"" and 0x80 <= payload[0] <= 0x9F


def _from_cbor(payload: bytes) -> Any:
    import cbor2

    stream = io.BytesIO(payload)
    try:
        pack = cbor2.CBORDecoder(stream, tag_hook=_no_tags).decode()
    except FieldRejected:
        raise
    except (
        cbor2.CBORDecodeError,
        ValueError,
        TypeError,
        OverflowError,
        RecursionError,
        MemoryError,
    ) as trouble:
        raise FieldRejected(Reason.BAD_CBOR) from trouble
    if stream.tell() != len(payload) or type(pack) is not list:
        raise FieldRejected(Reason.BAD_CBOR)
    return [_with_text_labels(record) for record in pack]


def _no_tags(*_: object) -> Any:
    raise FieldRejected(Reason.BAD_CBOR)


def _with_text_labels(record: Any) -> Any:
    if not isinstance(record, dict):
        raise FieldRejected(Reason.BAD_SENML)
    # an integer label that the RFC does not name is passed over: it cannot end in "_"
    named = {CBOR_LABELS.get(key, key) if type(key) is int else key: value for key, value in record.items()}
    if len(named) != len(record):
        raise FieldRejected(Reason.TWICE)
    return named


def resolve_pack(pack: Any, now: float, most: int = MOST_RECORDS) -> list[Record]:
    """Resolved records of a decoded pack. Raises Rejected when it is not valid."""
    if type(pack) is not list or not 0 < len(pack) <= most:
        raise FieldRejected(Reason.BAD_SENML)
    records = list(_resolved(pack, now))
    records.sort(key=lambda record: record.time)
    return records


def _resolved(pack: Iterable[Any], now: float) -> Iterator[Record]:
    name, unit, time, value, version, first = "", "", 0.0, 0.0, VERSION, True
    for record in pack:
        _check(record)
        if record.get("bver", version) != version:
            if not first:
                raise FieldRejected(Reason.BAD_SENML)
            version = record["bver"]
        first = False
        given = record.get
        name = given("bn", name)
        unit = given("bu", unit)
        time = given("bt", time)
        value = given("bv", value)
        if record.keys() <= _BASES:
            continue
        full = name + given("n", "")
        if not _name_allowed(full):
            raise FieldRejected(Reason.BAD_NAME)
        moment = time + given("t", 0.0)
        relative = moment < RELATIVE_BELOW
        yield _make(
            Record,
            (full, now + moment if relative else moment, given("u", unit), _value(record, value), relative),
        )


def _value(record: Mapping[str, Any], base: float) -> Any:
    """A record's one value; None where it carries only a sum, or binary data."""
    given = [label for label in _VALUES if label in record]
    if given == ["v"]:
        return record["v"] + base
    if len(given) > 1 or (not given and "s" not in record):
        raise FieldRejected(Reason.BAD_SENML)
    return record[given[0]] if given and given[0] != "vd" else None


def _name_allowed(name: str) -> bool:
    return len(name) <= NAME_LONGEST and _known_name(name)


@lru_cache(maxsize=2048)
def _known_name(name: str) -> bool:
    return _NAME.fullmatch(name) is not None


def _check(record: Any) -> None:
    """No field of a record has a wrong type, and none that must be understood is unknown."""
    if type(record) is not dict:
        raise FieldRejected(Reason.BAD_SENML)
    for label, value in record.items():
        types = _TYPES.get(label, ())
        if type(value) not in types or (types is _NUMBER and not -LARGEST_NUMBER < value < LARGEST_NUMBER):
            trouble = _trouble(label, value)
            if trouble is not None:
                raise FieldRejected(trouble)


def _trouble(label: object, value: object) -> Reason | None:
    """What is wrong with a field, if anything is."""
    if label == "bver":
        if type(value) is not int or value < 1:
            return Reason.BAD_SENML
        return Reason.VERSION if value > VERSION else None
    if label in _TYPES:
        return Reason.BAD_NUMBER if _TYPES[label] is _NUMBER else Reason.BAD_SENML
    return Reason.MUST_UNDERSTAND if type(label) is str and label.endswith("_") else None


@lru_cache(maxsize=2048)
def device_and_word(name: str) -> tuple[str, str]:
    """A resolved name as the device it belongs to and the word for the quantity at its end, if any.

    ``urn:dev:mac:0024befffe804ff1:temperature`` and ``bench/temp`` end in such a word; the RFC's
    ``urn:dev:ow:10e2073a01080063`` does not and is the device's name as it stands.
    """
    for marks in (":/", ":/_."):  # bench:relative_humidity is a word of two before it is bench:relative
        cut = max(name.rfind(mark) for mark in marks)
        word = name[cut + 1 :].lower()
        if word in WORDS:
            return (name[:cut].rstrip(":/_.") if cut > 0 else ""), word
    return name, ""


def parse(payload: bytes, at: Instant, source: str = "", device: str = "") -> list[Reading | Rejected]:
    """The readings of a pack: what one device said at one moment is one reading.

    ``device`` names readings whose records name only the quantity.
    """
    try:
        return _readings(resolve(payload, at), payload, at, source, device)
    except FieldRejected as rejected:
        return [reject(rejected.reason, payload, at.utc, source, device)]


def _readings(
    records: list[Record], payload: bytes, at: Instant, source: str, device: str
) -> list[Reading | Rejected]:
    groups: dict[tuple[str, float], list[Any]] = {}
    for name, time, unit, value, relative in records:
        if unit not in _PLACES:
            continue
        place, ours = _PLACES[unit]
        if type(value) is not float and type(value) is not int:
            raise FieldRejected(Reason.BAD_NUMBER)
        owner, word = device_and_word(name)
        owner = owner or device or word
        group = groups.get((owner, time))
        if group is None:
            if not name_allowed(owner):
                raise FieldRejected(Reason.BAD_NAME)
            flags = (_ARRIVAL if time == at.utc else _AGE) if relative else 0
            groups[owner, time] = group = [owner, time, at.utc, None, None, None, None, flags, None, *UNSAID]
        if group[place] is not None:
            raise FieldRejected(Reason.TWICE)
        group[place] = UNITS[ours][1](value)
    _add_further(records, groups, device)
    found: list[Reading | Rejected] = [
        _make(Reading, group) for group in groups.values() if group[3] is not None or group[4] is not None
    ]
    return found or [reject(Reason.NO_QUANTITY, payload, at.utc, source, device)]


def _add_further(records: Iterable[Record], groups: dict[tuple[str, float], list[Any]], device: str) -> None:
    """What no answer needs joins the reading of its device and moment, and costs none."""
    for name, time, unit, value, _ in records:
        if unit in _FURTHER and (type(value) is float or type(value) is int):
            owner, word = device_and_word(name)
            group = groups.get((owner or device or word, time))
            if group is not None and group[_FURTHER[unit]] is None:
                group[_FURTHER[unit]] = UNITS[unit][1](value)
