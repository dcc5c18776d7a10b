"""The document of `tonight`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.parts import CheckDocument, LeverDocument, TimelineDocument


class TonightDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch tonight`; the same document is published on MQTT as PREFIX/advice."""

    verdict: Annotated[Literal["go", "no-go", "unknown"], says("The answer; unknown is never go")]
    headline: Annotated[str, says("The answer in a line")]
    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    start: Annotated[Utc, says("The start it speaks of (ISO 8601, UTC)")]
    resin: Annotated[str, says("Name of the resin system")]
    resin_title: Annotated[str, says("Its title")]
    peroxide_percent: Annotated[float | None, says("Dose, per cent by mass of resin; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    probability: Annotated[float | None, says("Share of the paths on which all checks hold at once")]
    checks: Annotated[list[CheckDocument], says("Every check")]
    timeline: Annotated[list[TimelineDocument], says("When what happens")]
    blush: Annotated[
        Literal["none", "peel ply", "wash and abrade", "unknown"], says("Amine blush: what it will take")
    ]
    blush_why: Annotated[str, says("Why, or empty")]
    remedies: Annotated[list[str], says("What to do so that unknown becomes known")]
    levers: Annotated[
        list[LeverDocument], says("What turns the answer: the smallest changes, the least effort first")
    ]
    needed_besides: Annotated[list[str], says("What is needed whatever turns the answer, such as peel ply")]
    cautions: Annotated[list[str], says("What to mind")]
    basis: Annotated[str, says("What the coming hours rest on")]
