"""The document of `windows`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says


class WindowsWindowDocument(Shape, frozen=True, kw_only=True):
    """One of the ``window`` of windows."""

    first: Annotated[Utc, says("First start (ISO 8601, UTC)")]
    last: Annotated[Utc, says("Last start (ISO 8601, UTC)")]
    best: Annotated[Utc, says("Likeliest start (ISO 8601, UTC)")]


class WindowsStartDocument(Shape, frozen=True, kw_only=True):
    """One start."""

    start: Annotated[Utc, says("When the work begins (ISO 8601, UTC)")]
    probability: Annotated[float, says("Share of the paths on which all checks hold")]
    next_layer: Annotated[
        float, says("Share on which the next layer also fits into its window within the working hours")
    ]
    laminate_from: Annotated[Utc | None, says("From when the next layer may go on (ISO 8601, UTC)")]
    laminate_before: Annotated[Utc | None, says("Until when it surely still bonds (ISO 8601, UTC)")]
    set: Annotated[Utc | None, says("Tack-free, at the latest likely (ISO 8601, UTC)")]
    limited_by: Annotated[str | None, says("The check that spoils it")]


class WindowsResinDocument(Shape, frozen=True, kw_only=True):
    """One of the ``system`` of windows."""

    resin: Annotated[str, says("Name")]
    resin_title: Annotated[str, says("Title")]
    needed: Annotated[float, says("Likelihood from which a start is a go")]
    windows: Annotated[list[WindowsWindowDocument], says("Unbroken runs of starts that are a go")]
    starts: Annotated[list[WindowsStartDocument], says("Every quarter of an hour")]


class WindowsAnswerDocument(Shape, frozen=True, kw_only=True):
    """What can be told."""

    verdict: Annotated[Literal["go", "no-go"], says("Whether there is a window")]
    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    basis: Annotated[str, says("What the coming hours rest on")]
    resins: Annotated[list[WindowsResinDocument], says("One for each resin system")]


class WindowsAnswer2Document(Shape, frozen=True, kw_only=True):
    """Nothing can be told."""

    verdict: Annotated[Literal["unknown"], says("Unknown")]
    remedies: Annotated[list[str], says("What to do")]
