"""From the tables of a TOML file to frozen values. The first thing that is wrong is named by its place.

A table is a class of annotated keys. ``Meta`` gives a range or a pattern. A function in ``Annotated`` checks
one value, and its ValueError says what is allowed. ``__post_init__`` checks what several keys say together.
"""

from datetime import date, time
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import Meta

Place = tuple[str, ...]
T = TypeVar("T", bound="FileTable")

ONE_OR_MORE = "one or more"  # in Annotated: a text may stand alone where a list is meant
TABLE = "a table: [name] on a line of its own, keys below it"
_TABLES = "tables: [name.of-each] on a line of its own, keys below it"
_LIST = 'a list: ["…", "…"]'
_WORDS: dict[Any, str] = {
    str: "text in quotes",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    Path: "a path in quotes",
    time: "a time of day, such as 22:30:00",
    date: "a day, such as 2026-10-17",
}


_UNIONS = (Union, UnionType)


class FileTable(msgspec.Struct, frozen=True, kw_only=True):
    """One table of the file: frozen, and closed to keys it does not know."""


class Misfit(Exception):  # noqa: N818 - it becomes a ConfigurationError, with file and line
    """What stands at a place of the file is not what may stand there."""

    def __init__(self, place: Place, allowed: str) -> None:
        self.place = place
        self.allowed = allowed
        super().__init__(allowed)


class UnknownKey(Misfit):
    """A key that the table does not have."""

    def __init__(self, place: Place, known: list[str]) -> None:
        self.known = known
        super().__init__(place, ", ".join(known))


class NoKey(Misfit):
    """A key that must be given and is not; the place is where it would stand."""


class WrongName(Misfit):
    """A table's name that is not one."""


class _Kind(NamedTuple):
    base: Any
    extras: tuple[Any, ...]


@cache  # one table for each sensor: 300 of them ask alike
def keys_of(table: type[FileTable]) -> dict[str, Any]:
    """The keys of a table and what may stand at each; a name that begins with _ is not of the file."""
    hints = get_type_hints(table, include_extras=True)
    return {key: hint for key, hint in hints.items() if not key.startswith("_")}


@cache
def _required(table: type[FileTable]) -> tuple[str, ...]:
    """The keys that must be given."""
    return tuple(field.name for field in msgspec.structs.fields(table) if field.required)


def read(table: type[T], given: object, place: Place = ()) -> T:
    """The value that this table of the file gives; Misfit names the first place that does not fit."""
    if not isinstance(given, dict):
        raise Misfit(place, TABLE)
    keys = keys_of(table)
    for key in given:
        if key not in keys:
            raise UnknownKey((*place, key), list(keys))
    values = {key: _value(keys[key], found, (*place, key)) for key, found in given.items()}
    for key in _required(table):
        if key not in values:
            raise NoKey((*place, key), f"{key} = ...; it must be given")
    try:
        return table(**values)
    except ValueError as trouble:
        raise Misfit(place, str(trouble)) from trouble


def _kind(hint: Any) -> _Kind:
    """Without None (TOML has none), and with what Annotated adds."""
    extras: tuple[Any, ...] = ()
    while get_origin(hint) is Annotated or get_origin(hint) in _UNIONS:
        if get_origin(hint) is Annotated:
            hint, *more = get_args(hint)
            extras = (*more, *extras)
            continue
        kept = [each for each in get_args(hint) if each is not type(None)]
        if len(kept) > 1:
            break
        hint = kept[0]
    return _Kind(hint, extras)


def _value(hint: Any, given: object, place: Place) -> Any:
    base, extras = _kind(hint)
    if get_origin(base) in _UNIONS:  # text, or a table in its place
        base = next(each for each in get_args(base) if _is_table(each) == isinstance(given, dict))
    if _is_table(base):
        return read(base, given, place)
    if get_origin(base) is dict:
        value: Any = _tables(base, given, place)
    elif get_origin(base) is tuple:
        value = _list(base, extras, given, place)
    else:
        value = _leaf(base, extras, given, place)
    for check in extras:
        if callable(check):
            try:
                value = check(value)
            except ValueError as trouble:
                raise Misfit(place, str(trouble)) from trouble
    return value


def _is_table(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, FileTable)


def _tables(base: Any, given: object, place: Place) -> dict[str, Any]:
    of_name, of_value = get_args(base)
    if not isinstance(given, dict):
        raise Misfit(place, _TABLES)
    named: dict[str, Any] = {}
    for name, found in given.items():
        try:
            _value(of_name, name, (*place, name))
        except Misfit as trouble:
            raise WrongName(trouble.place, trouble.allowed) from trouble
        named[name] = _value(of_value, found, (*place, name))
    return named


def _list(base: Any, extras: tuple[Any, ...], given: object, place: Place) -> tuple[Any, ...]:
    if ONE_OR_MORE in extras and isinstance(given, str):
        given = [given]
    if not isinstance(given, list):
        raise Misfit(place, _LIST)
    for extra in extras:
        if isinstance(extra, Meta):
            if extra.max_length is not None and len(given) > extra.max_length:
                raise Misfit(place, f"a list of at most {extra.max_length}")
            if len(given) < (extra.min_length or 0):
                raise Misfit(place, "a list of at least one, or leave the key out")
    kind = get_args(base)[0]
    return tuple(_value(kind, found, (*place, str(index))) for index, found in enumerate(given))


def _leaf(base: Any, extras: tuple[Any, ...], given: object, place: Place) -> Any:
    ranges = tuple(extra for extra in extras if isinstance(extra, Meta))
    kind = Annotated[base, *ranges] if ranges else base
    try:
        if base is Path:
            return Path(msgspec.convert(given, str))
        return msgspec.convert(given, kind)
    except msgspec.ValidationError as trouble:
        raise Misfit(place, _allowed(base, ranges)) from trouble


def _allowed(base: Any, ranges: tuple[Meta, ...]) -> str:
    """What may stand there, in the words of whoever writes the file."""
    choices: tuple[object, ...] = get_args(base) if get_origin(base) is Literal else ()
    if isinstance(base, type) and issubclass(base, StrEnum):
        choices = tuple(map(str, base))
    if choices:
        *first, last = map(repr, choices)
        return f"{', '.join(first)} or {last}" if first else last
    words = _WORDS[base]
    for each in ranges:
        if each.description:
            return each.description
        words += "".join(
            f"{sign} {limit:,g}"
            for sign, limit in (
                (" from", each.ge),
                (" greater than", each.gt),
                (" to" if each.ge is not None else ", at most", each.le),
            )
            if limit is not None
        )
        if each.max_length is not None:
            words += f" of {each.min_length or 0} to {each.max_length} letters"
    return words
