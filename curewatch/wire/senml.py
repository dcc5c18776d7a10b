"""SenML, RFC 8428: packs of sensor measurements in JSON or CBOR, resolved and made into readings.

Kept from the RFC: base fields carry on until replaced (4.1); a name is base name plus name, a time base
time plus time, a value base value plus value (4.1, 4.2); a time below 2^28 s is relative to now (4.5.3);
a version above ours is refused, and all records of a pack have one version (4.4); a field that is not
known is passed over unless its label ends in ``_`` (4.4); resolved records come in time order (4.6).
"""

import io
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire.fields import UNITS, WORDS, Refused
from curewatch.wire.json_fields import LARGEST, load
from curewatch.wire.numbers import finite, name_allowed
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
_TYPES: dict[str, tuple[type, ...]] = {
    **dict.fromkeys(("bn", "bu", "n", "u", "vs"), (str,)),
    "vd": (str, bytes),
    "vb": (bool,),
}
_BASES = frozenset(("bver", "bn", "bt", "bu", "bv", "bs"))
_NUMBERS = frozenset(("bt", "bv", "bs", "v", "s", "t", "ut"))
_VALUES = ("v", "vs", "vb", "vd")
_UNITS = frozenset(("Cel", "K", "%RH", "%EL", "ppm"))


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
    Refused
        The payload is no SenML of a version we know; carries the reason.
    """
    return resolve_pack(decode(payload), at.utc)


def decode(payload: bytes, largest: int = LARGEST) -> Any:
    """The pack as JSON would have it, from its JSON or its CBOR form."""
    if len(payload) > largest:
        raise Refused(Reason.TOO_LONG)
    return _from_cbor(payload) if is_cbor(payload) else load(payload, largest)


def is_cbor(payload: bytes) -> bool:
    """A CBOR pack is an array: major type 4, so a first byte of 80 to 9F, hexadecimal. No text begins so."""
    return payload[:1] != b"" and 0x80 <= payload[0] <= 0x9F


def _from_cbor(payload: bytes) -> Any:
    import cbor2

    stream = io.BytesIO(payload)
    try:
        pack = cbor2.CBORDecoder(stream, tag_hook=_no_tags).decode()
    except Refused:
        raise
    except (
        cbor2.CBORDecodeError,
        ValueError,
        TypeError,
        OverflowError,
        RecursionError,
        MemoryError,
    ) as trouble:
        raise Refused(Reason.BAD_CBOR) from trouble
    if stream.tell() != len(payload) or type(pack) is not list:
        raise Refused(Reason.BAD_CBOR)
    return [_with_text_labels(record) for record in pack]


def _no_tags(*_: object) -> Any:
    raise Refused(Reason.BAD_CBOR)


def _with_text_labels(record: Any) -> Any:
    if not isinstance(record, dict):
        raise Refused(Reason.BAD_SENML)
    # an integer label that the RFC does not name is passed over: it cannot end in "_"
    named = {CBOR_LABELS.get(key, key) if type(key) is int else key: value for key, value in record.items()}
    if len(named) != len(record):
        raise Refused(Reason.TWICE)
    return named


def resolve_pack(pack: Any, now: float, most: int = MOST_RECORDS) -> list[Record]:
    """Resolved records of a decoded pack. Raises Refused when it is not valid."""
    if type(pack) is not list or not 0 < len(pack) <= most:
        raise Refused(Reason.BAD_SENML)
    records = list(_resolved(pack, now))
    records.sort(key=lambda record: record.time)
    return records


class _Base(NamedTuple):
    """The base fields as they stand when a record is met: each carries on until replaced."""

    name: str = ""
    unit: str = ""
    time: float = 0.0
    value: float = 0.0

    def after(self, record: Mapping[str, Any]) -> "_Base":
        return _Base(
            record.get("bn", self.name),
            record.get("bu", self.unit),
            record.get("bt", self.time),
            record.get("bv", self.value),
        )


def _resolved(pack: Iterable[Any], now: float) -> Iterator[Record]:
    base, version = _Base(), VERSION
    for place, record in enumerate(pack):
        _check(record)
        if record.get("bver", version) != version:
            if place:
                raise Refused(Reason.BAD_SENML)
            version = record["bver"]
        base = base.after(record)
        if not record.keys() <= _BASES:
            yield _record(record, base, now)


def _record(record: Mapping[str, Any], base: _Base, now: float) -> Record:
    name = base.name + record.get("n", "")
    if len(name) > NAME_LONGEST or not _NAME.fullmatch(name):
        raise Refused(Reason.BAD_NAME)
    given = [label for label in _VALUES if label in record]
    if len(given) > 1 or (not given and "s" not in record):
        raise Refused(Reason.BAD_SENML)
    value = record.get("v")
    if value is not None:
        value += base.value
    elif given and given[0] != "vd":
        value = record[given[0]]
    moment = base.time + record.get("t", 0.0)
    relative = moment < RELATIVE_BELOW
    return Record(name, now + moment if relative else moment, record.get("u", base.unit), value, relative)


def _check(record: Any) -> None:
    """No field of a record has a wrong type, and none that must be understood is unknown."""
    if type(record) is not dict:
        raise Refused(Reason.BAD_SENML)
    for label, value in record.items():
        trouble = _trouble(label, value)
        if trouble is not None:
            raise Refused(trouble)


def _trouble(label: object, value: object) -> Reason | None:
    """What is wrong with a field; its type is that of RFC 8428, table 1 (binary data: bytes in CBOR)."""
    if label in _NUMBERS:
        return None if type(value) in (float, int) and finite(value) is not None else Reason.BAD_NUMBER
    if label == "bver":
        if type(value) is not int or value < 1:
            return Reason.BAD_SENML
        return Reason.VERSION if value > VERSION else None
    if label in _TYPES:
        return None if type(value) in _TYPES[str(label)] else Reason.BAD_SENML
    return Reason.MUST_UNDERSTAND if type(label) is str and label.endswith("_") else None


def device_and_word(name: str) -> tuple[str, str]:
    """A resolved name as the device it belongs to and the word for the quantity at its end, if any.

    ``urn:dev:mac:0024befffe804ff1:temperature`` and ``bench/temp`` end in such a word; the RFC's
    ``urn:dev:ow:10e2073a01080063`` does not and is the device's name as it stands.
    """
    cut = max(name.rfind(mark) for mark in ":/_.")
    word = name[cut + 1 :].lower()
    return (name[:cut].rstrip(":/_.") if cut > 0 else "", word) if word in WORDS else (name, "")


def parse(payload: bytes, at: Instant, source: str = "", device: str = "") -> list[Reading | Rejected]:
    """The readings of a pack: what one device said at one moment is one reading.

    ``device`` names readings whose records name only the quantity.
    """
    try:
        return _readings(resolve(payload, at), payload, at, source, device)
    except Refused as refused:
        return [reject(refused.reason, payload, at.utc, source, device)]


def _readings(
    records: Iterable[Record], payload: bytes, at: Instant, source: str, device: str
) -> list[Reading | Rejected]:
    groups: dict[tuple[str, float], dict[str, Any]] = {}
    for record in records:
        if record.unit not in _UNITS:
            continue
        kind, to_si = UNITS[record.unit]
        if type(record.value) not in (float, int):
            raise Refused(Reason.BAD_NUMBER)
        owner, word = device_and_word(record.name)
        name = owner or device or word
        if len(name) > 64 or not name_allowed(name):
            raise Refused(Reason.BAD_NAME)
        group = groups.setdefault((name, record.time), {"relative": record.relative})
        if kind in group:
            raise Refused(Reason.TWICE)
        group[kind] = to_si(float(record.value))  # type: ignore[arg-type]  # a number: checked above
    found = [
        _reading(name, time, group, at)
        for (name, time), group in groups.items()
        if "temperature" in group or "relative_humidity" in group
    ]
    return list(found) or [reject(Reason.NO_QUANTITY, payload, at.utc, source, device)]


def _reading(name: str, time: float, group: Mapping[str, Any], at: Instant) -> Reading:
    flags = 0
    if group["relative"]:
        flags = int(Flag.ARRIVAL_TIME if time == at.utc else Flag.AGE_GIVEN)
    return Reading(
        name,
        time,
        at.utc,
        group.get("temperature"),
        group.get("relative_humidity"),
        group.get("carbon_dioxide"),
        group.get("battery"),
        flags,
    )
