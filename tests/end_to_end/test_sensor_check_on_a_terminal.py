"""`curewatch sensor check`, both salts, from the first question to the corrected reading that follows."""

from pathlib import Path

import pexpect
import pytest

from curewatch.clock import SystemClock
from curewatch.logbook import Logbook
from curewatch.physics.saturated_salts import relative_humidity
from curewatch.readings import Flag
from curewatch.simulation.port import SimulatedPort
from curewatch.simulation.reports import JAR
from tests.broker import until
from tests.running import Running
from tests.simulators import SimulatedShed
from tests.terminal import spawn

MINUTES = 41
AGED = "aged:bench@0s"


def in_the_jar(salt: str, until_utc: float) -> list[bytes]:
    """What an aged chip says in the jar for the last forty minutes."""
    shed = SimulatedShed(AGED, jar=salt, start=float(round(until_utc)) - 60.0 * (MINUTES - 1))
    return [line for line in shed.lines(MINUTES) if b" bench " in line]


def answered(talk: pexpect.spawn, salt: str) -> str:
    """The guided check, answered as a person would; what it said."""
    for question, answer in (
        ("Which salt is in the jar", salt),
        ("How long ago was it made wet", "26 h"),
        ("How long has the sensor been in the jar", "40 min"),
        ("Write it into the logbook", ""),
    ):
        talk.expect(question)
        talk.sendline(answer)
    talk.expect(pexpect.EOF)
    talk.close()
    assert talk.exitstatus == 0, talk.before
    return " ".join(talk.before.split())


@pytest.mark.long
def test_two_salts_make_a_correction_for_what_comes_then(tmp_path: Path) -> None:
    """Yesterday's salt from a recording, today's on the port: corrected from then on, due in a year."""
    now = SystemClock().now().utc
    (tmp_path / "yesterday.txt").write_bytes(b"".join(in_the_jar("NaCl", now - 86_400.0)))
    link = tmp_path / "port"
    settings = f'[sensors.bench]\nrole = "air"\npart = "humidity-2"\n[serial.usb]\nurl = "{link}"'
    with SimulatedPort(link) as port, Running(tmp_path, settings) as daemon:
        daemon.start()
        daemon.says("usb answers")
        first = answered(
            spawn(tmp_path, "sensor", "check", "bench", "--recording", "yesterday.txt"), "table salt"
        )
        assert "One more salt is needed for a line (done: NaCl); until then nothing is corrected" in first
        port.write(b"\n" + b"".join(in_the_jar("MgCl2", SystemClock().now().utc)))
        daemon.waits_for(MINUTES, "bench")
        second = answered(spawn(tmp_path, "sensor", "check", "bench"), "MgCl2")
        assert "corrected" in second, second
        until(lambda: len(daemon.entries("sensor-check")) == 2)

        def a_corrected_one() -> bool:
            """The daemon hears of the check within seconds: the board goes on until it has."""
            port.write(in_the_jar("NaCl", SystemClock().now().utc + 2.0)[-1])
            with Logbook(daemon.path, read_only=True) as logbook:
                return bool(logbook.latest()["bench"].flags & Flag.CORRECTED)

        until(a_corrected_one)
        with Logbook(daemon.path, read_only=True) as logbook:
            last = logbook.latest()["bench"]
            check = logbook.entries("sensor-check")[-1]
        truth = float(relative_humidity("NaCl", JAR))
        assert last.relative_humidity == pytest.approx(truth, abs=0.008)
        assert {point["salt"] for point in check.payload["points"]} == {"NaCl", "MgCl2"}
        assert check.payload["due"] - check.at == pytest.approx(365 * 86_400.0, abs=86_400.0)
        listed = spawn(tmp_path, "sensor", "list")
        listed.expect(r"humidity corrected by\s+-[1-4]\.\d % at 75 %")
        listed.expect("check due")
        listed.close()
        assert daemon.stop() == 0
