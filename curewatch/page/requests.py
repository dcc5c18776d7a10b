"""What a phone may ask to have told: bodies of requests, typed and bounded."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

Key = Literal["mixed", "laid", "peel-ply", "gelled", "tack-free", "firm", "pot-empty", "note"]
Short = Annotated[str, Meta(max_length=200)]
Number = Annotated[int, Meta(ge=1, le=2**53)]


class Press(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="do", tag="press"
):
    """A key at the bench."""

    job: Short
    part: Short
    key: Key
    id: Annotated[str, Meta(pattern=r"^[A-Za-z0-9-]{16,64}$")]  # the same press sent twice is one
    text: Annotated[str, Meta(max_length=2000)] = ""
    sure: bool = False


class Recall(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="do", tag="recall"
):
    """Whether a press was written, whose answer did not come; with no job, whether one was opened."""

    job: Short
    part: Short
    id: Annotated[str, Meta(pattern=r"^[A-Za-z0-9-]{16,64}$")]


class Undo(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="do", tag="undo"):
    """Withdraw a press."""

    job: Short
    part: Short
    number: Number


class AcknowledgeAlerts(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="do", tag="acknowledge"
):
    """Acknowledge alerts by their numbers."""

    numbers: Annotated[tuple[Number, ...], Meta(min_length=1, max_length=1000)]


class OpenJob(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="do", tag="open"
):
    """Open a job with these answers to its questions, by their keys."""

    id: Annotated[str, Meta(pattern=r"^[A-Za-z0-9-]{16,64}$")]
    answers: dict[Short, Annotated[str, Meta(max_length=2000)]]


Told = Press | Recall | Undo | AcknowledgeAlerts | OpenJob
