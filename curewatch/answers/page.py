"""The documents of the page for phones: what its script shows, what came of a press, the tokens."""

from collections.abc import Iterable, Mapping
from typing import Annotated, Literal

from curewatch.answers.document import SentenceDocument, Shape, Utc, says
from curewatch.clock import iso_utc
from curewatch.phrases import Said
from curewatch.wording import Sayable, Wording

PageSection = Literal["todo", "deadline", "alerts", "layers", "coming", "chart", "readings", "sheds"]


class PagePartDocument(Shape, frozen=True, kw_only=True):
    """One part of a job."""

    part: Annotated[str, says("Its name")]
    layer: Annotated[SentenceDocument | None, says("The layer that the keys speak of")]


class PageJobDocument(Shape, frozen=True, kw_only=True):
    """An open job."""

    job: Annotated[str, says("Its name: J1")]
    title: Annotated[str, says("Its title")]
    parts: Annotated[list[PagePartDocument], says("Its parts, the last one first")]
    told: Annotated[list[SentenceDocument], says("What was told last, the newest first")]


class PageQuestionDocument(Shape, frozen=True, kw_only=True):
    """What is asked when a job is opened."""

    key: Annotated[str, says("Under which the answer is given")]
    question: Annotated[str, says("The question")]
    usual: Annotated[str, says("What holds where it is left empty")]
    needed: Annotated[bool, says("It cannot be left out")]


class PageLookDocument(Shape, frozen=True, kw_only=True):
    """Everything that a phone shows."""

    at: Annotated[Utc, says("When it was asked (ISO 8601, UTC): what the phone's clock is compared with")]
    looked: Annotated[Utc, says("When the shed was looked at (ISO 8601, UTC); of several, the first of them")]
    time: Annotated[str, says("`at` by the clock at the shed")]
    verdict: Annotated[Literal["go", "no-go", "unknown"], says("For a start now; of several sheds the worst")]
    reason: Annotated[str, says("Why, in one sentence")]
    shed: Annotated[str, says("Its name, and the boat's")]
    writes: Annotated[bool, says("Whether this phone may tell something")]
    several: Annotated[bool, says("Whether there are other sheds beside it")]
    ringing: Annotated[int, says("Alerts that nobody has acknowledged")]
    sections: Annotated[
        dict[PageSection, str], says("What stands below the verdict: HTML, drawn and escaped")
    ]
    jobs: Annotated[list[PageJobDocument], says("The open jobs; none where it may not tell")]
    opening: Annotated[list[PageQuestionDocument], says("What opens a job; none where it may not tell")]


class PageToldDocument(Shape, frozen=True, kw_only=True):
    """What came of something told: a line, or a question first."""

    said: Annotated[str | None, says("What was done; null where a question comes first")]
    question: Annotated[str | None, says("What must be answered before it is written; else null")]
    job: Annotated[str | None, says("The job that was opened; else null")]
    number: Annotated[int | None, says("The entry that can be undone; else null")]
    undo_s: Annotated[int | None, says("For how long it can be undone; null where nothing can be")]


class PageRejectedDocument(Shape, frozen=True, kw_only=True):
    """Why nothing came of it."""

    rejected: Annotated[str, says("What was found, and what to do")]


def page_look_document(
    at: float,
    looked: float,
    words: Wording,
    *,
    verdict: Literal["go", "no-go", "unknown"],
    reason: Said | Sayable,
    shed: str,
    several: bool,
    ringing: int,
    sections: Mapping[PageSection, str],
    writes: bool = False,
    jobs: Iterable[PageJobDocument] = (),
    opening: Iterable[PageQuestionDocument] = (),
) -> PageLookDocument:
    """What a phone shows, worded for the house; who may not write is told of no job. [UTC s]"""
    return PageLookDocument(
        at=iso_utc(at),
        looked=iso_utc(looked),
        time=words.time(at),
        verdict=verdict,
        reason=words.say(reason, at),
        shed=shed,
        writes=writes,
        several=several,
        ringing=ringing,
        sections=dict(sections),
        jobs=list(jobs) if writes else [],
        opening=list(opening) if writes else [],
    )


def page_told_document(
    said: str | None = None,
    *,
    question: str | None = None,
    job: str | None = None,
    number: int | None = None,
    undo_s: int | None = None,
) -> PageToldDocument:
    """What came of it; what is not given is null."""
    return PageToldDocument(said=said, question=question, job=job, number=number, undo_s=undo_s)


class PageTokenDocument(Shape, frozen=True, kw_only=True):
    """One token for the page, without its secret."""

    number: Annotated[int, says("What --revoke takes")]
    kind: Annotated[Literal["view", "write", "calendar"], says("What it allows")]
    name: Annotated[str, says("Whose it is, or empty")]
    made: Annotated[Utc, says("When it was made (ISO 8601, UTC)")]


class PageDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch page`."""

    made: Annotated[PageTokenDocument | None, says("The token that was made now; null where none was")]
    address: Annotated[str | None, says("What a phone opens once, the token in it; null where none was made")]
    revoked: Annotated[PageTokenDocument | None, says("The token that was taken back now")]
    tokens: Annotated[list[PageTokenDocument], says("Every token there is")]
    warning: Annotated[str, says("Who can read along, or empty")]
