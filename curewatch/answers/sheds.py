"""The document of `sheds`: one line a shed, worst first."""

from collections.abc import Iterable, Sequence
from typing import Annotated, Literal

from curewatch.answers.alerts import AlertDocument
from curewatch.answers.deadlines import next_deadline
from curewatch.answers.document import SentenceDocument, Shape, Utc, says, sentence
from curewatch.answers.layer import RunningLayerDocument
from curewatch.answers.tonight import TonightDocument
from curewatch.answers.watch import WatchDocument
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.phrases import Said
from curewatch.wording import Wording

ShedVerdict = Literal["go", "no-go", "unknown"]
WORST_FIRST = ("unknown", "no-go", "go")  # behind those that ring


class ShedDeadlineDocument(Shape, frozen=True, kw_only=True):
    """The next moment that somebody must act on."""

    due: Annotated[Utc, says("When (ISO 8601, UTC)")]
    text: Annotated[str, says("What, such as: laminate again before")]
    layer: Annotated[str, says("Layer, job and part")]


class ShedLineDocument(Shape, frozen=True, kw_only=True):
    """One shed in a line."""

    shed: Annotated[str, says("Its name in the configuration, for --shed; empty where there is one shed")]
    name: Annotated[str, says("Its own name")]
    boat: Annotated[str, says("Its name, or empty")]
    verdict: Annotated[ShedVerdict, says("For a start now; unknown where it could not be looked at")]
    reason: Annotated[SentenceDocument, says("Why")]
    ringing: Annotated[int, says("Alerts that nobody has acknowledged")]
    deadline: Annotated[ShedDeadlineDocument | None, says("The next one of its running layers")]


class ShedsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch sheds`."""

    at: Annotated[Utc, says("When they were looked at (ISO 8601, UTC)")]
    sheds: Annotated[list[ShedLineDocument], says("Worst first: those that ring, unknown, no-go, go")]


def shed_line(label: str, state: WatchDocument, words: Wording) -> ShedLineDocument:
    """One shed's line, from all that its board shows."""
    now = utc_from_iso(state.at)
    of = state.advice, state.alerts, state.running
    return line_of(label, *of, name=state.shed, boat=state.boat, now=now, words=words)


def line_of(
    label: str,
    advice: TonightDocument | None,
    alerts: Iterable[AlertDocument],
    running: list[RunningLayerDocument],
    *,
    name: str,
    boat: str,
    now: float,
    words: Wording,
) -> ShedLineDocument:
    """One shed's line from what a look said. [UTC s]"""
    due = next_deadline(running, now)
    return ShedLineDocument(
        shed=label,
        name=name,
        boat=boat,
        verdict="unknown" if advice is None else advice.verdict,
        reason=sentence("no answer yet", words, now) if advice is None else advice.headline,
        ringing=sum(alert.acknowledged is None for alert in alerts),
        deadline=None
        if due is None
        else ShedDeadlineDocument(due=iso_utc(due.due), text=due.text, layer=due.layer),
    )


def unseen_shed(label: str, name: str, boat: str, reason: Said, words: Wording) -> ShedLineDocument:
    """The line of a shed that cannot be looked at: never go."""
    return ShedLineDocument(
        shed=label,
        name=name,
        boat=boat,
        verdict="unknown",
        reason=sentence(reason, words),
        ringing=0,
        deadline=None,
    )


def sheds_document(lines: Iterable[ShedLineDocument], now: float) -> ShedsDocument:
    """All sheds, worst first; of equal ones the one with the next deadline. [UTC s]"""
    return ShedsDocument(at=iso_utc(now), sheds=sorted(lines, key=_place))


def _place(line: ShedLineDocument) -> tuple[bool, int, str]:
    due = line.deadline.due if line.deadline else "9999"
    return line.ringing == 0, WORST_FIRST.index(line.verdict), due


def counted(sheds: Sequence[ShedLineDocument]) -> str:
    """How many there are, and of each verdict."""
    ringing = sum(line.ringing > 0 for line in sheds)
    counts = {
        verdict: sum(line.verdict == verdict for line in sheds) for verdict in ("unknown", "no-go", "go")
    }
    parts = [f"{ringing} with alerts"] if ringing else []
    parts += [f"{count} {verdict}" for verdict, count in counts.items() if count]
    return f"{len(sheds)} {'shed' if len(sheds) == 1 else 'sheds'}: {', '.join(parts)}"
