"""The page of a fleet: a server until it is told to stop; a process beside it works out the answers."""

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from curewatch.configuration import Configuration
from curewatch.fleet.plan import FleetPlan
from curewatch.page.plan import PagePlan
from curewatch.page.server import PageServer
from curewatch.page.tokens import tokens_path

TURN = 0.2  # s


class FleetPage:
    """One for all sheds of a fleet's file."""

    def __init__(
        self, file: Path, plan: FleetPlan, sheds: Mapping[str, Configuration], say: Callable[[str], None]
    ) -> None:
        shown = PagePlan(plan.page, tokens_path(file), sheds, "curewatch.fleet.phone_answers")
        self._server = PageServer(shown, say)
        self._say = say
        self.stopping = False

    def run(self) -> None:
        """Until :attr:`stopping`."""
        self._server.start()
        self._say(f"the page of {len(self._server.sheds)} sheds listens on port {self._server.server_port}")
        try:
            while not self.stopping:
                self._server.beat()
                time.sleep(TURN)
        finally:
            self._server.stop()
