"""The page as the daemon holds it: on or off as configured, and never a reason for the daemon to end."""

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError

if TYPE_CHECKING:
    from curewatch.page.server import PageServer

AGAIN = 60.0  # s after which a server that could not start is tried again
QUIET = 3600.0  # s in which the same trouble is said once


class PageEdge:
    """One for all sheds of a daemon."""

    def __init__(self, configuration: Configuration, complain: Callable[[str], None]) -> None:
        self._configuration = configuration
        self._complain = complain
        self._server: PageServer | None = None
        self._tried = float("-inf")  # monotonic [s]
        self._said: tuple[str, float] = ("", float("-inf"))

    def beat(self) -> None:
        """The daemon's loop goes round: what is due is done; called from it, and it returns at once."""
        if self._server is not None:
            self._server.beat()
        elif self._configuration.page.on and time.monotonic() - self._tried >= AGAIN:
            self._tried = time.monotonic()
            self._start()

    def replace(self, configuration: Configuration) -> None:
        """Begin anew with what the configuration now says."""
        self.stop()
        self._configuration = configuration
        self._tried = float("-inf")

    def stop(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            server.stop()

    def _start(self) -> None:
        from curewatch.page.plan import of_daemon
        from curewatch.page.server import PageServer

        try:
            server = PageServer(of_daemon(self._configuration), self._tell)
        except CurewatchError as trouble:
            self._tell(str(trouble))
            return
        server.start()
        self._server = server

    def _tell(self, what: str) -> None:
        """Once an hour at most: a phone asks every few seconds."""
        before, at = self._said
        if what == before and time.monotonic() - at < QUIET:
            return
        self._said = what, time.monotonic()
        self._complain(what)
