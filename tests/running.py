"""A real `curewatch ingest` process for tests: started, asked, killed; its logbook looked at beside it."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from curewatch.clock import SystemClock
from curewatch.errors import StoreFailed
from curewatch.logbook import Entry, Logbook, sealing
from curewatch.units import DAY, HOUR
from tests.broker import PATIENCE, until

# The daemon with a defect: what came is acknowledged before it is committed.
TOO_EARLY = """
from curewatch.cli.main import run
from curewatch.daemon.edges import mqtt

take = mqtt.MqttBroker._take

def too_early(self, sock, now):
    take(self, sock, now)
    sock.acknowledge(tuple(event.identifier for event in self._arrived if getattr(event, "quality", 0)))

mqtt.MqttBroker._take = too_early
run()
"""


class Running:
    """The daemon of one folder: curewatch.toml, logbook.sqlite and its journal stand there."""

    def __init__(self, folder: Path, settings: str, **environment: str) -> None:
        self.folder = folder
        self.path = folder / "logbook.sqlite"
        self.journal = folder / "journal.txt"
        self.environment = environment
        self.program = [sys.executable, "-m", "curewatch"]  # a test may put a defect into it
        self.process: subprocess.Popen[bytes] | None = None
        self.configure(settings)

    def configure(self, settings: str) -> None:
        text = f'{settings}\n[logbook]\npath = "{self.path}"\n'
        (self.folder / "curewatch.toml").write_text(text)

    def start(self, *arguments: str, ready: bool = True) -> "Running":
        before = self.text().count(" started")
        with self.journal.open("ab") as journal:
            self.process = subprocess.Popen(
                [*self.program, "ingest", *arguments],
                cwd=self.folder,
                stdout=journal,
                stderr=subprocess.STDOUT,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **self.environment},
            )
        if ready:
            until(lambda: self.text().count(" started") > before or self.process.poll() is not None)
        return self

    def text(self) -> str:
        return self.journal.read_text(errors="replace") if self.journal.exists() else ""

    def says(self, words: str, seconds: float = PATIENCE) -> str:
        """Wait until the journal says this."""
        with suppress(AssertionError):
            until(lambda: words in self.text() or not self.alive, seconds)
        if words not in self.text():
            raise AssertionError(f"{words!r} is not in the journal:\n{self.text()}")
        return self.text()

    @property
    def alive(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def signal(self, number: int) -> None:
        assert self.process is not None
        self.process.send_signal(number)

    def kill(self) -> None:
        self.signal(signal.SIGKILL)
        self.ended()

    def ended(self, seconds: float = PATIENCE) -> int:
        assert self.process is not None
        return self.process.wait(seconds)

    def stop(self) -> int:
        if self.process is None or self.process.poll() is not None:
            return -1 if self.process is None else self.process.returncode
        self.signal(signal.SIGTERM)
        return self.ended()

    def readings(self, sensor: str | None = None) -> int:
        """How many readings the logbook has, as another process sees it."""
        if not self.path.exists():
            return 0
        try:
            with Logbook(self.path, read_only=True) as logbook:
                known = logbook.sensors()
        except StoreFailed:
            return 0  # it is just being made
        return sum(each.readings for name, each in known.items() if sensor in {None, name})

    def waits_for(self, count: int, sensor: str | None = None, seconds: float = PATIENCE) -> None:
        try:
            until(lambda: self.readings(sensor) >= count or not self.alive, seconds)
        except AssertionError:
            raise AssertionError(
                f"{self.readings(sensor)} of {count} readings; journal:\n{self.text()}"
            ) from None

        assert self.readings(sensor) >= count, self.text()

    def numbers(self, sensor: str) -> list[int]:
        """The senders' own running numbers of everything stored."""
        with Logbook(self.path, read_only=True) as logbook:
            return sequences(logbook, sensor)

    def resident(self) -> float:
        """Of the process. [MB]"""
        assert self.process is not None
        return resident(self.process.pid)

    def peak(self) -> float:
        """The most that the process had resident so far. [MB]"""
        assert self.process is not None
        return resident(self.process.pid, "VmHWM")

    def rejections(self) -> dict[str, int]:
        """How many were refused, by reason."""
        with Logbook(self.path, read_only=True) as logbook:
            return {str(one.reason): one.times for one in logbook.rejected()}

    def entries(self, kind: str) -> list[Any]:
        with Logbook(self.path, read_only=True) as logbook:
            return [entry.payload for entry in logbook.entries(kind)]

    def __enter__(self) -> "Running":
        return self

    def __exit__(self, *_: object) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(PATIENCE)


def sequences(logbook: Logbook, sensor: str) -> list[int]:
    """Sequence numbers as stored, in the order in which they were written.

    Not in order of time: the machine's clock may be set back while a test runs, and the readings that
    come after it are then rightly earlier than those before.
    """
    return [int(number) for *_, rows in logbook.blocks(sensor=sensor) for number in rows["sequence"]]


def resident(process: int | str = "self", key: str = "VmRSS") -> float:
    """Memory that a process has in use now, or had at most (``VmHWM``). [MB]"""
    status = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in status if line.startswith(key))


def in_one_of_a_few(run: Callable[[Path], bool], folder: Path) -> bool:
    """Whether a defect shows in one of four runs, each in a folder of its own.

    In one run alone each kill may come just after a commit, when nothing is on its way.
    """
    places = [folder / f"run-{number}" for number in range(4)]
    for place in places:
        place.mkdir()
    return any(run(place) for place in places)


def zone_at_noon() -> str:
    """A zone in which it is about noon now: there no day begins while a test runs.

    The sign in such a name is turned round (POSIX): Etc/GMT+3 is three hours behind UTC.
    """
    return f"Etc/GMT{int(SystemClock().now().utc % DAY // HOUR) - 12:+d}"


def sealed_yesterday(path: Path) -> None:
    """A logbook whose last day was sealed, and the code told, before today began."""
    with Logbook(path) as logbook:
        at = SystemClock().now().utc - 2 * DAY
        made = sealing.seal(logbook, reason="day", at=at)
        logbook.write(Entry("daemon", {"what": "sealed", "code": made.code}, at))
