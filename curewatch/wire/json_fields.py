"""JSON objects of devices that speak in their own words: ``{"temperature": 12.3, "humidity": 81}``.

Python's ``json`` takes NaN, keys given twice and numbers that are infinite when read; here each of them
is a reason. Nesting and size are bounded.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.fields import QUANTITIES, UNITS, WORDS, Refused, Taken, gather, reading, taking
from curewatch.wire.reasons import Reason, reject

LARGEST = 65_536  # bytes of one object or pack; a report of ours takes about 100
DEEPEST = 8  # levels of nesting that are looked into


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise Refused(Reason.TWICE)
    return found


def _no_constant(_: str) -> Any:
    raise Refused(Reason.BAD_NUMBER)


_decoder = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_no_constant)


def load(payload: bytes, largest: int = LARGEST) -> Any:
    """The JSON value of a payload.

    Raises
    ------
    Refused
        Not UTF-8, not JSON, too large, nested too deeply, a key twice, NaN or an infinite number.
    """
    if len(payload) > largest:
        raise Refused(Reason.TOO_LONG)
    try:
        return _decoder.decode(payload.decode("utf-8"))
    except UnicodeDecodeError as trouble:
        raise Refused(Reason.NOT_TEXT) from trouble
    except (ValueError, RecursionError) as trouble:
        # ValueError also for an integer of more than 4,300 digits, RecursionError for deep nesting
        raise Refused(Reason.BAD_JSON) from trouble


def _load_object(payload: bytes) -> dict[str, Any]:
    found = load(payload)
    if type(found) is not dict:
        raise Refused(Reason.NOT_A_LINE)
    return found


class Words:
    """The words of one kind of device: ours, but where its mapping (our word -> its own) names another."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        named = {WORDS[ours][0] for ours in fields if ours in WORDS}
        self.words = {word: known for word, known in WORDS.items() if known[0] not in named}
        self.words.update({theirs: WORDS[ours] for ours, theirs in fields.items() if ours in WORDS})
        self.taken = taking(self.words)
        self.paths = tuple(theirs for theirs in fields.values() if "." in theirs)  # into nested objects


OURS = Words({})


def parse(
    payload: bytes, at: Instant, source: str = "", device: str = "", words: Words = OURS
) -> Reading | Rejected:
    """One JSON object as a reading of ``device``, in the device's words."""
    try:
        return reading(_gather(_load_object(payload), words), device, payload, at, source)
    except Refused as refused:
        return reject(refused.reason, payload, at.utc, source, device)


def _gather(found: dict[str, Any], words: Words) -> list[Any]:
    named: Iterable[tuple[str, Any]] = found.items()
    if words.paths or dict in map(type, found.values()):
        named = [*_flat(found), *((path, _at(found, path)) for path in words.paths)]
    return gather(named, words.taken if found.keys().isdisjoint(_UNIT_WORDS) else _with_units(found, words))


def _at(found: Mapping[str, Any], path: str) -> Any:
    """What stands at ``a.b.c`` in nested objects, or None."""
    value: Any = found
    for part in path.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _flat(found: Mapping[str, Any], depth: int = 0) -> list[tuple[str, Any]]:
    """The fields of an object and of the objects in it; a list holds no field of ours."""
    if depth >= DEEPEST:
        raise Refused(Reason.BAD_JSON)
    flat: list[tuple[str, Any]] = []
    for key, value in found.items():
        if type(value) is dict:
            flat.extend(_flat(value, depth + 1))
        else:
            flat.append((key, value))
    return flat


_UNIT_WORDS = frozenset(("unit", *(f"{kind}_unit" for kind in QUANTITIES)))


def _with_units(found: Mapping[str, Any], words: Words) -> Taken:
    """The words, with the unit that the object names: ``"unit": "degF"`` or ``"temperature_unit"``."""
    general = found.get("unit")
    changed = dict(words.words)
    for word, (kind, _) in words.words.items():
        unit = found.get(f"{kind}_unit", general if _is_unit_of(general, kind) else None)
        if unit is not None and kind in QUANTITIES:
            changed[word] = (kind, unit if type(unit) is str else "")
    return taking(changed)


def _is_unit_of(unit: object, kind: str) -> bool:
    return type(unit) is str and unit in UNITS and UNITS[unit][0] == kind
