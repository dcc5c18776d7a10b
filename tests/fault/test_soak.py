"""Seven days in accelerated time, with faults: memory and file handles stay where they were."""

import gc
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, MessageArrived, SourceDown, SourceUp
from curewatch.logbook import Logbook
from tests.running import resident
from tests.simulators import START, SimulatedShed

STEP = 120.0  # between two reports of a sensor [s]
REPORTS = 7 * 24 * 3600 // int(STEP)


def _handles() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


@pytest.mark.long
def test_seven_days(tmp_path: Path) -> None:
    """Three sensors, noise, unplugged cables and messages delivered twice, for a week."""
    settings = configuration.parse(
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n[sensors.yard]\nrole = "outside"\n'
        '[mqtt.yard]\ntopics = "creek/+/state"\n'
    )
    clock = ManualClock(START, 0.0)
    shown = 0

    def show(line: object) -> None:
        nonlocal shown
        shown += 1

    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        actor = Actor(Core(settings, clock.now()), logbook, clock, show=show)
        first: tuple[float, int] | None = None
        for index, report in enumerate(SimulatedShed(interval=STEP).reports(REPORTS)):
            clock.advance_to(report.at)
            turn = index // 3
            actor.handle(BytesArrived("usb", report.line + b"\n", clock.now()))
            if index % 3 == 0:
                payload = b'{"temperature": 9.5, "n": %d}' % turn
                again = turn % 10 == 9
                actor.handle(
                    MessageArrived(
                        "yard",
                        "creek/beam/state",
                        payload,
                        clock.now(),
                        1,
                        again,
                        False,
                        turn % 65_535 + 1,
                        1,
                    )
                )
                if again:
                    actor.handle(
                        MessageArrived(
                            "yard",
                            "creek/beam/state",
                            payload,
                            clock.now(),
                            1,
                            True,
                            False,
                            turn % 65_535 + 1,
                            2,
                        )
                    )
                clock.advance(0.3)
                actor.tick()
            if turn % 60 == 30 and index % 3 == 1:
                actor.handle(BytesArrived("usb", (bytes(range(128, 256)) + b"\n") * 4, clock.now()))
                actor.handle(SourceDown("usb", clock.now(), "no such device"))
                actor.handle(SourceUp("usb", clock.now()))
            if turn == REPORTS // 7 and first is None:
                gc.collect()
                first = (resident(), _handles())
        gc.collect()
        assert first is not None
        assert _handles() <= first[1]
        assert resident() - first[0] < 6.0
        known = logbook.sensors()
        assert known["beam"].readings == REPORTS
        assert known["bench"].readings > 0.97 * REPORTS
        assert actor.core.rejections.total > 7 * 10  # the faults happened
        logbook.verify()
