"""Sentences with their numbers left open: written where something is known, worded where it is read.

Theory of operation: whoever knows that a surface stands 1.7 K above the dew point does not know whether
it will be read in kelvin or in degrees Fahrenheit, at what hour, and on which clock. So a sentence travels
and is stored as words with open places, ``surface {margin:difference} above dew point``, beside its
numbers in SI and UTC seconds; :class:`curewatch.wording.Wording` fills the places for its reader. What has
no number in it stays a plain ``str``.

Law: a place names its number and the kind of quantity it is; text from outside is a value, never a part of
the words, so it can open no place.
"""

from collections.abc import Callable, Iterator, Mapping
from string import Formatter
from typing import Any, TypeAlias

from msgspec import Struct, field

Value: TypeAlias = float | str
Fill = Callable[[str, float], str]  # kind of quantity, its value -> words


class Phrase(Struct, frozen=True):
    """Words with open places ``{name:quantity}``, or ``{name}`` for text, and what stands in them."""

    words: str
    numbers: Mapping[str, Value] = field(default_factory=dict)

    def filled(self, fill: Fill) -> str:
        """The sentence, its numbers worded by ``fill``."""
        return "".join(
            literal + ("" if name is None else _placed(self.numbers[name], quantity or "", fill))
            for literal, name, quantity, _ in Formatter().parse(self.words)
        )


Said: TypeAlias = str | Phrase


def phrase(words: str, **values: "Said | float") -> Phrase:
    """A phrase; one that stands in a place of another brings its own numbers along.

    Raises
    ------
    KeyError
        A place without a value.
    ValueError
        Two phrases in one use the same name for two numbers.
    """
    numbers: dict[str, Value] = {}
    written = []
    for literal, name, quantity, _ in Formatter().parse(words):
        written.append(_braced(literal))
        if name is None:
            continue
        value = values[name]
        if isinstance(value, Phrase):
            written.append(value.words)
            add(numbers, value.numbers)
        else:
            written.append(f"{{{name}:{quantity}}}" if quantity else f"{{{name}}}")
            add(numbers, {name: value})
    return Phrase("".join(written), numbers)


def add(numbers: dict[str, Value], further: Mapping[str, Value]) -> None:
    """Take up further numbers.

    Raises
    ------
    ValueError
        One name would stand for two numbers.
    """
    for name, value in further.items():
        if numbers.setdefault(name, value) != value:
            raise ValueError(f"{name!r} stands for {numbers[name]!r} and for {value!r} in one sentence")


def words_of(said: Said) -> str:
    """The words with their places open; plain text as words without any."""
    return said.words if isinstance(said, Phrase) else _braced(said)


def numbers_of(said: Said) -> Mapping[str, Value]:
    return said.numbers if isinstance(said, Phrase) else {}


def recalled(payload: Mapping[str, Any], key: str) -> Said:
    """What was said under ``key`` of a stored payload, its numbers open again if they are there.

    An entry written before numbers were kept, or by another program, gives its text as it stands.

    Raises
    ------
    KeyError
        It has no such text either.
    """
    text = str(payload[key])
    words, numbers = payload.get("words"), payload.get("numbers")
    if not isinstance(words, Mapping) or not isinstance(numbers, Mapping):
        return text
    try:
        needed = list(_places(str(words[key])))
        found = {name: numbers[name] for name, _ in needed}
    except (KeyError, ValueError):
        return text
    if not needed or not all(_fits(found[name], quantity) for name, quantity in needed):
        return text
    return Phrase(str(words[key]), found)


def _places(words: str) -> Iterator[tuple[str, str]]:
    for _, name, quantity, _ in Formatter().parse(words):
        if name is not None:
            yield name, quantity or ""


def _fits(value: object, quantity: str) -> bool:
    if not quantity:
        return isinstance(value, str)
    return isinstance(value, int | float) and not isinstance(value, bool)


def _placed(value: Value, quantity: str, fill: Fill) -> str:
    return value if isinstance(value, str) else fill(quantity, value)


def _braced(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")
