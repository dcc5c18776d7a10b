"""For a board: the daemon of this logbook, whoever runs it.

If one is running, the board attaches: it reads the logbook that the other writes. If none is, a daemon
of our own runs in a thread for as long as the board is open. The board looks the same either way.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from curewatch.configuration import Configuration, logbook_path
from curewatch.daemon.events import Show
from curewatch.daemon.loop import BootFailed, Daemon
from curewatch.errors import CurewatchError
from curewatch.logbook import watched
from curewatch.logbook.lock import InUse

STOP_WITHIN = 15.0  # [s]


class Companion:
    """What a board holds while it is open."""

    def __init__(self, path: Path, *, attached_to: str = "", daemon: Daemon | None = None) -> None:
        self.path = path  # of the logbook; open it with read_only=True
        self.attached_to = attached_to  # who runs the daemon, if it is not us
        self.lines: deque[Show] = daemon.lines if daemon else deque(maxlen=1)  # what our own daemon says
        self.failure: Exception | None = None  # why our own daemon ended by itself
        self._daemon = daemon
        self._thread = threading.Thread(target=self._run, name="ingest", daemon=True)

    @property
    def running(self) -> bool:
        """Whether somebody takes readings in, as far as we can know."""
        return watched(self.path) is not False if self.attached_to else self._thread.is_alive()

    def start(self) -> None:
        if self._daemon is not None:
            self._thread.start()

    def stop(self) -> None:
        if self._daemon is not None and self._thread.is_alive():
            self._daemon.stop()
            self._thread.join(STOP_WITHIN)

    def _run(self) -> None:
        if self._daemon is None:
            return
        try:
            self._daemon.run()
        except (CurewatchError, OSError) as trouble:
            self.failure = trouble


@contextmanager
def companion(
    configuration: Configuration,
    *,
    config_path: Path | None = None,
    show: Callable[[Show], None] | None = None,
) -> Iterator[Companion]:
    """Attach to the running daemon, or run one while inside.

    Raises
    ------
    BootFailed
        None is running, and one cannot be started; the message says why.
    """
    try:
        daemon = Daemon(configuration, show=show, holder="curewatch watch", config_path=config_path)
    except BootFailed as trouble:
        if not isinstance(trouble.__cause__, InUse):
            raise
        yield Companion(logbook_path(configuration), attached_to=trouble.__cause__.holder)
        return
    found = Companion(logbook_path(configuration), daemon=daemon)
    found.start()
    try:
        yield found
    finally:
        found.stop()
