"""What every document is made of: a base, a moment, and the words that describe a key."""

from typing import Annotated

from msgspec import Meta, Struct

Utc = Annotated[str, Meta(extra_json_schema={"format": "date-time"})]  # ISO 8601, UTC


class Shape(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A document, or a part of one; a key that is :data:`msgspec.UNSET` is left out."""


def says(text: str) -> Meta:
    """What a key means, for the schema."""
    return Meta(description=text)
