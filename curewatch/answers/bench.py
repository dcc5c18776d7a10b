"""What the page of keys shows: the job and part, the keys, the last press, a question, what rings."""

from typing import Annotated

from curewatch.answers.document import SentenceDocument, Shape, Utc, says


class BenchKeyDocument(Shape, frozen=True, kw_only=True):
    """One large key."""

    press: Annotated[str, says("What is typed: 1 to 9")]
    label: Annotated[str, says("What it tells, or what is chosen with it")]


class BenchDocument(Shape, frozen=True, kw_only=True):
    """The page of keys, as a terminal or a browser draws it."""

    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    job: Annotated[str, says("Name and title of the job, or empty while it is chosen")]
    part: Annotated[str, says("Part of the work, or empty while it is chosen")]
    layer: Annotated[SentenceDocument | None, says("The layer that the keys speak of")]
    alert: Annotated[SentenceDocument | None, says("The newest alert that nobody acknowledged")]
    stock: Annotated[SentenceDocument | None, says("What is left in the tins, where it was counted")]
    keys: Annotated[list[BenchKeyDocument], says("The keys, in their order")]
    asks: Annotated[str, says("What is to be chosen or written, or empty")]
    written: Annotated[str | None, says("What was typed so far, where words are asked for")]
    line: Annotated[str, says("What came of the last press, or empty")]
    question: Annotated[str, says("What must be answered with y or n, or empty")]
    undo_s: Annotated[int | None, says("How long the last press can still be undone")]
