"""The cable is pulled, cut, noisy, endless: every whole line is stored, nothing that was cut is a reading."""

from pathlib import Path

import pytest
import serial

from curewatch.daemon.edges.serial_port import why
from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.broker import until
from tests.running import Running

SENSORS = '[sensors.bench]\nrole = "air"\n'


def line(number: int, temperature: float = 12.5) -> bytes:
    body = f"cw1 bench t={temperature:.2f} h=71.00 n={number}".encode()
    return body + f" *{checksum(body):04X}\n".encode()


@pytest.mark.long
def test_unplugged_in_mid_line_and_back(tmp_path: Path) -> None:
    """The half before and the half after never become one number; the port is found again by itself."""
    link = tmp_path / "port"
    with SimulatedPort(link) as port, Running(tmp_path, f'{SENSORS}[serial.usb]\nurl = "{link}"') as daemon:
        daemon.start()
        daemon.says("usb answers")
        port.write(b"\n" + line(1) + line(2) + b"cw1 bench t=1")
        daemon.waits_for(2)
        port.unplug()
        daemon.says("usb does not answer")  # the fault happened
        port.plug()
        until(lambda: daemon.text().count("usb answers") == 2)
        port.write(b"2.50 h=71.00 n=3 *0000\n" + line(4) + line(5))
        daemon.waits_for(4)
        assert daemon.stop() == 0
        assert daemon.numbers("bench") == [1, 2, 4, 5]


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("/dev/serial/by-id/none", "it is not there"),
        ("socket://127.0.0.1:1", "Connection refused"),
        ("rfc2217://127.0.0.1:1", "Connection refused"),
        ("bluetooth://bench", "protocol 'bluetooth' not known"),
        (__file__, "it is no serial port"),
        ("/dev", "it is no serial port"),
    ],
)
def test_why_a_port_cannot_be_opened_is_said_once_and_plainly(url: str, said: str) -> None:
    """In a few words, without the numbers and file names that a library repeats."""
    with pytest.raises((OSError, ValueError)) as caught:
        serial.serial_for_url(url)
    assert said in why(caught.value)
    assert "Errno" not in why(caught.value)


def test_an_unplugged_port_is_called_so(tmp_path: Path) -> None:
    """Whatever the system says when a cable is pulled, the line says unplugged."""
    link = tmp_path / "port"
    with SimulatedPort(link) as port, serial.Serial(str(link), timeout=1.0) as opened:
        port.unplug()
        with pytest.raises(OSError) as caught:  # noqa: PT011 - the operating system chooses which
            opened.read(1)
    assert why(caught.value).startswith("unplugged")


@pytest.mark.long
def test_a_cut_number_is_no_reading(tmp_path: Path) -> None:
    """A line that lost its tail parses nowhere: the checksum is what tells."""
    with SimulatedPort() as port, Running(tmp_path, f'{SENSORS}[serial.usb]\nurl = "{port.url}"') as daemon:
        daemon.start()
        daemon.says("usb answers")
        whole = line(1, 12.5)
        port.write(b"\n" + b"".join(whole[:at] + b"\n" for at in range(1, len(whole) - 1)) + line(2))
        daemon.waits_for(1)
        daemon.says("rejected")
        assert daemon.stop() == 0
        assert daemon.numbers("bench") == [2]


@pytest.mark.long
def test_ten_megabytes_without_a_newline(tmp_path: Path) -> None:
    """Refused once, memory flat, and the next whole line is a reading."""
    with SimulatedPort() as port, Running(tmp_path, f'{SENSORS}[serial.usb]\nurl = "{port.url}"') as daemon:
        daemon.start()
        daemon.says("usb answers")
        port.write(b"\n" + line(1))
        daemon.waits_for(1)
        before = daemon.resident()
        sent = 0
        while sent < 10_000_000:
            port.write(b"A" * 4096)
            until(lambda: not port.waiting)
            sent += 4096
        assert port.dropped == 0
        port.write(b"\n" + line(2))
        daemon.waits_for(2)
        assert daemon.resident() - before < 4.0
        assert daemon.stop() == 0
        assert daemon.numbers("bench") == [1, 2]


@pytest.mark.long
def test_noise_and_a_wrong_baud_rate_are_said(tmp_path: Path) -> None:
    """Bytes that are no text are counted; when they stay, the baud rate is suspected by name."""
    import random

    noise = random.Random(3)
    with SimulatedPort() as port, Running(tmp_path, f'{SENSORS}[serial.usb]\nurl = "{port.url}"') as daemon:
        daemon.start()
        daemon.says("usb answers")
        for _ in range(60):
            port.write(bytes(noise.randrange(128, 256) for _ in range(80)) + b"\n")
        daemon.says("wrong baud rate?")
        port.write(b"\n" + line(1))
        daemon.waits_for(1)
        assert daemon.stop() == 0
        assert daemon.numbers("bench") == [1]
