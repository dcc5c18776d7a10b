"""The process that works out what the page shows, as the daemon holds it.

The model needs over a hundred megabytes, and a warm one answers in a tenth of the time of a new one. So it
runs in a process of its own, from the first phone that looks until nobody has looked for two minutes. It ends
with the daemon: its standard input closes then.
"""

import os
import pickle
import select
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from typing import IO, Any

from curewatch.configuration import Configuration

IDLE = 120.0  # s without a question after which it ends
PATIENCE = 30.0  # s for one answer
LARGEST = 8_000_000  # bytes of one answer
_CODE = "from {module} import serve; serve()"


class Unanswered(Exception):  # noqa: N818 - named by the matter, as its siblings
    """Nothing can be told at present; the text says why."""


class PageProcess:
    """One question at a time, from any thread."""

    def __init__(self, sheds: Mapping[str, Configuration], module: str) -> None:
        self._given = dict(sheds)  # what the process is given first
        self._code = _CODE.format(module=module)
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._asked = 0.0  # when somebody asked last, monotonic [s]
        self._ended = False
        self._words: IO[bytes] | None = None  # what the process says of its end

    def ask(self, question: Mapping[str, Any]) -> Any:
        """The answer to this question.

        Raises
        ------
        Unanswered
            It did not come; the next question starts the process anew.
        """
        if not self._lock.acquire(timeout=PATIENCE):
            raise Unanswered("too many ask at once")
        try:
            self._asked = time.monotonic()
            return self._answer(question)
        except (OSError, EOFError, pickle.UnpicklingError) as trouble:
            raise Unanswered(f"the advice could not be worked out{self._end()}") from trouble
        finally:
            self._lock.release()

    def tend(self) -> None:
        """End the process if nobody looks any more; called now and then."""
        if self._process is None or time.monotonic() - self._asked < IDLE:
            return
        if self._lock.acquire(blocking=False):
            try:
                self._end()
            finally:
                self._lock.release()

    def stop(self) -> None:
        """End it for good; a question that is under way is given up."""
        self._ended = True
        with suppress(OSError, AttributeError):
            self._process.kill()  # type: ignore[union-attr] # None is suppressed
        with self._lock:
            self._end()

    def _answer(self, question: Mapping[str, Any]) -> Any:
        process = self._running()
        assert process.stdin is not None
        assert process.stdout is not None
        put(process.stdin, dict(question))
        answer = pickle.loads(_whole(process.stdout.fileno()))  # noqa: S301 - from our own child, through its pipe
        if isinstance(answer, Unanswered):
            raise answer
        return answer

    def _running(self) -> subprocess.Popen[bytes]:
        if self._ended:
            raise Unanswered("the daemon ends")
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._words = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the process
            path = os.pathsep.join(part for part in sys.path if part)
            self._process = subprocess.Popen(  # noqa: S603 - our own module, run by our own interpreter
                [sys.executable, "-c", self._code],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._words,
                bufsize=0,
                env={**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1"},
            )
            assert self._process.stdin is not None
            put(self._process.stdin, self._given)
        return self._process

    def _end(self) -> str:
        """End it; its last word, where it said any."""
        process, self._process = self._process, None
        if process is None:
            return ""
        for stream in (process.stdin, process.stdout):
            with suppress(OSError, AttributeError):
                stream.close()  # type: ignore[union-attr] # both are pipes
        try:
            process.wait(2.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        return self._last_word()

    def _last_word(self) -> str:
        said, self._words = self._words, None
        if said is None:
            return ""
        with said:
            said.seek(0)
            last = said.read(100_000).decode(errors="replace").strip().rpartition("\n")[2]
        return f": {last[:200]}" if last else ""


def put(stream: IO[bytes], value: Any) -> None:
    """One value: its length in eight bytes, then itself."""
    content = pickle.dumps(value)
    message = memoryview(len(content).to_bytes(8, "big") + content)
    while message:
        message = message[stream.write(message) :]
    stream.flush()


def _whole(descriptor: int) -> bytes:
    """One value's bytes, within the time that an answer may take."""
    due = time.monotonic() + PATIENCE
    length = int.from_bytes(_bytes(descriptor, 8, due), "big")
    if length > LARGEST:
        raise EOFError
    return _bytes(descriptor, length, due)


def _bytes(descriptor: int, count: int, due: float) -> bytes:
    found = bytearray()
    while len(found) < count:
        ready, _, _ = select.select([descriptor], [], [], max(0.0, due - time.monotonic()))
        if not ready:
            raise TimeoutError("no answer in time")
        piece = os.read(descriptor, min(65_536, count - len(found)))
        if not piece:
            raise EOFError
        found += piece
    return bytes(found)
