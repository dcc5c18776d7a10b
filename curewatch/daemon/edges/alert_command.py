"""The user's own command, run for each alert that is raised, renewed, acknowledged or cleared.

It gets the event as one JSON object on standard input. It is started directly, never through a shell;
it may take a limited time, its output is thrown away but for the begin of its complaint, and no
variable of ours (a broker's password) is in its environment. It runs in a thread of its own, one at a
time: the loop never waits for it. What goes wrong is said, and nothing else depends on it.
"""

import json
import os
import queue
import signal
import subprocess
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

WAITING = 20  # events that may wait for the command; what is beyond is said and left out
COMPLAINT = 300  # bytes kept of what it says on standard error
PIECE = 65_536  # bytes read at once


class AlertCommand:
    """Takes events, runs the command for each, and says through ``notice`` what went wrong."""

    def __init__(self, command: tuple[str, ...], longest: float, notice: Callable[[str], None]) -> None:
        self._command = command
        self._longest = longest  # one run may take this long [s]
        self._notice = notice  # called from this thread and from the loop's
        self._waiting: queue.Queue[Mapping[str, Any] | None] = queue.Queue(WAITING)
        self._running: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._work, name="alert command", daemon=True)
        if command:
            self._thread.start()

    def tell(self, event: Mapping[str, Any]) -> None:
        """Have it run for this event; returns at once."""
        if not self._command:
            return
        try:
            self._waiting.put_nowait(dict(event))
        except queue.Full:
            self._notice(f"{WAITING} alerts wait for it already; this one is left out: {event.get('text')}")

    def stop(self) -> None:
        """End it, and whatever it started, if it still runs; what waits is left out."""
        while not self._waiting.empty():
            self._waiting.get_nowait()
        if self._thread.is_alive():
            self._waiting.put(None)
        running = self._running
        if running is not None:
            _end(running)

    def _work(self) -> None:
        while (event := self._waiting.get()) is not None:
            trouble = self._run(json.dumps(event, ensure_ascii=True).encode() + b"\n")
            if trouble:
                self._notice(f"{self._command[0]}: {trouble}")

    def _run(self, said: bytes) -> str:
        """What went wrong; empty if nothing did."""
        try:
            running = subprocess.Popen(  # noqa: S603 - the user's own, from their configuration
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                start_new_session=True,
                env={key: value for key, value in os.environ.items() if not key.startswith("CUREWATCH_")},
            )
        except (OSError, ValueError) as trouble:
            return f"cannot be started: {trouble}"
        self._running = running
        late = threading.Event()

        def too_long() -> None:
            late.set()
            _end(running)

        timer = threading.Timer(self._longest, too_long)
        timer.start()
        try:
            complaint = _spoken_to(running, said)
            status = running.wait()
        finally:
            timer.cancel()
            self._running = None
            if running.stderr is not None:
                running.stderr.close()
        if late.is_set():
            return f"ended after {self._longest:g} s; allowed: [alerts] timeout_s"
        return "" if status == 0 else f"status {status}: {complaint or 'no words'}"


def _spoken_to(running: "subprocess.Popen[bytes]", said: bytes) -> str:
    """Give it the event; the begin of what it says on standard error, the rest is read and dropped."""
    assert running.stdin is not None
    assert running.stderr is not None
    with suppress(BrokenPipeError), running.stdin:  # one that does not listen tells by its status how it went
        running.stdin.write(said)
    kept = b""
    while piece := running.stderr.read1(PIECE):  # type: ignore[attr-defined]
        kept += piece[: max(0, COMPLAINT - len(kept))]
    return " ".join(kept.decode("utf-8", "replace").split())


def _end(running: "subprocess.Popen[bytes]") -> None:
    """Kill it with everything it started."""
    try:
        os.killpg(running.pid, signal.SIGKILL)
    except ProcessLookupError:
        return  # it ended by itself in this moment
