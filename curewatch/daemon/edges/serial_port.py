"""One serial port: opens it, reads what is there, leaves bytes and an instant in the inbox.

Reads what has arrived instead of ``readline``: that returns partial lines when time runs out (pyserial
issues 248, 730). An unplugged port raises SerialException, or a bare OSError from ``in_waiting``, while
``is_open`` stays true (issues 331, 341): so every OSError closes the port and it is opened anew, later
each time.
"""

import errno
import os
import re
import threading
from typing import Any

import serial

from curewatch.clock import Clock
from curewatch.configuration import SerialSource
from curewatch.daemon.edges.waiting import BackOff
from curewatch.daemon.events import BytesArrived, Overflowed, SourceDown, SourceUp
from curewatch.daemon.inbox import Inbox

READ_TIMEOUT = 0.3  # so that a stop is noticed soon [s]
CHUNK = 4096  # bytes left in the inbox at once


class SerialPort:
    """A thread with one port."""

    def __init__(self, name: str, source: SerialSource, inbox: Inbox, clock: Clock) -> None:
        self.name = name
        self._source = source
        self._inbox = inbox
        self._clock = clock
        self._stopping = threading.Event()
        self._overflow = 0  # chunks that found the inbox full since the last that did not
        self._thread = threading.Thread(target=self._run, name=f"serial {name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        self._thread.join(timeout=2.0)

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        back_off = BackOff(self._stopping)
        while not self._stopping.is_set():
            try:
                with self._opened() as port:
                    self._inbox.put(self.name, SourceUp(self.name, self._clock.now(), self._source.url))
                    back_off.reset()
                    self._listen(port)
            except (
                OSError,
                ValueError,
            ) as trouble:  # SerialException is an OSError; ValueError: a bad URL or baud
                self._inbox.put(self.name, SourceDown(self.name, self._clock.now(), why(trouble)))
                back_off.wait()

    def _opened(self) -> serial.SerialBase:
        port = serial.serial_for_url(self._source.url, do_not_open=True)
        port.baudrate = self._source.baud
        port.timeout = READ_TIMEOUT
        if isinstance(port, serial.Serial):
            port.exclusive = True  # stops other exclusive openers only (issue 484), and that is worth having
        port.open()
        return port

    def _listen(self, port: Any) -> None:
        while not self._stopping.is_set():
            data = bytearray()
            try:
                data += port.read(1)
                while data and len(data) < CHUNK and (waiting := port.in_waiting):
                    data += port.read(min(waiting, CHUNK))
            finally:  # what came before the cable was pulled still counts
                if data:
                    self._leave(bytes(data))

    def _leave(self, data: bytes) -> None:
        now = self._clock.now()
        if not self._inbox.put(self.name, BytesArrived(self.name, data, now)):
            self._overflow += 1
        elif self._overflow and self._inbox.put(self.name, Overflowed(self.name, now, self._overflow)):
            self._overflow = 0


_SAID = {
    errno.ENOENT: "it is not there: plugged in, switched on, the right name?",
    errno.EACCES: "no permission to open it: `sudo usermod -a -G dialout $USER`, then log in again",
    errno.EAGAIN: "another program has it open",
    errno.EBUSY: "another program has it open",
    errno.EIO: "unplugged",
    errno.ENOTTY: "it is no serial port; list them: ls /dev/serial/by-id",
    errno.EISDIR: "it is no serial port; list them: ls /dev/serial/by-id",
}
_NUMBER = re.compile(r"(?:\[Errno |\()(\d+)[],]")  # pyserial writes it into its own sentence


def why(trouble: Exception) -> str:
    """What is wrong with a port, in one line: our words where they help, else the system's own."""
    text = " ".join(str(trouble).split())[:200]
    told = _NUMBER.search(text)
    number = int(told[1]) if told else getattr(trouble, "errno", None)
    if isinstance(number, int):
        return _SAID.get(number) or os.strerror(number)
    if "readiness to read" in text:
        return "unplugged, or another program reads from it too"
    return "the other end closed the connection" if "socket disconnected" in text else text
