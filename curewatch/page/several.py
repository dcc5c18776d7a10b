"""All sheds of one page: the answers of each, and one for all where a question names none.

A shed that cannot be looked at is unknown with its reason, and the others are told all the same.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from curewatch.advice.plan.calendar import Appointment
from curewatch.answers.gathering import open_metrics_of_sheds
from curewatch.answers.metrics import CONTENT_TYPE
from curewatch.answers.page import PageLookDocument, PageRejectedDocument, page_look_document
from curewatch.answers.sheds import ShedLineDocument, counted, shed_line, sheds_document, unseen_shed
from curewatch.clock import Clock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.page import calendar
from curewatch.page.answering import Answering, as_json
from curewatch.page.drawing.sheds import sheds_list
from curewatch.phrases import phrase
from curewatch.wording import plain_wording, wording

WINDOWS_FOR = 10.0  # s that a calendar waits for windows: the page's process has 30 s for one answer
WORST = ("unknown", "no-go", "go")


class SeveralAnswering:
    """Opens each logbook at the first question about its shed; one alone has no name."""

    def __init__(self, sheds: Mapping[str, Configuration], clock: Clock) -> None:
        self._sheds = sheds
        self._clock = clock
        self._open: dict[str, Answering] = {}
        self._asked = ""  # the shed of the last question
        first = next(iter(self._sheds.values()))
        self._words = wording(first.zone, configured=first.shed.units)

    def answer(self, question: dict[str, Any]) -> dict[str, Any]:
        """Status, body and its kind; CurewatchError where one shed was asked of that cannot be looked at."""
        self._asked = question["shed"]
        if self._asked in self._sheds:
            return self._of(self._asked, question)
        match question["do"]:
            case "look":
                return as_json(self._overview())
            case "metrics":
                return {"status": 200, "body": self._metrics().encode(), "kind": CONTENT_TYPE}
            case "calendar":
                return self._calendar()
            case _:
                rejected = PageRejectedDocument(rejected="there are several sheds. Use the page of one")
                return as_json(rejected, status=404)

    def afterwards(self) -> None:
        """What takes seconds, of the shed that was asked about last."""
        answering = self._open.get(self._asked)
        if answering is not None:
            answering.afterwards()

    def close(self) -> None:
        """Close every logbook."""
        for label in tuple(self._open):
            self._drop(label)

    def _answering(self, label: str) -> Answering:
        if label not in self._open:
            opened = self._logbook(label)
            self._open[label] = Answering(self._sheds[label], opened, self._clock, several=bool(label))
        return self._open[label]

    def _logbook(self, label: str) -> LogbookStore:
        return open_logbook(logbook_path(self._sheds[label]))

    def _drop(self, label: str) -> None:
        """Its logbook is opened anew with the next question."""
        answering = self._open.pop(label, None)
        if answering is not None:
            with suppress(CurewatchError):
                answering.close()

    def _of(self, label: str, question: dict[str, Any]) -> dict[str, Any]:
        try:
            return self._answering(label).answer(question)
        except CurewatchError:
            self._drop(label)
            raise

    def _overview(self) -> PageLookDocument:
        """Every shed in a line, worst first; the word above is that of the worst."""
        now = self._clock.now().utc
        lines, looked = self._lines()
        found = sheds_document(lines, now).sheds
        return page_look_document(
            now,
            looked,
            self._words,
            verdict=min((line.verdict for line in found), key=WORST.index),
            reason=f"{counted(found)}.",
            shed="All sheds",
            several=True,
            ringing=sum(line.ringing for line in found),
            sections={"sheds": "".join(sheds_list(found, self._words, now))},
        )

    def _lines(self) -> tuple[list[ShedLineDocument], float]:
        """A line for each, and when the oldest of them was looked at. [UTC s]"""
        looked = [self._line(label) for label in self._sheds]
        return [line for line, _ in looked], min(at for _, at in looked)

    def _metrics(self) -> str:
        return open_metrics_of_sheds(self._sheds, self._clock.now().utc)

    def _line(self, label: str) -> tuple[ShedLineDocument, float]:
        """Its line, and when it was looked at."""
        shed = self._sheds[label]
        words = plain_wording(shed.zone)
        try:
            document, at = self._answering(label).looked()
            return shed_line(label, document, words), at
        except CurewatchError as trouble:
            self._drop(label)
            reason = phrase("{reason}", reason=str(trouble))
            unseen = unseen_shed(label, shed.shed.name, shed.shed.boat, reason, words)
            return unseen, self._clock.now().utc

    def _calendar(self) -> dict[str, Any]:
        """The events of every shed that can be looked at, each under its name."""
        found: list[Appointment] = []
        end = self._clock.now().monotonic + WINDOWS_FOR
        for label in self._sheds:
            waits = self._clock.now().monotonic < end
            try:
                found += self._answering(label).appointments(label, waits=waits)
            except CurewatchError:
                self._drop(label)
        return calendar.answer(found, self._clock.now().utc)
