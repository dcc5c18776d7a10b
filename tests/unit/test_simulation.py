"""The simulated shed: the same seed gives the same bytes, and each fault shows as what it is."""

import os
from pathlib import Path

import pytest

from curewatch.clock import Instant
from curewatch.errors import UsageError
from curewatch.physics.moist_air import dew_point, vapour_pressure
from curewatch.readings import Flag, Reading, Rejected
from curewatch.simulation import saltmarsh
from curewatch.simulation.faults import FaultKind, parse_fault
from curewatch.simulation.outputs import FORMS, numbers, payload
from curewatch.simulation.reports import reports
from curewatch.wire import Parser, Reason
from tests.simulators import START, SimulatedPort, SimulatedShed

RECORDING = Path(__file__).parents[2] / "recordings" / "saltmarsh-evening.txt"


def events(shed: SimulatedShed, count: int) -> list[Reading | Rejected]:
    parser = Parser()
    return [
        event
        for report in shed.reports(count)
        for event in parser.line(report.line, Instant(report.at, report.at), "simulated")
    ]


def test_the_same_seed_gives_the_same_bytes():
    """A simulation that did not repeat could not be argued about."""
    assert SimulatedShed(seed=3).lines(50) == SimulatedShed(seed=3).lines(50)
    assert SimulatedShed(seed=3).lines(50) != SimulatedShed(seed=4).lines(50)


def test_the_recording_is_what_its_command_makes():
    """The demo's recording is made, not edited: the plan and the file agree byte for byte."""
    count = int(saltmarsh.HOURS * 60) + 1
    made = b"".join(report.line + b"\n" for report in reports(saltmarsh.evening(), count))
    told = [line for line in RECORDING.read_bytes().splitlines(keepends=True) if not line.startswith(b"#")]
    assert b"".join(told) == made
    assert b"INVENTED" in RECORDING.read_bytes()[:200]


def test_the_evening_has_the_shape_the_demonstration_tells():
    """A warm, dry afternoon; by nine the hull stands within 3 K of the dew point."""
    parser = Parser()
    last: dict[tuple[str, int], Reading] = {}
    for line in RECORDING.read_bytes().splitlines():
        for event in parser.line(line, Instant(saltmarsh.START + 8 * 3600, 0.0)):
            assert isinstance(event, Reading), event
            last[event.sensor, int(event.time - saltmarsh.START) // 1800] = event
    margins = [
        last["hull", half].temperature
        - float(
            dew_point(vapour_pressure(last["bench", half].temperature, last["bench", half].relative_humidity))
        )
        for half in range(16)
    ]
    assert min(margins[:6]) > 8.0
    assert max(margins[13:]) < 3.0
    assert 288.0 < last["bench", 0].temperature < 290.0


@pytest.mark.long
def test_whole_reports_are_plausible():
    """Without a fault every report of a day is a reading without flags."""
    told = events(SimulatedShed(), 1440)
    assert len(told) == 3 * 1440
    assert all(isinstance(event, Reading) and event.flags == 0 for event in told)


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ("cut@0s", {Reason.NO_CHECKSUM, Reason.CUT_OFF, Reason.BAD_CHECKSUM}),
        ("noise@0s", {Reason.NOT_TEXT}),
        ("clock-1970@0s", {Reason.CLOCK_UNSET}),
        ("failed@0s", {Reason.BAD_NUMBER}),
        ("swapped:bench@5m", {Reason.SWAPPED}),
    ],
)
def test_a_fault_that_spoils_the_line_is_refused_with_its_reason(fault, reason):
    """Each fault shows as itself at the door."""
    spoilt = [event for event in events(SimulatedShed(fault), 30) if isinstance(event, Rejected)]
    assert spoilt
    assert {event.reason for event in spoilt} <= reason


def test_a_jump_is_kept_and_flagged():
    """Eight kelvin within a minute is more than air can move."""
    told = [event for event in events(SimulatedShed("jump:bench@10m"), 12) if event.sensor == "bench"]
    assert [bool(event.flags & Flag.JUMP) for event in told] == [False] * 10 + [True, False]


