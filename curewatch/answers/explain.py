"""The document of `explain`: a term of the trade, or the names of all terms."""

from collections.abc import Iterable, Mapping
from typing import Annotated, Any

from msgspec import field

from curewatch.answers.document import Shape, says


class TermDocument(Shape, frozen=True, kw_only=True):
    """One term of the trade."""

    term: Annotated[str, says("Term")]
    also: Annotated[list[str], says("Other words for it")]
    says: Annotated[list[str], says("Sentences")]
    caution: Annotated[str, says("Caution")]
    source: Annotated[str, says("Source")]
    tag: Annotated[str, says("Kind of source")]
    see: Annotated[list[str], says("Terms near it")]
    try_: Annotated[str, says("A command to try")] = field(name="try")


class TermListDocument(Shape, frozen=True, kw_only=True):
    """Without a term: all of them."""

    terms: Annotated[list[str], says("Names, in the order of the alphabet")]


def term_document(name: str, told: Mapping[str, Any]) -> TermDocument:
    """A term as the file of terms tells it."""
    return TermDocument(
        term=name,
        also=list(told["also"]),
        says=list(told["says"]),
        caution=told["caution"],
        source=told["source"],
        tag=told["tag"],
        see=list(told["see"]),
        try_=told["try"],
    )


def term_list_document(names: Iterable[str]) -> TermListDocument:
    return TermListDocument(terms=list(names))
