"""Units that a message states beside its values: ``"TempUnit": "F"``, ``unit=degF``, a CSV's column ``unit``.

A word states a unit when it has ``unit`` or the like in it. What else is in it names the quantity; where
nothing else is, the unit itself tells which. One that is not known is stated for every quantity, so that
none is taken in a unit that was not meant.
"""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TypeGuard

from curewatch.wire.fields import QUANTITIES, UNITS, Stated, Words, plain, unit_named
from curewatch.wire.numbers import number

Units = dict[str, tuple[str, ...]]  # quantity, or ANY -> what is stated for it
ANY = ""

WORD_LONGEST = 64  # characters of a word that may state a unit; what is remembered of words is bounded
_UNIT_WORD = re.compile(r"(.*?)(?:units?ofmeasurement|units?|uom|(?<=.)scale)(.*)")


# Words that state a unit where their value is one that is known, else something else.
_PERHAPS = {"u", "scale", "deg", "degree", "degrees", "temptype", "tempformat", "tempmode"}
_SWITCH = re.compile(r"(?:is|use)?(fahrenheit|celsius|metric|imperial)")  # true or false


def rest_of(word: str) -> str | None:
    """What else stands in a word that states a unit; None for a word that states none."""
    return _rest_of(word) if len(word) <= WORD_LONGEST else None


@lru_cache(maxsize=1024)
def _rest_of(word: str) -> str | None:
    if plain(word) in _PERHAPS or _SWITCH.fullmatch(plain(word)):
        return ANY
    found = _UNIT_WORD.fullmatch(plain(word))
    return None if found is None else found[1] + found[2]


def any_states_unit(words: tuple[str, ...]) -> bool:
    """Whether one of these words states a unit."""
    return _any_states(words) if len(words) < 17 and sum(map(len, words)) < 257 else _any_of(words)


@lru_cache(maxsize=256)
def _any_states(words: tuple[str, ...]) -> bool:
    return _any_of(words)  # a device sends the same words each time


def _any_of(words: tuple[str, ...]) -> bool:
    return any(rest_of(word) is not None for word in words)


def units_of(named: Iterable[tuple[str, object]], words: Words) -> Units:
    """The units that these fields state, by quantity."""
    found: Units = {}
    for word, value in named:
        rest = rest_of(word)
        if rest is not None and value is not None and value != "":
            for kind, text in _stated(rest, _switched(word, value), words):
                found[kind] = (*found.get(kind, ()), text)
    return found


def _switched(word: str, value: object) -> object:
    """``"fahrenheit": true`` as the unit it means; what only looks like a unit's word as nothing."""
    switch = _SWITCH.fullmatch(plain(word))
    if switch and type(value) is bool:
        return "degF" if (unit_named(switch[1]) == "degF") is value else "degC"
    loose = switch or plain(word) in _PERHAPS
    return None if loose and not (type(value) is str and unit_named(value)) else value


def _stated(rest: str, value: object, words: Words) -> Iterable[tuple[str, str]]:
    if is_table(value):
        for word, text in value.items():
            yield from _of(plain(word), text, words)
    elif rest:
        yield from _of(rest, value, words)
    elif type(value) is str and number(value) is None:  # a number is no unit: devices count channels so
        unit = unit_named(value)
        yield (UNITS[unit][0] if unit else ANY, value)
    elif type(value) is list:
        for each in value:
            yield from _stated(rest, each, words) if type(each) is str else ()


def is_table(value: object) -> TypeGuard[Mapping[str, str]]:
    """Is it an object of units: ``{"temperature": "F", "humidity": "%"}``? An outdoor unit is none."""
    return type(value) is dict and all(
        type(each) is str and (number(each) is None or each == "1") for each in value.values()
    )


def _of(word: str, value: object, words: Words) -> Iterable[tuple[str, str]]:
    """What is stated for the quantity of this word; nothing where it is no quantity of ours."""
    if word in words.kinds and type(value) is not dict:
        yield words.kinds[word], value if type(value) is str else repr(value)


def joined(one: Units, other: Units) -> Units:
    """What both state."""
    return {kind: (*one.get(kind, ()), *other.get(kind, ())) for kind in one | other}


def with_units(named: Iterable[tuple[str, object]], units: Units, words: Words) -> list[tuple[str, object]]:
    """The fields, each quantity with the units that are stated for it."""
    return list(named) if not units else [(word, _with(word, value, units, words)) for word, value in named]


def _with(word: str, value: object, units: Units, words: Words) -> object:
    if value is None or value == "" or type(value) is Stated:
        return value
    meant = words.meant(word)
    said = units_for(meant.kind, units) if meant is not None and meant.kind in QUANTITIES else ()
    return Stated(value, said) if said else value


def units_for(kind: str, units: Units) -> tuple[str, ...]:
    """What is stated for a quantity, by its name and for all."""
    return (*units.get(kind, ()), *units.get(ANY, ()))
