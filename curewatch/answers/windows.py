"""The document of `windows`: every start of the coming days with each resin, and the runs of starts that are a go."""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import SentenceDocument, Shape, Utc, moment, number, says, sentence, stamp
from curewatch.answers.parts import FaceBelowDocument, face_below_part, layer_mm, layer_on
from curewatch.wording import Wording, sure_window

if TYPE_CHECKING:
    from curewatch.advice.judge.question import Question
    from curewatch.advice.plan.windows import GoWindow, Strip
    from curewatch.phrases import Said

UNSEEN = {  # what is said where no starts are looked at, by the verdict
    "unknown": "UNKNOWN: no window can be told from these readings",
    "no-go": "NO-GO: not on what lies below, whenever it is laid",
}


class WindowDocument(Shape, frozen=True, kw_only=True):
    """An unbroken run of starts that are a go, and the best of them."""

    start: Annotated[Utc, says("First start (ISO 8601, UTC)")]
    end: Annotated[Utc, says("Last start (ISO 8601, UTC)")]
    best: Annotated[Utc, says("Best start (ISO 8601, UTC)")]
    probability: Annotated[float, says("That every check holds from the best start, 0 to 1")]
    laminate_from: Annotated[
        Utc | None, says("From when the next layer may go on, after the best start (ISO 8601, UTC)")
    ]
    laminate_before: Annotated[Utc | None, says("Until when it surely still bonds (ISO 8601, UTC)")]
    best_warms: Annotated[bool, says("A first coat: timber or foam below warms after the best start")]


def next_layer(window: WindowDocument, words: Wording, now: float) -> str:
    """When the next layer may go on after the best start; empty where no end of it is foreseen. [UTC s]"""
    opens, closes = moment(window.laminate_from), moment(window.laminate_before)
    if closes is None:
        return ""
    begin = words.foreseen(opens, now)
    if not sure_window(opens, closes):
        return f"next layer from {begin}; no sure window: plan to abrade"
    return f"next layer {begin} to {words.foreseen(closes, now, math.floor)}"


class StartDocument(Shape, frozen=True, kw_only=True):
    """One start."""

    start: Annotated[Utc, says("When the work begins (ISO 8601, UTC)")]
    verdict: Annotated[
        Literal["go", "doubtful", "no-go"], says("Doubtful: about even or better, and not a go")
    ]
    probability: Annotated[float, says("That every check holds until it sets, 0 to 1")]
    next_layer_fits: Annotated[
        bool, says("The next layer, too, likely fits into its window and the working hours")
    ]
    next_layer_probability: Annotated[float, says("That it does, 0 to 1")]
    laminate_from: Annotated[Utc | None, says("From when the next layer may go on (ISO 8601, UTC)")]
    laminate_before: Annotated[Utc | None, says("Until when it surely still bonds (ISO 8601, UTC)")]
    tack_free: Annotated[Utc | None, says("When it is likely tack-free (ISO 8601, UTC)")]
    warms: Annotated[bool, says("A first coat: timber or foam below warms until gel, and breathes out")]
    limited_by: Annotated[str | None, says("The check that spoils it; null for a go")]


class WindowsResinDocument(Shape, frozen=True, kw_only=True):
    """The starts with one resin system."""

    resin: Annotated[str, says("Name")]
    resin_title: Annotated[str, says("Title")]
    needed_probability: Annotated[float, says("From which a start is a go, 0 to 1")]
    layer_mm: Annotated[float | None, says("Thickness of the layer that the times are for")]
    layer_on: Annotated[str, says("What that layer lies on, or empty")]
    windows: Annotated[list[WindowDocument], says("Runs of starts that are a go, in their order")]
    starts: Annotated[list[StartDocument], says("Every start")]
    below: Annotated[FaceBelowDocument, says("The face that is laid on")]


class WindowsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch windows`."""

    verdict: Annotated[Literal["go", "no-go", "unknown"], says("Whether there is a window")]
    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    every_min: Annotated[float, says("Between two starts")]
    ahead_h: Annotated[float, says("How far starts are looked at")]
    basis: Annotated[str, says("What the coming hours rest on; empty where that is not known")]
    remedies: Annotated[list[SentenceDocument], says("Where no starts are looked at: why, and what to do")]
    resins: Annotated[
        list[WindowsResinDocument], says("One for each resin system; empty where nothing is known")
    ]


def windows_document(strips: "Sequence[Strip]", now: float, basis: str) -> WindowsDocument:
    """The starts with each resin as a document."""
    found = any(one.windows for one in strips)
    starts = strips[0].starts.start[:2].tolist()
    every = starts[1] - starts[0] if len(starts) > 1 else None
    return _document("go" if found else "no-go", now, basis, every, resins=[_resin(one) for one in strips])


def unseen_windows(
    asked: "Iterable[Question]", doubts: "Iterable[Said]", now: float, words: Wording
) -> WindowsDocument:
    """The document where no coming hours are known: what to do about it.

    No-go where no resin may lie on its face below, which no reading mends; else unknown.
    """
    from curewatch.advice.judge import ground

    wrong = [ground.wrong(one.resin, one.ground) for one in asked]
    verdict: Literal["no-go", "unknown"] = "no-go" if all(wrong) else "unknown"
    told = dict.fromkeys(said for each in wrong for said in each) if all(wrong) else doubts
    return _document(verdict, now, "", remedies=[sentence(said, words, now) for said in told])


def _document(
    verdict: Literal["go", "no-go", "unknown"],
    now: float,
    basis: str,
    every: float | None = None,
    *,
    remedies: Sequence[SentenceDocument] = (),
    resins: Sequence[WindowsResinDocument] = (),
) -> WindowsDocument:
    from curewatch.advice.plan.windows import AHEAD, EVERY
    from curewatch.units import hour_from_second, minute_from_second

    return WindowsDocument(
        verdict=verdict,
        at=stamp(now) or "",
        every_min=minute_from_second(EVERY if every is None else every),
        ahead_h=hour_from_second(AHEAD),
        basis=basis,
        remedies=list(remedies),
        resins=list(resins),
    )


def _resin(one: "Strip") -> WindowsResinDocument:
    return WindowsResinDocument(
        resin=one.resin,
        resin_title=one.title,
        needed_probability=one.needed,
        layer_mm=layer_mm(one.buildup),
        layer_on=layer_on(one.buildup),
        windows=[_window(one, window) for window in one.windows],
        starts=list(_starts(one)),
        below=face_below_part(one.below),
    )


def _window(one: "Strip", window: "GoWindow") -> WindowDocument:
    starts, best = one.starts, window.best
    return WindowDocument(
        start=stamp(float(starts.start[window.first])) or "",
        end=stamp(float(starts.start[window.last])) or "",
        best=stamp(float(starts.start[best])) or "",
        probability=number(starts.probability[best], 3) or 0.0,
        laminate_from=stamp(float(starts.laminate_from[best])),
        laminate_before=stamp(float(starts.laminate_before[best])),
        best_warms=best in one.warms,
    )


def _starts(one: "Strip") -> Iterator[StartDocument]:
    from curewatch.advice.plan.windows import MAYBE

    shown = one.starts[:6]  # firm and ready to sand are for plans
    columns = zip(*(column.tolist() for column in shown), one.limiting, strict=True)
    for place, (start, probability, following, opens, closes, done, limiting) in enumerate(columns):
        go = probability >= one.needed
        yield StartDocument(
            start=stamp(start) or "",
            verdict="go" if go else "doubtful" if probability >= MAYBE else "no-go",
            probability=round(probability, 3),
            next_layer_fits=go and following >= one.needed,
            next_layer_probability=round(following, 3),
            laminate_from=stamp(opens),
            laminate_before=stamp(closes),
            tack_free=stamp(done),
            warms=place in one.warms,
            limited_by=None if go else limiting,
        )
