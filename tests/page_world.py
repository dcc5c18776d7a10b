"""A shed with its page on: a daemon, and its sensors on a port that is not there; all invented."""

import math
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from curewatch.logbook import Entry, Logbook
from curewatch.page import tokens
from curewatch.page.tokens import TokenKind
from curewatch.readings import Reading
from curewatch.simulation.port import SimulatedPort
from curewatch.units import HOUR, MINUTE, kelvin_from_celsius
from curewatch.wire.lines import checksum
from curewatch.worklog import telling
from tests.broker import free_port, until
from tests.running import Running, zone_at_noon

WARM = {"bench": (21.0, 45.0), "hull": (20.5, None), "yard": (14.0, 60.0)}  # degC, %
SETTINGS = """
[shed]
name = "{name}"
boat = "Kittiwake Nine"
zone = "{zone}"
[resin]
name = "epoxy-slow"
batch_mass_g = 150.0
[sensors.bench]
role = "air"
part = "humidity-2"
[sensors.hull]
role = "surface"
part = "probe"
[sensors.yard]
role = "outside"
part = "humidity-2"
[working_hours]
start = 00:00:00
end = 23:59:00
[serial.usb]
url = "{url}"
[page]
on = true
port = {port}
{more}
"""


class PageWorld:
    """One warm, dry shed whose sensors speak every second; its daemon can be killed and started again."""

    def __init__(
        self,
        folder: Path,
        url: str,
        *,
        name: str = "Saltmarsh Shed",
        title: str = "new rudder cheek",
        more: str = "",
        **environment: str,
    ) -> None:
        self.port = free_port()
        settings = SETTINGS.format(name=name, zone=zone_at_noon(), url=url, port=self.port, more=more)
        self.daemon = Running(folder, settings, **environment)
        self.tls = "certificate_file" in more
        self.path = self.daemon.path
        with Logbook(self.path) as logbook:
            logbook.append(past(time.time(), 14 * HOUR))
            opened = {"title": title, "resin": "epoxy-slow", "by": "the owner"}
            self.job = telling.opening(logbook, opened, time.time() - HOUR)
            logbook.write(self.job)

    @property
    def address(self) -> str:
        return f"{'https' if self.tls else 'http'}://127.0.0.1:{self.port}"

    def code(self, kind: TokenKind = TokenKind.WRITE) -> str:
        """A fresh address that lets a phone in."""
        secret = tokens.issue(tokens.tokens_path(self.path), kind, "", time.time())[1]
        return f"{self.address}/enter/{secret}"

    def told(self, kind: str) -> list[Any]:
        return self.daemon.entries(kind)

    def write(self, *entries: Entry) -> None:
        with Logbook(self.path) as logbook:
            logbook.append(entries=entries)


def air(name: str, at: float) -> tuple[float, float | None]:
    """What a sensor reads, never quite the same: a shed is not a jar. [degC, %]"""
    warm, damp = WARM[name]
    swing = math.sin(at / 2500.0) + 0.2 * math.sin(at / 97.0)
    return warm + 0.4 * swing, None if damp is None else damp - 1.5 * swing


def past(now: float, seconds: float) -> list[Reading]:
    """The same warm air, a reading a minute, until now."""
    times = [now - seconds + MINUTE * n for n in range(int(seconds / MINUTE))]
    return [
        Reading(name, at, at, kelvin_from_celsius(warm), None if damp is None else damp / 100.0)
        for name in WARM
        for at in times
        for warm, damp in (air(name, at),)
    ]


@contextmanager
def page_world(folder: Path, defect: str = "", **more: Any) -> Iterator[PageWorld]:
    """The shed with its daemon running, until the end; ``defect`` runs first in each of its processes."""
    ended = threading.Event()
    if defect:
        (folder / "sitecustomize.py").write_text(f"import sys\nwhat = ' '.join(sys.orig_argv)\n{defect}")
        more["PYTHONPATH"] = os.pathsep.join([str(folder), *sys.path])
    with SimulatedPort() as port:
        made = PageWorld(folder, port.url, **more)

        def speak() -> None:
            while not ended.wait(1.0):
                for name in WARM:
                    warm, damp = air(name, time.time())
                    humidity = "" if damp is None else f" h={damp:.2f}"
                    with suppress(OSError):
                        port.write(line(f"cw1 {name} t={warm:.3f}{humidity}".encode()))

        speaking = threading.Thread(target=speak, daemon=True)
        speaking.start()
        with made.daemon:
            made.daemon.start()
            until(lambda: answers(made.port))
            yield made
        ended.set()
        speaking.join()


def line(body: bytes) -> bytes:
    return body + f" *{checksum(body):04X}\n".encode()


def answers(port: int) -> bool:
    """Whether something listens there."""
    import socket

    try:
        with socket.create_connection(("127.0.0.1", port), 1.0):
            return True
    except OSError:
        return False
