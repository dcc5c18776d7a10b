"""What every document is made of: a base, a moment, a sentence, and the words that describe a key.

Theory of operation: each answer has one definition, a :class:`Shape` in the module of its name. It is printed as
JSON, published, given to the screen and described by the schema. The function beside it makes it from values of
the inner rooms, whose units it turns into those of the keys. Nothing heavy is imported when a document is.
"""

import json
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, SupportsFloat, overload

from msgspec import Meta, Struct, to_builtins

from curewatch.clock import iso_utc, utc_from_iso
from curewatch.phrases import Phrase, Said, numbers_of, words_of

if TYPE_CHECKING:
    from curewatch.wording import Wording

Utc = Annotated[str, Meta(extra_json_schema={"format": "date-time"})]  # ISO 8601, UTC


class Shape(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A document, or a part of one; a key that is :data:`msgspec.UNSET` is left out."""


def says(text: str) -> Meta:
    """What a key means, for the schema."""
    return Meta(description=text)


class SentenceDocument(Shape, frozen=True, kw_only=True):
    """Something said: the text as it stands, and the same with its numbers open, to be worded in other units."""

    text: Annotated[str, says("In degC (differences too), grams and 24 hours at the shed")]
    words: Annotated[str, says("The text with its numbers left open: {name:quantity}, or {name} for text")]
    numbers: Annotated[
        dict[str, float | str],
        says("What stands in the open places: K, kg, fractions, s, UTC seconds; text as it is"),
    ]

    def filled(self, fill: Callable[[str, float], str]) -> str:
        """The sentence with its numbers worded by ``fill``: what :meth:`Wording.say` asks of it."""
        return Phrase(self.words, self.numbers).filled(fill)


def sentence(said: Said, words: "Wording", at: float | None = None) -> SentenceDocument:
    """What was said, as a part of a document; ``at`` is the moment of saying. [UTC s]"""
    return SentenceDocument(text=words.say(said, at), words=words_of(said), numbers=dict(numbers_of(said)))


def sentence_or_none(said: Said, words: "Wording", at: float | None = None) -> SentenceDocument | None:
    """The same; ``None`` where nothing was said."""
    return sentence(said, words, at) if said else None


class BandDocument(Shape, frozen=True, kw_only=True):
    """Early, likely and late; null where it does not come to that."""

    early: Annotated[float | None, says("Early edge")]
    likely: Annotated[float | None, says("The middle")]
    late: Annotated[float | None, says("Late edge")]


def band(early: SupportsFloat, likely: SupportsFloat, late: SupportsFloat, decimals: int = 1) -> BandDocument:
    """Three times or values as a part of a document; what is not finite is null."""
    return BandDocument(
        early=number(early, decimals), likely=number(likely, decimals), late=number(late, decimals)
    )


def number(value: SupportsFloat | None, decimals: int = 1) -> float | None:
    """A number as a document holds it; ``None`` for what is not known or not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0


def celsius(kelvin: SupportsFloat, decimals: int = 2) -> float:
    """A temperature as a document holds it. [K] -> [degC]"""
    from curewatch.units import celsius_from_kelvin

    return round(celsius_from_kelvin(float(kelvin)), decimals) + 0.0


def percent(fraction: SupportsFloat, decimals: int = 2) -> float:
    """A fraction as a document holds it. [1] -> [%]"""
    return round(100.0 * float(fraction), decimals) + 0.0


def stamp(utc: float | None) -> str | None:
    """A moment as a document holds it; ``None`` for what does not come. [UTC s]"""
    return None if utc is None or not math.isfinite(utc) else iso_utc(utc)


@overload
def moment(text: str) -> float: ...


@overload
def moment(text: None) -> None: ...


def moment(text: str | None) -> float | None:
    """The way back from :func:`stamp`, for a screen. [UTC s]"""
    return None if text is None else utc_from_iso(text)


def plain(document: Any) -> Any:
    """A document as dicts, lists and numbers: what a store or a broker takes."""
    return to_builtins(document)


def as_json(document: Any, *, one_line: bool = True) -> str:
    """A document as JSON, ASCII only.

    Raises
    ------
    ValueError
        It holds a number that is not finite.
    """
    return json.dumps(to_builtins(document), allow_nan=False, indent=None if one_line else 2)


def code(words: str) -> Any:
    """A stable word to program by: no blanks, no apostrophes, no capitals (``wash and abrade`` -> ``wash-and-abrade``)."""
    return words.lower().replace("'", "").replace(" ", "-")


SPOKEN = {
    "users-own": "user's own",
    "from-memory": "usual",
    "common-practice": "usual",
    "datasheet": "maker's sheet",
    "sheet": "maker's sheet",
}  # what does not come back by itself


def spoken(code_of_it: str) -> str:
    """A stable word as a person reads it."""
    return SPOKEN.get(code_of_it, code_of_it.replace("-", " "))
