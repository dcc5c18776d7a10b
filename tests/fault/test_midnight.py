"""The seal of a day, made beside a running daemon: once, whoever is killed, and without weighing on it."""

import os
import random
import signal
import time
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch.logbook import EntryKind, Logbook
from curewatch.logbook.sealing import check_seals
from curewatch.simulation.port import SimulatedPort
from tests.broker import until
from tests.running import Running, sealed_yesterday

SETTINGS = '[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{}"\n'


def children(process: int) -> list[int]:
    found: list[int] = []
    for task in Path(f"/proc/{process}/task").iterdir():
        with suppress(OSError):
            found += map(int, (task / "children").read_text().split())
    return found


def test_a_daemon_seals_without_carrying_what_signs(tmp_path: Path) -> None:
    """The code is shown and stored; the library that signs was never part of the daemon."""
    with SimulatedPort() as port, Running(tmp_path, SETTINGS.format(port.url)) as daemon:
        sealed_yesterday(daemon.path)
        daemon.start()
        daemon.says("sealed; code ", 60.0)
        assert daemon.process is not None
        assert "cryptography" not in Path(f"/proc/{daemon.process.pid}/maps").read_text()
        assert daemon.stop() == 0
    with Logbook(daemon.path, read_only=True) as logbook:
        assert check_seals(logbook)[-1].code in daemon.text()


@pytest.mark.long
def test_a_day_is_sealed_once_whoever_is_killed(tmp_path: Path) -> None:
    """Daemon and child are killed at random moments of the seal: one seal, told once, the chain whole."""
    chance, unsealed = random.Random(7), 0
    with SimulatedPort() as port, Running(tmp_path, SETTINGS.format(port.url)) as daemon:
        sealed_yesterday(daemon.path)
        for _ in range(12):
            daemon.start(ready=False)
            assert daemon.process is not None
            process = daemon.process.pid
            until(lambda pid=process: children(pid) or "sealed; code " in daemon.text(), 60.0)
            time.sleep(chance.uniform(0.0, 0.5))
            work = children(process)
            daemon.kill()
            assert daemon.process.returncode == -signal.SIGKILL  # the fault happened
            for each in work if chance.random() < 0.7 else ():  # else it works on, an orphan
                with suppress(ProcessLookupError):
                    os.kill(each, signal.SIGKILL)
            with Logbook(daemon.path, read_only=True) as logbook:
                unsealed += len(logbook.entries(EntryKind.SEAL)) == 1
        daemon.start()
        daemon.says("sealed; code ", 60.0)
        assert daemon.stop() == 0
    assert unsealed  # some of it fell before the seal
    with Logbook(daemon.path, read_only=True) as logbook:
        logbook.verify()
        _, today = check_seals(logbook)
        told = [one.payload["code"] for one in logbook.entries("daemon") if "code" in one.payload]
    assert told[1:] == [today.code]
