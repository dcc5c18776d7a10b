"""Each fault that a simulated shed can be asked for is said by the daemon as what it is."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.judge.situation import TroubleKind
from curewatch.clock import ManualClock
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, Show, SourceDown
from curewatch.logbook import Logbook
from curewatch.shed import present
from curewatch.simulation.faults import FaultKind
from curewatch.wording import plain_wording
from tests.simulators import START, SimulatedShed

SETTINGS = configuration.parse(
    '[sensors.bench]\nrole = "air"\n[sensors.spare]\nrole = "air"\n'
    '[sensors.hull]\nrole = "surface"\n[sensors.yard]\nrole = "outside"\n'
)


class Watch:
    """A daemon's core that lives through some hours of a simulated shed, in the shed's own time."""

    def __init__(self, folder: Path, fault: str, hours: float) -> None:
        self.clock = ManualClock(START, 0.0)
        self.shown: list[Show] = []
        self.logbook = Logbook(folder / "logbook.sqlite")
        self.actor = Actor(Core(SETTINGS, self.clock.now()), self.logbook, self.clock, show=self.shown.append)
        self.actor.handle(BytesArrived("usb", b"\n", self.clock.now()))
        plugged = True
        for report in SimulatedShed(fault, spare=True).reports(round(hours * 60)):
            if report.at > self.clock.now().utc:
                self.pass_to(report.at)
            if report.line:
                self.actor.handle(BytesArrived("usb", report.line + b"\n", self.clock.now()))
            elif plugged:
                self.actor.handle(SourceDown("usb", self.clock.now(), "unplugged"))
            plugged = bool(report.line)
        self.pass_to(self.clock.now().utc + 1.0)

    def pass_to(self, utc: float) -> None:
        """The batch's age, a tick that sends it, a tick that looks at what is stored."""
        self.clock.advance(0.5)
        self.actor.tick()
        self.clock.advance_to(utc)
        self.actor.tick()

    def said(self) -> str:
        words = plain_wording()
        return "\n".join(f"{line.kind} {words.say(line.text, line.at)}" for line in self.shown)

    def states(self, sensor: str) -> list[str]:
        """The states that the logbook has of a sensor, one after the other."""
        return [
            entry.payload["health"]
            for entry in self.logbook.entries("health")
            if entry.payload["sensor"] == sensor
        ]

    def kinds(self) -> dict[str, TroubleKind]:
        now = self.clock.now().utc
        return {t.sensor: t.kind for t in present.situation(self.logbook, SETTINGS, now).troubles}


@pytest.mark.parametrize(
    ("fault", "hours", "states", "kind"),
    [
        ("silent:bench@1h", 1.5, ["late", "silent"], TroubleKind.SILENT),
        ("late:bench@1h", 2.0, ["late"], None),
        pytest.param("stuck:bench@30m", 5.0, ["stuck"], TroubleKind.IMPLAUSIBLE, marks=pytest.mark.long),
        ("jump:bench@1h", 1.2, ["disagreeing"], TroubleKind.IMPLAUSIBLE),
        ("jumping:bench@1h", 1.2, ["disagreeing", "fresh", "jumping"], TroubleKind.IMPLAUSIBLE),
        ("drift:bench@30m", 2.0, ["disagreeing"], TroubleKind.IMPLAUSIBLE),
        ("aged:bench@30m", 1.0, [], None),
        ("saturated:bench@30m", 2.0, ["disagreeing", "saturated"], None),
        ("exchanged:bench@1h", 1.5, ["swapped"], TroubleKind.IMPLAUSIBLE),
        ("exchanged:yard@1h", 1.5, ["swapped"], TroubleKind.IMPLAUSIBLE),
        ("clock-back:bench@30m", 1.0, ["late", "silent"], TroubleKind.CLOCK),
    ],
)
@pytest.mark.few(2)
def test_a_sensor_that_is_ill_is_said_to_be(
    tmp_path: Path, fault: str, hours: float, states: list[str], kind: TroubleKind | None
) -> None:
    """Its health in the logbook and on the screen, and what the answer makes of it.

    A chip that has merely aged shows in no state: that is what the salt check is for.
    """
    watch = Watch(tmp_path, fault, hours)
    assert watch.states("bench") == states
    assert watch.kinds().get("bench") == kind
    assert not states or f"health bench: {states[-1]}" in watch.said()
    watch.logbook.close()


@pytest.mark.long
@pytest.mark.parametrize(
    ("fault", "reason", "kind"),
    [
        ("swapped:bench@1h", "temperature and humidity look swapped", TroubleKind.IMPLAUSIBLE),
        ("fahrenheit:bench@1h", "looks like Fahrenheit", TroubleKind.IMPLAUSIBLE),
        ("failed:bench@1h", "not a number", TroubleKind.IMPLAUSIBLE),
        ("clock-1970:bench@1h", "stamp from before the sensor's clock was set", TroubleKind.IMPLAUSIBLE),
        ("clock-ahead:bench@1h", "stamp in the future", TroubleKind.IMPLAUSIBLE),
        ("clock-back:bench@1h", "stamp too old", TroubleKind.IMPLAUSIBLE),
        ("cut:bench@1h", "checksum missing", TroubleKind.SILENT),
        ("noise@1h", "not text: wrong baud rate?", TroubleKind.SILENT),
    ],
)
@pytest.mark.few(3)
def test_what_cannot_be_a_reading_is_refused_and_its_sensor_missed(
    tmp_path: Path, fault: str, reason: str, kind: TroubleKind
) -> None:
    """The reason is shown, the silence that follows is an entry, and the answer is unknown."""
    watch = Watch(tmp_path, fault, 1.5)
    assert reason in watch.said()
    assert watch.states("bench") == ["late", "silent"]
    assert watch.kinds()["bench"] is kind
    [gap] = [e.payload for e in watch.logbook.entries("gap") if e.payload["sensor"] == "bench"]
    assert (gap["end"], gap["reason"]) == (None, "silent")
    watch.logbook.close()


@pytest.mark.long
@pytest.mark.parametrize("fault", ["silent@1h+30m", "unplug@1h+30m", "clock-1970@1h+30m"])
def test_a_silence_that_ends_is_a_gap_with_both_ends(tmp_path: Path, fault: str) -> None:
    """Also after a clock that was never set has jumped to the time: what came before it stays unknown."""
    watch = Watch(tmp_path, fault, 2.0)
    ends = [e.payload["end"] - e.payload["start"] for e in watch.logbook.entries("gap") if e.payload["end"]]
    assert ends == [pytest.approx(31 * 60.0, abs=61.0)] * 4
    assert "reports again; nothing is known of 31 min" in watch.said()
    assert watch.kinds() == {}
    watch.logbook.close()


@pytest.mark.long
def test_the_neighbour_of_an_ill_sensor_is_left_in_peace(tmp_path: Path) -> None:
    """Once it is plain which of two is stuck, only that one is a trouble."""
    watch = Watch(tmp_path, "stuck:bench@30m", 4.5)
    assert set(watch.kinds()) == {"bench"}
    watch.logbook.close()


def test_every_fault_there_is_stands_above() -> None:
    """A new kind of fault asks for its test here."""
    here = Path(__file__).read_text(encoding="utf-8")
    tried = {kind for kind in FaultKind for mark in ":@" if f'"{kind.value}{mark}' in here}
    assert tried == set(FaultKind)
