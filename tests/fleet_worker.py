"""A worker of a fleet as a process: ``python -m tests.fleet_worker FILE [DEFECT]``. SIGTERM ends it.

Defects, for the controls: ``early`` acknowledges before the commit, ``keeps`` does not take back what a batch
that was refused had taught.
"""

import signal
import sys
from pathlib import Path
from typing import Any

from curewatch.clock import SystemClock
from curewatch.daemon.intake import Intake
from curewatch.errors import StoreFailed
from curewatch.fleet.plan import load_plan
from curewatch.fleet.shed_intake import ShedIntake
from curewatch.fleet.worker import Worker
from curewatch.logbook.postgres import session


def early() -> None:
    """Whatever becomes of the batch, it counts as stored."""
    commit = ShedIntake.commit

    def hurried(self: ShedIntake, now: float) -> int:
        tag = self._held[-1].tag
        try:
            commit(self, now)
        except StoreFailed as trouble:
            print("dropped", len(self._held), trouble, flush=True)
            self._held.clear()
        return tag

    ShedIntake.commit = hurried  # type: ignore[method-assign]


def keeps() -> None:
    """The memory of a refused batch stays."""
    Intake.take_back = Intake.keep  # type: ignore[method-assign]


def main(file: str, defect: str = "") -> None:
    if defect:
        session.PATIENCE = (
            0.3  # shorter than the store is away, so that a batch is refused and the defect shows
        )
        {"early": early, "keeps": keeps}[defect]()
    worker = Worker(*load_plan(Path(file)), SystemClock(), lambda line: print(line, flush=True))

    def stop(*_: Any) -> None:
        worker.stopping = True

    signal.signal(signal.SIGTERM, stop)
    worker.run()


if __name__ == "__main__":
    main(*sys.argv[1:])
