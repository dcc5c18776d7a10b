"""The process beside the daemon that works out what the page shows, and writes what it is told.

Theory of operation: questions come one at a time on standard input, answers go back on standard output. A
look is kept for a quarter of a minute, or until somebody writes an entry. What takes seconds is worked out
after an answer went, when nobody waits for it: the strip of the coming two days. It reads and writes the
logbook by a connection of its own, as any command does beside the daemon.
"""

import os
import pickle
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any, BinaryIO, Literal, NamedTuple

import msgspec

from curewatch.advice.plan.calendar import Appointment
from curewatch.answers.document import Shape
from curewatch.answers.gathering import coming, gather, open_metrics_of, turning
from curewatch.answers.metrics import CONTENT_TYPE
from curewatch.answers.page import PageLookDocument, PageRejectedDocument, page_look_document
from curewatch.answers.tonight import TonightDocument
from curewatch.answers.watch import WatchDocument
from curewatch.answers.windows import WindowsDocument
from curewatch.clock import Clock, SystemClock
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError, StoreFailed
from curewatch.logbook import LogbookStore
from curewatch.page import calendar, telling
from curewatch.page.drawing.whole import reason, sections
from curewatch.page.process import Unanswered, put
from curewatch.page.requests import Told
from curewatch.safe_text import safe_line
from curewatch.shed.look import Look
from curewatch.wording import Wording, wording

if TYPE_CHECKING:
    from curewatch.page.several import SeveralAnswering

LOOK_FOR = 15.0  # s that a look is kept
COMING_FOR = 600.0  # s that the strip of the coming days is kept, and what turns a no-go
NICENESS = 5  # readings come first
JSON = "application/json"


class KeptLook(NamedTuple):
    """The last look, and what it is good for."""

    document: WatchDocument
    at: float  # UTC [s]
    until: float  # monotonic [s]
    entries: int  # of the logbook when it was taken


class Answering:
    """Answers about one logbook."""

    def __init__(
        self, configuration: Configuration, logbook: LogbookStore, clock: Clock, *, several: bool = False
    ) -> None:
        self._several = several  # it is one of those behind the page
        self._configuration = configuration
        self._logbook = logbook
        self._clock = clock
        self._words: Wording = wording(configuration.zone, configured=configuration.shed.units)
        self._kept: KeptLook | None = None
        self._coming: WindowsDocument | None = None
        self._ways: TonightDocument | None = None  # with what would turn a no-go
        self._until = {"coming": float("-inf"), "ways": float("-inf")}  # monotonic [s]

    def answer(self, question: dict[str, Any]) -> dict[str, Any]:
        """Status, body and its kind."""
        match question["do"]:
            case "look":
                return as_json(self._shown(writes=question["writes"]))
            case "tell":
                return self._told(question["told"])
            case "metrics":
                now = self._clock.now().utc
                text = open_metrics_of(Look(self._logbook, self._configuration, now), now)
                return {"status": 200, "body": text.encode(), "kind": CONTENT_TYPE}
            case _:
                return calendar.answer(self.appointments(), self._clock.now().utc)

    def looked(self) -> tuple[WatchDocument, float]:
        """The last look, and when it was taken. [UTC s]"""
        kept = self._look()
        return kept.document, kept.at

    def appointments(self, shed: str = "", *, waits: bool = True) -> list[Appointment]:
        """Windows and deadlines; a calendar asks rarely, so it waits until the windows are worked out."""
        now = self._clock.now()
        if waits and now.monotonic >= self._until["coming"]:
            self._kept_for("coming")
            self._coming = coming(self._logbook, self._configuration, now.utc)
        return calendar.appointments(self._look().document, self._coming, self._words, shed)

    def close(self) -> None:
        """Close the logbook."""
        self._logbook.close()

    def afterwards(self) -> None:
        """What takes seconds, when an answer went: one thing at a time, what turns a no-go first."""
        now = self._clock.now()
        due = [name for name, until in self._until.items() if now.monotonic >= until]
        with suppress(CurewatchError):  # the next look says what is wrong
            if "ways" in due and self._kept is not None and _verdict(self._kept.document) == "no-go":
                self._kept_for("ways")
                self._ways = turning(self._logbook, self._configuration, now.utc)
            elif "coming" in due:
                self._kept_for("coming")
                self._coming = coming(self._logbook, self._configuration, now.utc)

    def _kept_for(self, name: str) -> None:
        self._until[name] = self._clock.now().monotonic + COMING_FOR

    def _look(self) -> KeptLook:
        now, entries = self._clock.now(), self._logbook.head().entries
        kept = self._kept
        if kept is None or now.monotonic >= kept.until or kept.entries != entries:
            document = gather(self._logbook, self._configuration, now.utc)
            kept = self._kept = KeptLook(document, now.utc, self._clock.now().monotonic + LOOK_FOR, entries)
        return kept

    def _shown(self, *, writes: bool) -> PageLookDocument:
        """Everything that a phone shows."""
        kept, now = self._look(), self._clock.now().utc
        verdict = _verdict(kept.document)
        if verdict != "no-go":
            self._ways, self._until["ways"] = None, float("-inf")
        place = self._place()
        return page_look_document(
            now,
            kept.at,
            self._words,
            verdict=verdict,
            reason=reason(kept.document),
            shed=safe_line(" · ".join(filter(None, (kept.document.shed, kept.document.boat)))),
            writes=writes,
            several=self._several,
            ringing=sum(each.acknowledged is None for each in kept.document.alerts),
            sections=sections(
                kept.document,
                self._coming,
                telling.numbers(self._logbook),
                self._words,
                now,
                writes=writes,
                ways=self._ways,
            ),
            jobs=telling.jobs(place) if writes else (),
            opening=telling.questions(place) if writes else (),
        )

    def _told(self, told: Told) -> dict[str, Any]:
        try:
            return as_json(telling.tell(self._place(), told))
        except StoreFailed:
            raise
        except CurewatchError as trouble:
            return as_json(PageRejectedDocument(rejected=str(trouble)), status=409)

    def _place(self) -> telling.PhonePlace:
        return telling.PhonePlace(self._logbook, self._configuration, self._words, self._clock.now().utc)


def _verdict(document: WatchDocument) -> Literal["go", "no-go", "unknown"]:
    return document.advice.verdict if document.advice else "unknown"


def as_json(body: Shape, status: int = 200) -> dict[str, Any]:
    return {"status": status, "body": msgspec.json.encode(body), "kind": JSON}


def serve() -> None:
    """In the process: until standard input ends."""
    from curewatch.page.several import SeveralAnswering

    answer_with(SeveralAnswering)


def answer_with(made: "Callable[[Mapping[str, Configuration], Clock], SeveralAnswering]") -> None:
    """The same, with answers about the sheds that come first."""
    os.nice(NICENESS)
    incoming, outgoing = sys.stdin.buffer, sys.stdout.buffer
    answering = made(received(incoming), SystemClock())
    while (question := received(incoming)) is not None:
        try:
            answer: Any = answering.answer(question)
        except CurewatchError as trouble:  # of the logbook or the configuration; it is opened anew
            answer = Unanswered(str(trouble))
        put(outgoing, answer)
        answering.afterwards()
    answering.close()


def received(stream: BinaryIO) -> Any:
    """One value as :func:`put` sends it; none at the end."""
    length = stream.read(8)
    if len(length) < 8:
        return None
    return pickle.loads(stream.read(int.from_bytes(length, "big")))  # noqa: S301 - from our own parent, through its pipe
