"""A short-lived process of our own, for what is too heavy for the daemon, which must stay small and listen.

The child is given one question on its standard input, answers on its standard output, and ends. It opens the
logbook beside the daemon, as any command does; so whatever it writes must be safe when either of the two
is killed.
"""

import os
import pickle
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable
from contextlib import nullcontext
from typing import Any, NamedTuple

LONGEST = 120.0  # a question that takes longer is given up [s]
NICENESS = 5  # readings come first
AT_ONCE = 2  # heavy children of one kind; ten sheds that all look would else need ten times the memory

_rooms: dict[str, threading.Semaphore] = {}  # by kind: one that waits for a network holds up no look


class ChildAnswer(NamedTuple):
    """What came of a question."""

    said: Any  # none if it came to nothing
    trouble: str = ""  # why it came to nothing


class Child:
    """Asks one question at a time; the answer is collected later."""

    def __init__(self, module: str, *, heavy: bool = False) -> None:
        """``heavy``: at most AT_ONCE of this module run; the others wait for their turn."""
        self._room = _rooms.setdefault(module, threading.Semaphore(AT_ONCE)) if heavy else nullcontext()
        self._code = f"from {module} import answer; answer()"
        self._thread: threading.Thread | None = None
        self._answers: deque[ChildAnswer] = deque(maxlen=2)

    @property
    def busy(self) -> bool:
        """Whether a question is with the child, or its answer waits to be collected."""
        return bool(self._answers) or (self._thread is not None and self._thread.is_alive())

    def ask(self, asked: Any) -> None:
        """Begin; only while it is not busy."""
        self._thread = threading.Thread(target=self._ask, args=(asked,), name="child", daemon=True)
        self._thread.start()

    def collect(self) -> ChildAnswer | None:
        """The answer, once; none while there is none."""
        return self._answers.popleft() if self._answers else None

    def wait(self) -> ChildAnswer:
        """The answer, when it is there."""
        if self._thread is not None:
            self._thread.join(LONGEST + 10.0)
        return self.collect() or ChildAnswer(None, "it did not answer")

    def _ask(self, asked: Any) -> None:
        path = os.pathsep.join(part for part in sys.path if part)
        try:
            ran = self._ran(asked, path)
            said = pickle.loads(ran.stdout)  # noqa: S301 - from our own child, through its pipe
            self._answers.append(ChildAnswer(said))
        except (OSError, subprocess.SubprocessError, pickle.UnpicklingError, EOFError) as trouble:
            self._answers.append(ChildAnswer(None, _why(trouble)))

    def _ran(self, asked: Any, path: str) -> "subprocess.CompletedProcess[bytes]":
        with self._room:
            return subprocess.run(  # noqa: S603 - our own module, run by our own interpreter
                [sys.executable, "-c", self._code],
                input=pickle.dumps(asked),
                capture_output=True,
                check=True,
                timeout=LONGEST,
                env={**os.environ, "PYTHONPATH": path},
            )


def _why(trouble: Exception) -> str:
    if isinstance(trouble, subprocess.CalledProcessError):
        last = (trouble.stderr or b"").decode(errors="replace").strip().rpartition("\n")[2]
        return last.partition(": ")[2] or last or str(trouble)
    return str(trouble)


def serve(work: Callable[[Any], Any]) -> None:
    """In the child: one question, from standard input to standard output."""
    os.nice(NICENESS)
    asked = pickle.loads(sys.stdin.buffer.read())  # noqa: S301 - from our own parent, through its pipe
    sys.stdout.buffer.write(pickle.dumps(work(asked)))
