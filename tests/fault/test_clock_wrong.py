"""The clock goes back, forward, starts in 1970, meets a change of summer time and a leap day."""

import time
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.judge.situation import TroubleKind
from curewatch.clock import ManualClock, SystemClock, utc_from_iso
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, Show
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from curewatch.shed import present
from curewatch.wire.lines import checksum

START = utc_from_iso("2026-11-25T20:00:00Z")
SETTINGS = configuration.parse('[shed]\nzone = "Europe/Lisbon"\n[sensors.bench]\nrole = "air"\n')


class Night:
    """A daemon's core on a clock that can be set, and a board without one that reports every minute."""

    def __init__(self, folder: Path, start: float) -> None:
        self.clock = ManualClock(start, 0.0)
        self.logbook = Logbook(folder / "logbook.sqlite")
        self.shown: list[Show] = []
        self.actor = Actor(Core(SETTINGS, self.clock.now()), self.logbook, self.clock, show=self.shown.append)
        self.number = 0
        self.actor.handle(BytesArrived("usb", b"\n", self.clock.now()))

    def pass_minutes(self, minutes: int) -> None:
        for _ in range(minutes):
            for _ in range(60):
                self.clock.advance(1.0)
                self.actor.tick()
            self.number += 1
            body = f"cw1 bench t={12 + self.number % 5 / 100:.2f} h=71.00 n={self.number}".encode()
            data = body + f" *{checksum(body):04X}\n".encode()
            self.actor.handle(BytesArrived("usb", data, self.clock.now()))
        self.clock.advance(1.0)
        self.actor.tick()

    def clock_troubles(self) -> list[str]:
        found = present.situation(self.logbook, SETTINGS, self.clock.now().utc)
        return [each.reason for each in found.troubles if each.kind is TroubleKind.CLOCK]

    def gaps(self) -> list[float]:
        return [
            entry.payload["end"] - entry.payload["start"]
            for entry in self.logbook.entries("gap")
            if entry.payload["end"] is not None
        ]


@pytest.mark.parametrize("step", [-3 * 3600.0, 3 * 3600.0, -90.0, 86_400.0])
def test_a_clock_that_steps_is_doubted_until_the_sensors_spoke(tmp_path: Path, step: float) -> None:
    """The step is an entry with its size; unknown until the next reading; no reading is lost."""
    night = Night(tmp_path, START)
    night.pass_minutes(10)
    assert night.clock_troubles() == []
    night.clock.set_utc(night.clock.now().utc + step)
    night.clock.advance(1.0)
    night.actor.tick()
    night.clock.advance(1.0)
    night.actor.tick()
    [entry] = night.logbook.entries("clock")  # the fault happened
    assert entry.payload["step"] == pytest.approx(step, abs=0.1)
    assert night.clock_troubles()
    night.pass_minutes(3)
    assert night.clock_troubles() == []
    assert night.logbook.sensors()["bench"].readings == 13
    night.logbook.verify()
    night.logbook.close()


def test_a_laptop_that_slept_is_a_gap_and_no_step(tmp_path: Path) -> None:
    """Eight hours under a closed lid: both faces of the clock went on, so it is a silence of the sensors."""
    night = Night(tmp_path, START)
    night.pass_minutes(5)
    night.clock.advance(8 * 3600.0)
    night.pass_minutes(3)
    assert night.logbook.entries("clock") == []
    assert night.clock_troubles() == []
    assert night.gaps() == [pytest.approx(8 * 3600.0, abs=120.0)]
    night.logbook.close()


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="this system has no clock that counts sleep")
def test_durations_come_from_the_clock_that_counts_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine's clock for durations is the one that goes on while it sleeps."""
    asked: list[int] = []
    with monkeypatch.context() as patched:
        patched.setattr(time, "clock_gettime", lambda which: asked.append(which) or 1.0)
        SystemClock().now()
    assert asked == [time.CLOCK_BOOTTIME]


def test_a_board_computer_that_wakes_in_1970(tmp_path: Path) -> None:
    """Nothing it stamps is believed; when the network sets the clock, readings after that are."""
    night = Night(tmp_path, 30.0)
    night.pass_minutes(5)
    assert night.clock_troubles() == ["this machine's clock is not set"]
    night.clock.set_utc(START)
    night.pass_minutes(3)
    assert night.clock_troubles() == []
    assert night.logbook.sensors()["bench"].readings == 8
    place = present.situation(night.logbook, SETTINGS, night.clock.now().utc).air
    assert place is not None
    assert place.time > START
    night.logbook.close()


@pytest.mark.long
@pytest.mark.parametrize(
    "around", ["2026-03-29T00:30:00Z", "2026-10-25T00:30:00Z", "2028-02-28T23:30:00Z", "2028-02-29T23:30:00Z"]
)
def test_summer_time_and_leap_days_are_nothing_special(tmp_path: Path, around: str) -> None:
    """Two hours across the change: evenly spaced stamps, no step, no gap, no trouble."""
    night = Night(tmp_path, utc_from_iso(around))
    night.pass_minutes(70)
    assert night.logbook.entries("clock") == []
    assert night.gaps() == []
    assert night.clock_troubles() == []
    times = night.logbook.series("bench").time
    assert max(abs(times[1:] - times[:-1] - 60.0)) < 1e-3
    night.logbook.close()


def test_what_lies_before_a_clock_that_was_set_back_is_not_fresh(tmp_path: Path) -> None:
    """A board without a battery clock starts an hour or more behind its own logbook, and no daemon saw that.

    What was measured at that hour is old: nothing has come since. Controls: the newest moment; so little
    that a sender's own clock may be ahead; and what came since, though it is stamped before the last.
    """

    def told(minutes: float) -> list[str]:
        found = present.situation(logbook, SETTINGS, START + 60.0 * minutes)
        return [each.reason for each in found.troubles if each.kind is TroubleKind.CLOCK]

    def heard(first: int, last: int, temperature: float) -> None:
        for minute in range(first, last + 1):
            at = START + 60.0 * minute
            logbook.append([Reading("bench", at, at, temperature + minute % 5 / 100, 0.7)])

    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        heard(0, 180, 285.0)
        assert told(180) == told(176) == []
        assert told(60) == ["its last stamp lies 2.0 h ahead of this machine's clock"]
        assert told(-600) == ["its last stamp lies 13.0 h ahead of this machine's clock"]
        logbook.close_block()
        assert told(60) == ["its last stamp lies 2.0 h ahead of this machine's clock"]
        recorded = present.situation(logbook, SETTINGS, START + 3600.0, not_before=0.0)
        assert recorded.troubles == ()  # a moment of a recording that went on
        heard(61, 62, 284.5)
        assert told(62) == []
