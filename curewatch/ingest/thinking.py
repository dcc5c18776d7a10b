"""Thinking in a process of its own, that ends when it has thought.

The advice needs the whole model and tens of megabytes for a moment; the daemon must stay small and must
not stop listening. So each look runs in a short-lived child that opens the logbook beside the daemon,
as any command does. What has to be remembered between two looks goes along with the question and comes
back with the answer, as bytes: to unpack them here would load the whole model into the daemon.
"""

import os
import pickle
import subprocess
import sys
import threading
from collections import deque
from pathlib import Path
from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.ingest.events import Show

LONGEST = 120.0  # a look that takes longer is given up [s]
NICENESS = 5  # readings come first


class Asked(NamedTuple):
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
        self._thread: threading.Thread | None = None
        self._answers: deque[tuple[tuple[Any, ...], bytes | None]] = deque(maxlen=2)

    def __call__(self, at: Instant, reason: str) -> None:
        """Begin a look, unless one is under way; its answer comes by :meth:`collect`."""
        if self._thread is not None and self._thread.is_alive():
            return
        asked = Asked(self.configuration, self._logbook, at, reason, self._memory)
        self._thread = threading.Thread(target=self._ask, args=(asked,), name="thinking", daemon=True)
        self._thread.start()

    def collect(self) -> tuple[Any, ...] | None:
        """What the last look said, once; none while there is nothing."""
        if not self._answers:
            return None
        said, self._memory = self._answers.popleft()
        return said

    def _ask(self, asked: Asked) -> None:
        path = os.pathsep.join(part for part in sys.path if part)
        try:
            ran = subprocess.run(
                [sys.executable, "-c", "from curewatch.ingest.thinking import answer; answer()"],
                input=pickle.dumps(asked),
                capture_output=True,
                check=True,
                timeout=LONGEST,
                env={**os.environ, "PYTHONPATH": path},
            )
            self._answers.append(pickle.loads(ran.stdout))  # noqa: S301 - from our own child, through its pipe
        except (OSError, subprocess.SubprocessError, pickle.UnpicklingError, EOFError) as trouble:
            self._answers.append(((_failed(asked.at, trouble),), asked.memory))


def _failed(at: Instant, trouble: Exception) -> Show:
    """A look that came to nothing is said, and the daemon goes on."""
    why = str(trouble)
    if isinstance(trouble, subprocess.CalledProcessError):
        why = (trouble.stderr or b"").decode(errors="replace").strip().rpartition("\n")[2] or why
    return Show("advice", at.utc, f"the advice could not be worked out: {why}", {"why": why}, loud=True)


def answer() -> None:
    """In the child: one look, from standard input to standard output."""
    from curewatch.ingest.evaluation import Evaluation
    from curewatch.logbook import Logbook

    os.nice(NICENESS)
    asked: Asked = pickle.loads(sys.stdin.buffer.read())  # noqa: S301 - from our own parent, through its pipe
    with Logbook(asked.logbook, read_only=True) as logbook:
        memory = None if asked.memory is None else pickle.loads(asked.memory)  # noqa: S301 - packed below
        evaluation = Evaluation(asked.configuration, logbook, memory=memory)
        said = evaluation(asked.at, asked.reason)
    sys.stdout.buffer.write(pickle.dumps((said, pickle.dumps(evaluation.memory))))
