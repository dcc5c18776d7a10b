"""Fields of a form: what is asked of a person, and what the typed text means.

A terminal and the page ask the same.
A refusal says what was typed, what is allowed, and shows one that works.
"""

import re
from collections.abc import Callable
from typing import Any

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.wording import Wording, number_of


def _as_text(value: Any, _: Wording) -> str:
    return str(value)


class Field(Struct, frozen=True):
    """One thing a command wants to know."""

    key: str  # in the entry's payload
    question: str  # as a question and as the option's help
    read: Callable[[str, str], Any]  # (typed text, option) -> value; raises UsageError
    needed: bool = False
    carried: bool = False  # an option left out takes the last entry's value, not only the question
    say: Callable[[Any, Wording], str] = _as_text  # a value as this person would type it
    name: str = ""  # of the option, where the payload's key is not the word for it
    many: bool = False  # the option may be repeated; read as one text, parted by commas
    asked: bool = True  # in the form too; else an option only
    bare: Callable[[str, str, Wording], Any] | None = (
        None  # reads it where a bare number has this person's unit
    )

    @property
    def option(self) -> str:
        return "--" + (self.name or self.key.replace("_", "-"))

    def value(self, text: str, words: Wording, where: str = "") -> Any:
        """What a text means to this person; raises UsageError, which names ``where`` it was typed."""
        asked = where or self.option
        return self.read(text, asked) if self.bare is None else self.bare(text, asked, words)


def words(text: str, option: str) -> str:
    """Free words on one line.

    Raises
    ------
    UsageError
        More than 2,000 characters.
    """
    said = " ".join(text.split())
    if len(said) > 2000:
        raise UsageError(f"{option}: found {len(said)} characters. Use at most 2000, or several notes")
    return said


def one_of(*allowed: str) -> Callable[[str, str], str]:
    """A reader that takes one of these words, or the begin of just one of them."""

    def read(text: str, option: str) -> str:
        said = text.strip().lower()
        near = [word for word in allowed if word.startswith(said)] if said else []
        if said in allowed or len(near) == 1:
            return said if said in allowed else near[0]
        raise UsageError(f"{option}: found {text!r}. Use {', '.join(allowed)}")

    return read


def listed(text: str, option: str) -> list[str]:
    """Words parted by commas; UsageError where there are too many characters."""
    return [part.strip() for part in words(text, option).split(",") if part.strip()]


def joined(several: Any, _: Wording) -> str:
    """Several words as they are typed."""
    return ", ".join(several)


_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}  # inch and foot by definition
_SPELT = {'"': "in", "inch": "in", "inches": "in", "'": "ft", "feet": "ft"}
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_LENGTH = re.compile(rf"(?:({_NUMBER})|(?:(\d+)[ -])?(\d+)/(\d+))\s*(mm|cm|m|in|inch|inches|\"|ft|feet|')?")


def length_from_text(text: str, option: str = "--length") -> float:
    """Metres from ``80 mm``, ``0,4 m``, ``3/8 in``, ``1 1/2 in``; a bare number is millimetres.

    Raises
    ------
    UsageError
        It is not a length, or may be two.
    """
    given = _LENGTH.fullmatch(text.strip().lower())
    if not given or given[4] == "0" or (given[4] and not given[5]):
        raise UsageError(f"{option}: found {text!r}, no length. Use 80 mm, 8 cm, 0.4 m or 3/8 in")
    unit = _SPELT.get(given[5], given[5]) or "mm"
    if given[1]:
        return number_of(given[1], text, option, "," if unit == "mm" else "") * _METRES[unit]
    return (int(given[2] or 0) + int(given[3]) / int(given[4])) * _METRES[unit]


def length_between(lowest: float, highest: float) -> Callable[[str, str], float]:
    """A reader of a length between two. [m]"""

    def read(text: str, option: str) -> float:
        found = length_from_text(text, option)
        if not lowest <= found <= highest:
            raise UsageError(f"{option}: found {text!r}. Use {1e3 * lowest:g} to {1e3 * highest:g} mm")
        return found

    return read


laminate_from_text = length_between(1e-4, 0.1)  # what is rebuilt by hand [m]


def millimetres(metre: Any, _: Wording) -> str:
    """A length as it is typed."""
    return f"{float(metre) * 1000:g}"


BY = Field("by", "Who", words, carried=True)
