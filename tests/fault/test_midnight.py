"""The seal of a day, made beside a running daemon: once, whoever is killed, and without weighing on it."""

import os
import signal
import sys
import time
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from curewatch.logbook import EntryKind, Logbook
from curewatch.logbook.sealing import check_seals
from curewatch.simulation.port import SimulatedPort
from tests.broker import until
from tests.running import Running, sealed_yesterday, zone_at_noon


def settings(port: SimulatedPort) -> str:
    """One day from begin to end: what is counted is the seals of today."""
    zone = f'[shed]\nzone = "{zone_at_noon()}"\n'
    return f'{zone}[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{port.url}"\n'


def test_a_daemon_seals_without_carrying_what_signs(tmp_path: Path) -> None:
    """The code is shown and stored; the library that signs was never part of the daemon."""
    with SimulatedPort() as port, Running(tmp_path, settings(port)) as daemon:
        sealed_yesterday(daemon.path)
        daemon.start()
        daemon.says("sealed; code ")
        assert daemon.process is not None
        assert "cryptography" not in Path(f"/proc/{daemon.process.pid}/maps").read_text()
        assert daemon.stop() == 0
    with Logbook(daemon.path, read_only=True) as logbook:
        assert check_seals(logbook).seals[-1].code in daemon.text()


# A daemon whose child stops at one moment of the day's seal, and stays there as long as a file does.
HELD_DAEMON = """
from curewatch.daemon import child
made = child.Child.__init__
def held(self, *words, **more):
    made(self, *words, **more)
    self._code = "from tests.fault.test_midnight import hold_child; hold_child(); " + self._code
child.Child.__init__ = held
from curewatch.cli.main import run
run()
"""
MOMENTS = {"asked": 1, "block ended": 1, "not yet committed": 1, "committed": 2, "told": 2}  # seals by then
FATES = ("killed", "works on", "comes late")
# A child that is not yet done with its commit holds the lock: nobody seals before it ends.
DEATHS = [pair for pair in product(MOMENTS, FATES) if pair != ("not yet committed", "comes late")]


def hold_child() -> None:
    """In the child: stop at the moment that the environment names."""
    from curewatch.logbook import logbook, sealing, stamping, writer

    def then(place: Any, name: str, moment: str, *, before: bool = False) -> None:
        inner = getattr(place, name)

        def outer(*words: Any, **more: Any) -> Any:
            if before:
                _hold(moment)
            found = inner(*words, **more)
            if not before:
                _hold(moment)
            return found

        setattr(place, name, outer)

    if "SEAL_WITHOUT_DAY" in os.environ:  # the defect
        seal = sealing.seal
        sealing.seal = lambda book, **more: seal(book, **{**more, "key": None})
    then(sealing, "seal", "asked", before=True)
    then(logbook.Logbook, "close_block", "block ended")
    then(writer.Writer, "_take_entry", "not yet committed")
    then(sealing, "_note_last", "committed")
    then(stamping, "date_newest", "told")


def _hold(moment: str) -> None:
    if os.environ.get("SEAL_HELD_AT") == moment:
        gate = Path(os.environ["SEAL_GATE"])
        gate.with_suffix(".new").write_text(str(os.getpid()))
        gate.with_suffix(".new").rename(gate)
        while gate.exists():
            time.sleep(0.01)


def killed_at(moment: str, fate: str, folder: Path, **defect: str) -> tuple[int, list[str], list[str]]:
    """Kill the daemon at this moment of its child: seals by then; codes sealed, and told, in the end."""
    gate = folder / "gate"
    with SimulatedPort() as port, Running(folder, settings(port), **defect) as daemon:
        sealed_yesterday(daemon.path)
        daemon.program = [sys.executable, "-c", HELD_DAEMON]
        daemon.environment |= {"SEAL_HELD_AT": moment, "SEAL_GATE": str(gate)}
        daemon.start(ready=False)
        until(gate.exists)
        work = int(gate.read_text())
        daemon.kill()
        with Logbook(daemon.path, read_only=True) as logbook:
            by_then = len(logbook.entries(EntryKind.SEAL))
        if fate == "killed":
            os.kill(work, signal.SIGKILL)
        if fate == "works on":
            gate.unlink()
        if fate != "comes late":
            until(lambda: not Path(f"/proc/{work}").exists())
        daemon.environment["SEAL_HELD_AT"] = ""
        daemon.start()
        daemon.says("sealed; code ")
        gate.unlink(missing_ok=True)
        until(lambda: not Path(f"/proc/{work}").exists())
        assert daemon.stop() == 0
    with Logbook(daemon.path, read_only=True) as logbook:
        logbook.verify()
        sealed = [one.code for one in check_seals(logbook).seals]
        told = [one.payload["code"] for one in logbook.entries("daemon") if "code" in one.payload]
    return by_then, sealed, told


@pytest.mark.long
@pytest.mark.parametrize(("moment", "fate"), DEATHS)
def test_a_day_is_sealed_once_whoever_is_killed(tmp_path: Path, moment: str, fate: str) -> None:
    """The daemon dies; its child dies, too, works on alone, or ends after the next daemon has sealed."""
    by_then, sealed, told = killed_at(moment, fate, tmp_path)
    assert by_then == MOMENTS[moment]
    assert len(sealed) == 2, "yesterday's and today's"
    assert told == sealed, "each told once"


@pytest.mark.long
def test_without_the_name_of_its_day_a_seal_is_made_twice(tmp_path: Path) -> None:
    """The control: two children that were both asked each write one."""
    _, sealed, _ = killed_at("asked", "comes late", tmp_path, SEAL_WITHOUT_DAY="yes")
    assert len(sealed) == 3