def test_a_stuck_sensor_repeats_and_a_silent_one_says_nothing():
    """The last value for ever; and nothing at all, for as long as asked."""
    stuck = [event for event in events(SimulatedShed("stuck:bench@5m"), 20) if event.sensor == "bench"]
    assert len({event.temperature for event in stuck[4:]}) == 1
    silent = events(SimulatedShed("silent:yard@5m+10m"), 20)
    assert sum(event.sensor == "yard" for event in silent) == 10


@pytest.mark.parametrize("text", ["silent", "melt@2h", "silent@2", "silent@2h+", "silent:a b@2h"])
def test_a_fault_that_is_not_one_is_a_usage_error(text):
    """The message names what is allowed."""
    with pytest.raises(UsageError, match="Use"):
        parse_fault(text)


@pytest.mark.parametrize("form", FORMS)
def test_each_form_of_a_report_says_the_same(form):
    """A broker may be given our line, SenML or plain JSON."""
    for report in SimulatedShed().reports(1):
        (event,) = Parser().payload(payload(report, form), Instant(START, 0.0), "topic", report.sensor)
        assert event.sensor == report.sensor
        assert event.time == report.at
        assert event.temperature == pytest.approx(report.said.temperature_c + 273.15)


def test_a_simulated_port_carries_bytes_and_can_be_unplugged(tmp_path):
    """A reader gets what the board wrote; an error when the cable is pulled; and bytes when it is back."""
    with SimulatedPort(tmp_path / "port") as port:
        reader = os.open(port.url, os.O_RDWR | os.O_NOCTTY)
        port.write(b"T=1 RH=2\n")
        assert os.read(reader, 100) == b"T=1 RH=2\n"
        port.unplug()
        assert not Path(port.url).exists()
        with pytest.raises(OSError, match="Input/output error"):
            os.write(reader, b"x")
        os.close(reader)
        port.write(b"lost\n")
        assert port.dropped == 5
        port.plug()
        reader = os.open(port.url, os.O_RDWR | os.O_NOCTTY)
        port.write(b"T=3 RH=4\n")
        assert os.read(reader, 100) == b"T=3 RH=4\n"
        os.close(reader)


def test_a_port_that_nobody_reads_stays_bounded():
    """What nobody reads is dropped and counted."""
    with SimulatedPort() as port:
        for _ in range(300):
            port.write(b"x" * 1000)
        assert port.dropped > 100_000
        assert len(port._held) <= 65_536


def test_unplugging_is_a_fault_of_the_port():
    """A report during the fault carries no line and names the fault."""
    (first, *_) = [
        report for report in SimulatedShed("unplug:bench@0s").reports(1) if report.sensor == "bench"
    ]
    assert first.line == b""
    assert first.faults == (FaultKind.UNPLUG,)


def test_bare_numbers_say_what_the_report_says():
    """Two messages a report, one of a probe without humidity; a chip that failed sends what boards print."""
    told = {report.sensor: numbers(report) for report in SimulatedShed().reports(1)}
    assert [word for word, _ in told["bench"]] == ["temperature", "humidity"]
    assert [word for word, _ in told["hull"]] == ["temperature"]
    report = next(iter(SimulatedShed().reports(1)))
    assert float(told["bench"][0][1]) == report.said.temperature_c
    [(_, said), _] = numbers(next(iter(SimulatedShed("failed:bench@0s").reports(1))))
    assert said == b"nan"


def test_a_spare_sensor_lies_beside_the_benchs():
    """It measures the same air with its own error, and is not there unless asked for."""
    last = {report.sensor: report.said for report in SimulatedShed(spare=True).reports(60)}
    assert set(last) == {"bench", "spare", "hull", "yard"}
    assert last["spare"] != last["bench"]
    assert abs(last["spare"].temperature_c - last["bench"].temperature_c) < 1.0
    assert abs(last["spare"].humidity_percent - last["bench"].humidity_percent) < 6.0
