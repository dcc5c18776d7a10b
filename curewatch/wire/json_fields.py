"""JSON objects of devices that speak in their own words: ``{"temperature": 12.3, "humidity": 81}``.

Python's ``json`` takes NaN, keys given twice and numbers that are infinite when read; here each of them
is a reason. Nesting and size are bounded.

A device sends the same words each time, so the shapes of its objects are remembered: which key is what.
One of a known shape is read by a faster decoder. That takes a key given twice, so the text must have as many
colons as the shape has keys. Law: it gives what is read without a memory.
"""

import json
from collections.abc import Mapping
from typing import Any, NamedTuple

import msgspec

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.envelopes import MARKS, opened
from curewatch.wire.fields import (
    KINDS,
    OURS,
    QUANTITIES,
    SENSOR,
    FieldRejected,
    KnownShape,
    Words,
    gather,
    reading,
)
from curewatch.wire.numbers import tidy
from curewatch.wire.reasons import Reason, reject
from curewatch.wire.stated import ANY, Units, any_states_unit, is_table, joined, rest_of, units_of, with_units

LARGEST = 65_536  # bytes of one object or pack; a report of ours takes about 100
DEEPEST = 8  # levels of nesting that are looked into


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise FieldRejected(Reason.TWICE)
    return found


def _no_constant(_: str) -> Any:
    raise FieldRejected(Reason.BAD_NUMBER)


_decoder = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_no_constant)


def load(payload: bytes, largest: int = LARGEST) -> Any:
    """The JSON value of a payload.

    Raises
    ------
    Rejected
        Not UTF-8, not JSON, too large, nested too deeply, a key twice, NaN or an infinite number.
    """
    if len(payload) > largest:
        raise FieldRejected(Reason.TOO_LONG)
    try:
        return _decoder.decode(payload.decode("utf-8"))
    except UnicodeDecodeError as trouble:
        raise FieldRejected(Reason.NOT_TEXT) from trouble
    except (ValueError, RecursionError) as trouble:
        # ValueError also for an integer of more than 4,300 digits, RecursionError for deep nesting
        raise FieldRejected(Reason.BAD_JSON) from trouble


def _load_object(payload: bytes) -> dict[str, Any]:
    found = load(payload)
    if type(found) is not dict:
        raise FieldRejected(Reason.NOT_A_LINE)
    return found


def parse(
    payload: bytes, at: Instant, source: str = "", device: str = "", words: Words = OURS
) -> list[Reading | Rejected]:
    """One JSON object as readings of ``device``, or of the probes that it names, in the device's words."""
    try:
        values = _of_known_shape(payload, words)
        if values is not None:
            return [reading(values, device, payload, at, source)]
        found = _load_object(payload)
        if _is_plain(found, words):
            if len(payload) <= SHAPE_LONGEST:
                _remember(found, words)
            values = gather(found.items(), words.loose, words.known)
            return [reading(values, device, payload, at, source)]
        return [_read(each, payload, at, source, words) for each in _parts(found, device, words)]
    except FieldRejected as rejected:
        return [reject(rejected.reason, payload, at.utc, source, device)]


SHAPES = 256  # that are remembered of each kind of device; the first known goes first
SHAPE_LONGEST = 1_000  # bytes of an object whose shape is
_decode_quickly = msgspec.json.Decoder().decode


def _of_known_shape(payload: bytes, words: Words) -> list[Any] | None:
    """The values of an object whose like was read before; None for any other."""
    if len(payload) > SHAPE_LONGEST:
        return None
    try:
        found = _decode_quickly(payload)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None  # it is told below what is wrong
    shape = words.shapes.get((*found, *map(type, found.values()))) if type(found) is dict else None
    if shape is None or payload.count(b":") != shape.colons:
        return None
    if any(tuple(found[key]) != inner for key, inner in shape.silent):
        return None
    values: list[Any] = [None] * len(KINDS)
    for key, place, take in shape.takes:
        value = found[key]
        if value is not None and value != "":
            values[place] = take(value)
    return values


def _remember(found: dict[str, Any], words: Words) -> None:
    """The shape of a plain object, unless it says something twice."""
    meant = ((key, words.loose.get(key) or words.loose.get(key.lower())) for key in found)
    takes = tuple((key, *what) for key, what in meant if what is not None)
    if len({place for _, place, _ in takes}) < len(takes):
        return
    while len(words.shapes) >= SHAPES:
        del words.shapes[next(iter(words.shapes))]
    silent = tuple((key, tuple(value)) for key, value in found.items() if type(value) is dict)
    colons = len(found) + sum(len(inner) for _, inner in silent)
    words.shapes[*found, *map(type, found.values())] = KnownShape(takes, silent, colons)


def _is_plain(found: dict[str, Any], words: Words) -> bool:
    """Whether what it says stands in itself, each value in the unit of its word."""
    if words.paths or any_states_unit(tuple(found)) or not MARKS.isdisjoint(found):
        return False
    return all(type(value) is not dict or _says_nothing(key, value, words) for key, value in found.items())


def _says_nothing(key: str, inner: dict[str, Any], words: Words) -> bool:
    """Whether an object in a message has no word of ours, such as its firmware."""
    if dict in map(type, inner.values()) or any_states_unit(tuple(inner)):
        return False
    return not any(map(words.meant, (key, *inner)))


