"""The user's own command, run for each notice.

It gets the notice as one JSON object on standard input. It is started directly, never through a shell;
it may take a limited time, its output is thrown away but for the begin of its complaint, and no
variable of ours (a broker's password) is in its environment.
"""

import json
import os
import signal
import subprocess
import threading
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from curewatch.errors import reason

COMPLAINT = 300  # bytes kept of what it says on standard error
PIECE = 65_536  # bytes read at once


def run_command(command: tuple[str, ...], document: Mapping[str, Any], longest: float) -> str:
    """Run it for one notice, for at most so long [s]; what went wrong, empty if nothing did."""
    try:
        running = subprocess.Popen(  # noqa: S603 - the user's own, from their configuration
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
            env={key: value for key, value in os.environ.items() if not key.startswith("CUREWATCH_")},
        )
    except (OSError, ValueError) as trouble:
        why = reason(trouble) if isinstance(trouble, OSError) else trouble
        return f"{command[0]}: cannot be started: {why}"
    late = threading.Event()

    def too_long() -> None:
        late.set()
        _end(running)

    timer = threading.Timer(longest, too_long)
    timer.start()
    try:
        complaint = _spoken_to(running, json.dumps(document, ensure_ascii=True).encode() + b"\n")
        status = running.wait()
    finally:
        timer.cancel()
        if running.stderr is not None:
            running.stderr.close()
    if late.is_set():
        return f"{command[0]}: ended by us after {longest:g} s, its [notices] timeout_s"
    return "" if status == 0 else f"{command[0]}: status {status}: {complaint or 'no words'}"


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
