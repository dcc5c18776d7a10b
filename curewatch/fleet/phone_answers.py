"""What the page of a fleet shows: every shed by its last look, worst first, and the board of one.

Law: it tells the sheds nothing. What is done is told where it is done, so that no press comes twice.
"""

from collections.abc import Mapping
from typing import Any

import msgspec

from curewatch.answers.metrics import open_metrics
from curewatch.answers.page import PageRejectedDocument
from curewatch.answers.sheds import ShedLineDocument
from curewatch.clock import Clock
from curewatch.configuration import Configuration, logbook_path
from curewatch.fleet import boards
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.page.answering import LOOK_FOR, Answering, answer_with, as_json
from curewatch.page.several import SeveralAnswering

OPEN = 8  # logbooks that stay open: each is a session with the database
OFTEN = 9.0  # times as long as the boards took to read is waited before they are read anew
LONGEST = 60.0  # but so long at most; the page takes nothing older for an answer [s]
ONLY_SHOWS = "the page of a fleet only shows. Tell it in the shed"


class FleetAnswering(SeveralAnswering):
    """Opens no logbook for writing."""

    def __init__(self, sheds: Mapping[str, Configuration], clock: Clock) -> None:
        super().__init__(sheds, clock)
        self._seen: list[boards.SeenShed] = []
        self._seen_at, self._until = 0.0, float("-inf")  # UTC; monotonic [s]

    def answer(self, question: dict[str, Any]) -> dict[str, Any]:
        """As of several sheds of one daemon, but nothing can be told."""
        if question["do"] not in {"look", "metrics"}:
            return as_json(PageRejectedDocument(rejected=ONLY_SHOWS), status=409)
        return super().answer(question | {"writes": False})

    def _lines(self) -> tuple[list[ShedLineDocument], float]:
        return [_dated(one, self._seen_at) for one in self._boards()], self._seen_at

    def _metrics(self) -> str:
        return open_metrics({"": boards.families(self._boards())})

    def _boards(self) -> list[boards.SeenShed]:
        """Kept for a while: with hundreds of sheds each reading of them takes seconds."""
        now = self._clock.now()
        if now.monotonic >= self._until:
            self._seen, self._seen_at = boards.seen(self._sheds, now.utc), now.utc
            took = self._clock.now().monotonic - now.monotonic
            self._until = now.monotonic + max(LOOK_FOR, min(LONGEST, OFTEN * took))
        return self._seen

    def _answering(self, label: str) -> Answering:
        found = super()._answering(label)
        for other in [each for each in self._open if each != label][: -OPEN + 1]:
            self._drop(other)
        return found

    def _logbook(self, label: str) -> LogbookStore:
        return open_logbook(logbook_path(self._sheds[label]), read_only=True)


def _dated(seen: boards.SeenShed, at: float) -> ShedLineDocument:
    """Its line, with the moment of the look that it rests on. [UTC s]"""
    line = seen.line
    if seen.age is None or line.verdict == "unknown":
        return line
    said = line.reason
    reason = msgspec.structs.replace(
        said, words=f"{said.words} (at {{looked:moment}})", numbers={**said.numbers, "looked": at - seen.age}
    )
    return msgspec.structs.replace(line, reason=reason)


def serve() -> None:
    """In the process beside the server: until standard input ends."""
    answer_with(FleetAnswering)
