"""Edge: which serial ports there are, and what is on one for a few seconds."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from curewatch.cli.setup.heard import UNNAMED, Collection, Hearing, Message, ReadMessage
from curewatch.cli.setup.pointing import can_be_pointed_at
from curewatch.clock import Clock
from curewatch.daemon.edges.serial_port import why
from curewatch.readings import Reading, Rejected
from curewatch.wire import LineFramer, Parser, Reason

STEADY = Path("/dev/serial/by-id")  # names that stay when a cable is plugged in elsewhere
SPEEDS = (115_200, 9_600)  # tried in this order, while bytes come that are no lines
CHUNK = 4096


class Port(NamedTuple):
    """One serial port as a person finds it."""

    url: str  # the steady name where there is one
    device: str  # as the kernel numbers it today
    title: str  # what the adapter calls itself


def ports() -> list[Port]:
    """Every serial port of this machine, those with a steady name first."""
    from serial.tools.list_ports import comports

    steady = {path.resolve(): path for path in sorted(STEADY.glob("*"))} if STEADY.is_dir() else {}
    found = [
        Port(str(steady.get(Path(each.device), each.device)), each.device, each.description or "")
        for each in comports()
        if each.hwid != "n/a"  # the board's own empty sockets
    ]
    return sorted(found, key=lambda port: (port.url == port.device, port.url))


def listen(
    url: str,
    seconds: float,
    clock: Clock,
    tell: Callable[[str], None],
    *,
    enough: Callable[[], bool] = lambda: False,
) -> Hearing:
    """Open a port, tell its lines as they come, and say what could be read in them; ``enough`` ends it."""
    survey = Hearing()
    for speed in SPEEDS:
        survey = _listen_at(url, seconds, clock, tell, enough=enough, baud=speed)
        if survey.heard or survey.unread or survey.trouble or not survey.rejected:
            return survey
        tell(f"bytes came that are no lines at {speed} baud")
    return survey


def _listen_at(
    url: str,
    seconds: float,
    clock: Clock,
    tell: Callable[[str], None],
    *,
    enough: Callable[[], bool],
    baud: int,
) -> Hearing:
    import serial

    found = Collection("serial")
    framer, parser = LineFramer(source=url), Parser(check=False)
    try:
        with serial.serial_for_url(url, baudrate=baud, timeout=0.2) as port:
            begun = clock.now().monotonic
            end = begun + seconds
            while clock.now().monotonic < end and not enough():
                if found.whole(clock.now().monotonic - begun):
                    break
                data = port.read(min(CHUNK, max(1, port.in_waiting)))
                at = clock.now()
                for framed in framer.feed(data, at.utc):
                    if isinstance(framed, Rejected):
                        found.rejected += 1
                        if framed.reason == Reason.WRONG_BAUD and not found.heard:
                            end = 0.0  # another speed; the lines after it are noise too
                        continue
                    tell(framed.decode("utf-8", "replace"))
                    said = parser.line(framed, at, url, sensor=UNNAMED)
                    if not any(isinstance(one, Reading) for one in said) and can_be_pointed_at(framed):
                        found.pass_over(Message(url, framed))
                    _sort(said, found, url)
    except (
        OSError,
        ValueError,
    ) as trouble:  # serial's own errors are OSErrors; a bad address is a ValueError
        return Hearing(found.heard, found.rejected, trouble=why(trouble), baud=baud)
    return Hearing(found.heard, found.rejected, baud=baud, unread=found.unread)


class FollowedPort(NamedTuple):
    """A port that was heard, to hear its next lines."""

    baud: int
    seconds: float
    clock: Clock
    enough: Callable[[], bool]

    def next(self, topic: str, read: ReadMessage) -> Reading | Rejected | None:
        """What ``read`` makes of the next lines: a reading, else the last rejection; None if none came."""
        import serial

        last: Reading | Rejected | None = None
        framer, end = LineFramer(source=topic), self.clock.now().monotonic + self.seconds
        with suppress(OSError), serial.serial_for_url(topic, baudrate=self.baud, timeout=0.2) as port:
            while self.clock.now().monotonic < end and not isinstance(last, Reading) and not self.enough():
                at = self.clock.now()
                for line in framer.feed(port.read(min(CHUNK, max(1, port.in_waiting))), at.utc):
                    if isinstance(line, bytes) and not isinstance(last, Reading):
                        last = read(Message(topic, line), at) or last
        return last


def _sort(events: list[Reading | Rejected], found: Collection, url: str) -> None:
    for event in events:
        if isinstance(event, Rejected):
            found.rejected += 1
        else:
            found.take(event, url)
