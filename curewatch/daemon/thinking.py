"""Thinking in a process of its own, that ends when it has thought.

The advice needs the whole model and tens of megabytes for a moment, so each look runs in a short-lived
child. What has to be remembered between two looks goes along with the question and comes
back with the answer, as bytes: to unpack them here would load the whole model into the daemon.

Law: a look that is asked for while another runs is made after it. The one that runs may have read the
logbook before the thing happened for which the next was asked.
"""

import pickle
from pathlib import Path
from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.child import Child, serve
from curewatch.daemon.events import Again, Show

TRY_AGAIN = 120.0  # after a look that came to nothing [s]


class LookRequest(NamedTuple):
    """What the child is given."""

    configuration: Configuration
    logbook: Path
    at: Instant
    reason: str
    memory: bytes | None  # a packed evaluation.Memory; none at the first look


class Thinking:
    """Starts looks, one at a time, and collects what they say."""

    def __init__(self, configuration: Configuration, logbook: Path) -> None:
        self.configuration = configuration  # replaced on reload
        self._logbook = logbook
        self._memory: bytes | None = None  # as large as the alerts that stand
        self._child = Child(__name__, heavy=True)
        self._at = Instant(0.0, 0.0)  # of the look under way
        self._waiting = ""  # why one more look is wanted after it; empty if none is

    def __call__(self, at: Instant, reason: str) -> None:
        """Begin a look, at once or after the one under way; its answer comes by :meth:`collect`."""
        if self._child.busy:
            self._waiting = reason
        else:
            self._begin(at, reason)

    def _begin(self, at: Instant, reason: str) -> None:
        self._at, self._waiting = at, ""
        self._child.ask(LookRequest(self.configuration, self._logbook, at, reason, self._memory))

    def go_on(self, at: Instant) -> None:
        """Begin the look that waits, if the one before it is done and collected."""
        if self._waiting and not self._child.busy:
            self._begin(at, self._waiting)

    def collect(self) -> tuple[Any, ...] | None:
        """What the last look said, once; none while there is nothing."""
        answer = self._child.collect()
        if answer is None:
            return None
        if answer.trouble:
            return _failed(self._at, answer.trouble), Again(self._at.utc + TRY_AGAIN)
        said, self._memory = answer.said
        return tuple(said)


def _failed(at: Instant, reason: str) -> Show:
    """A look that came to nothing is said; it is soon made again, for a countdown may be due."""
    return Show(
        "advice", at.utc, f"the advice could not be worked out: {reason}", {"reason": reason}, loud=True
    )


def answer() -> None:
    """In the child."""
    serve(_look)


def _look(asked: LookRequest) -> tuple[Any, bytes]:
    from curewatch.daemon.evaluation import Evaluation
    from curewatch.logbook import open_logbook

    with open_logbook(asked.logbook, read_only=True) as logbook:
        memory = None if asked.memory is None else pickle.loads(asked.memory)  # noqa: S301 - packed below
        evaluation = Evaluation(asked.configuration, logbook, memory=memory)
        said = evaluation(asked.at, asked.reason)
    return said, pickle.dumps(evaluation.memory)