class _Part(NamedTuple):
    """What a message says of one probe."""

    fields: Mapping[str, Any]
    device: str  # its name
    named: bool  # it stands; what the fields say of a name is of less worth
    whole: Mapping[str, Any]  # the message, for paths of the configuration


def _read(part: _Part, payload: bytes, at: Instant, source: str, words: Words) -> Reading | Rejected:
    """One probe that cannot be read costs no other."""
    try:
        values = _gather(part.fields, part.whole, words)
        if part.named and values[SENSOR] not in words.known:
            values[SENSOR] = None
        return reading(values, part.device, payload, at, source)
    except FieldRejected as rejected:
        return reject(rejected.reason, payload, at.utc, source, part.device)


def _parts(found: dict[str, Any], device: str, words: Words) -> list[_Part]:
    """The probes of a message: one, unless two of its objects say the same quantity."""
    envelope = opened(found)
    fields: dict[str, Any] = found
    named = device in words.known
    if envelope is not None:
        names = [tidy(name) for name in envelope.names]
        if not envelope.many and device:
            names.append(device)
        fields = envelope.fields
        device = next((name for name in names if name in words.known), names[0] if names else device)
        named = True
    probes = {} if words.paths else _probes(fields, words)
    if not probes:
        nested = not any(words.loose.get(key.lower(), (-1,))[0] == SENSOR for key in fields)
        return [_Part(fields, device, named and (envelope is not None or nested), found)]
    inside = {key for each in probes.values() for key in each}
    shared = {key: value for key, value in fields.items() if key not in inside and type(value) is not dict}
    return [
        _Part({**shared, **each}, f"{device}/{tidy(key)}" if device else tidy(key), True, found)
        for key, each in probes.items()
    ]


def _probes(fields: Mapping[str, Any], words: Words) -> dict[str, dict[str, Any]]:
    """Objects that say the same quantity, by the probe's name; none where nothing is said twice.

    ``temperature:0`` and ``humidity:0`` are of one probe, 0.
    """
    found: dict[str, dict[str, Any]] = {}
    said: set[tuple[str, str]] = set()
    for key, value in fields.items():
        kinds = _kinds(value, words) if type(value) is dict and words.meant(key) is None else ()
        if kinds:
            component, _, index = key.partition(":")
            found.setdefault(index or component, {})[key] = value
            said.update((index or component, kind) for kind in kinds)
    twice = len({kind for _, kind in said}) < len(said)
    return found if twice else {}


def _kinds(fields: Mapping[str, Any], words: Words) -> set[str]:
    meant = [words.meant(key) for key in fields]
    return {each.kind for each in meant if each and each.kind in ("temperature", "relative_humidity")}


def _gather(found: Mapping[str, Any], whole: Mapping[str, Any], words: Words) -> list[Any]:
    named, elsewhere = _flat(found, words, {})
    for path in words.paths:
        named += _at(whole, path, words)
    return gather(with_units(named, elsewhere, words), words.loose, words.known)


def _at(found: Mapping[str, Any], path: str, words: Words) -> list[tuple[str, object]]:
    """What stands at ``a.b.c`` in nested objects and lists, with the units on the way; or nothing."""
    value: Any = found
    units: Units = {}
    for part in path.split("."):
        if type(value) is list:
            value = value[int(part)] if part.isdecimal() and int(part) < len(value) else None
            continue
        if type(value) is not dict:
            return []
        units |= units_of(value.items(), words)
        value = value.get(part)
    return with_units([(path, value)], units, words)


Fields = list[tuple[str, object]]


def _flat(found: Mapping[str, Any], words: Words, outer: Units, depth: int = 0) -> tuple[Fields, Units]:
    """The fields of an object and of the objects in it, and the units of objects that hold no field.

    A list holds no field of ours. A unit counts for its object and what is in it; the nearest goes first.
    """
    if depth >= DEEPEST:
        raise FieldRejected(Reason.BAD_JSON)
    own = units_of(found.items(), words)
    units, elsewhere, flat = outer | own, Units(), Fields()
    for key, value in found.items():
        if type(value) is not dict:
            flat.append((key, value))
        elif rest_of(key) is None or not is_table(value):
            inner, more = _value_of(key, value, words) or _flat(value, words, units, depth + 1)
            flat += inner
            elsewhere = joined(elsewhere, more)
    if depth and not any(_is_value(key, words) for key in found):
        elsewhere = joined(elsewhere, {kind: said for kind, said in own.items() if kind != ANY})
    return with_units(flat, units, words), elsewhere


def _is_value(word: str, words: Words) -> bool:
    """A value that a unit beside it is of, ours or another's."""
    meant = words.meant(word)
    return word in _VALUES or (meant is not None and meant.kind in QUANTITIES)


def _value_of(key: str, value: dict[str, Any], words: Words) -> tuple[Fields, Units] | None:
    """A quantity whose value stands in an object of its own: ``{"value": 54.5, "unit": "F"}``."""
    meant = words.meant(key)
    held = next((word for word in _VALUES if word in value), None)
    if meant is None or meant.kind not in QUANTITIES or held is None:
        return None
    return with_units([(key, value[held])], units_of(value.items(), words), words), {}


_VALUES = ("value", "val", "v")
