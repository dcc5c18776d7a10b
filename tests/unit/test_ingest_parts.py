"""The small parts of ingest: the inbox, the deliveries, the clock, refusals, topics."""

import subprocess
import sys
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch import configuration
from curewatch.clock import Instant
from curewatch.daemon import deliveries, rejections
from curewatch.daemon.batch import CommitBatch
from curewatch.daemon.deliveries import Deliveries, mark
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import BytesArrived, MessageArrived, Tick
from curewatch.daemon.inbox import LIMIT, TURN, Inbox
from curewatch.daemon.intake import Intake
from curewatch.readings import Reading, Rejected
from curewatch.shed import clock_watch
from curewatch.wire import Reason
from tests.broker import PATIENCE

START = 1_790_000_000.0
TWO_SENSORS = '[sensors.loft]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'


def test_a_flooding_source_takes_its_turn() -> None:
    """Ten thousand waiting events of one source do not delay the one event of another."""
    inbox = Inbox(limit=20_000)
    for number in range(10_000):
        inbox.put("flood", Tick(Instant(float(number), 0.0)))
    inbox.put("quiet", Tick(Instant(-1.0, 0.0)))
    taken = inbox.take(0.0)
    assert len(taken) == TURN + 1
    assert taken[-1] == Tick(Instant(-1.0, 0.0))
    assert inbox.waiting("flood") == 10_000 - TURN


def test_the_inbox_is_bounded_and_keeps_order() -> None:
    """What does not fit is refused at the door; what fitted comes out as it went in."""
    inbox = Inbox()
    taken = [inbox.put("a", Tick(Instant(float(number), 0.0))) for number in range(LIMIT + 5)]
    assert taken.count(False) == 5
    out: list[float] = []
    while events := inbox.take(0.0):
        out.extend(event.at.utc for event in events)
    assert out == [float(number) for number in range(LIMIT)]


def test_the_inbox_loses_nothing_between_threads() -> None:
    """Four threads put while one takes: everything arrives, in each thread's own order."""
    inbox = Inbox(limit=100_000)

    def fill(name: str) -> None:
        for number in range(2_000):
            inbox.put(name, Tick(Instant(float(number), 0.0)))

    threads = [threading.Thread(target=fill, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    count = 0
    while count < 8_000 and (events := inbox.take(PATIENCE)):
        count += len(events)
    for thread in threads:
        thread.join()
    assert count == 8_000


@pytest.mark.long
@given(st.lists(st.tuples(st.integers(0, 65_535), st.integers(0, 2**32 - 1)), max_size=60), st.integers(1, 9))
def test_deliveries_survive_in_their_notes(given: list[tuple[int, int]], batch: int) -> None:
    """However they were divided into commits, the next process knows what the last one stored; no other."""
    marks = [mark(f"creek/{topic}", b"12.3", identifier) for identifier, topic in given]
    notes: dict[str, bytes] = {}
    kept = Deliveries("yard", notes.get)
    for begin in range(0, len(marks), batch):
        for each in marks[begin : begin + batch]:
            kept.add(each)
        notes.update([kept.close()])
    kept.add(mark("creek/never committed", b"12.3", 1))
    after = Deliveries("yard", notes.get)
    assert all(each in kept and each in after for each in marks)
    assert mark("creek/never committed", b"12.3", 1) in kept
    assert mark("creek/never committed", b"12.3", 1) not in after


def test_deliveries_are_bounded_and_tell_apart() -> None:
    """The last commits alone are kept, also over a restart; topic, content and identifier tell two apart."""
    notes = {deliveries.note_key("yard", 0): b"\x01\x02"}  # a torn note is no reason to fail
    for first in range(0, 3 * deliveries.KEPT, 50):
        kept = Deliveries("yard", notes.get)
        for number in range(first, first + 50):
            kept.add(mark("a", b"x", number))
            notes.update([kept.close()])
    assert len(notes) == deliveries.KEPT
    last = number
    for known in (kept, Deliveries("yard", notes.get)):
        assert mark("a", b"x", last - deliveries.KEPT + 1) in known
        assert mark("a", b"x", last - deliveries.KEPT) not in known
    assert mark("a", b"x", last) not in Deliveries("creek", notes.get)
    assert len({mark("a", b"x", 1), mark("b", b"x", 1), mark("a", b"y", 1), mark("a", b"x", 2)}) == 4


@pytest.mark.parametrize(
    ("before", "after", "step", "doubt"),
    [
        (START, START + 1.0, None, False),
        (START, START + 1.5, None, False),
        (START, START + 11.0, 10.0, False),
        (START, START + 3601.0, 3600.0, True),
        (START, START - 3599.0, -3600.0, True),
        (100.0, START, START - 101.0, True),
    ],
)
def test_a_step_of_the_clock_is_noticed(before: float, after: float, step: float | None, doubt: bool) -> None:
    """The wall clock against the monotonic one: small steps are noted, large ones bring doubt."""
    state, moved = clock_watch.step(clock_watch.ClockState(), Instant(before, 50.0))
    assert moved is None
    state, moved = clock_watch.step(state, Instant(after, 51.0))
    assert (moved is None) == (step is None)
    if moved is not None:
        assert moved.size == pytest.approx(step)
    assert (state.stepped_at is not None) == doubt
    assert state.believed == (after >= clock_watch.NOT_BEFORE)


def test_daylight_saving_and_leap_days_are_no_steps() -> None:
    """Stamps are UTC: nothing happens at the hours when a shed's own clock jumps."""
    for hour in (
        "2027-03-28T01:00:00Z",
        "2027-10-31T01:00:00Z",
        "2028-02-29T00:00:00Z",
        "2028-03-01T00:00:00Z",
    ):
        from curewatch.clock import utc_from_iso

        utc = utc_from_iso(hour)
        state, _ = clock_watch.step(clock_watch.ClockState(), Instant(utc - 1.0, 0.0))
        assert clock_watch.step(state, Instant(utc + 1.0, 2.0))[1] is None


def test_refusals_are_told_at_once_and_then_ever_more_seldom() -> None:
    """A sensor that prints noise all night makes a dozen lines, and all of it is counted."""
    counted = rejections.RejectionTally()
    told = []
    for second in range(10 * 3600):
        counted.add(Rejected("not text", b"\xff\x1b[2J", START + second, "usb"))
        told.extend((second, said) for said in counted.due(float(second)))
    assert [second // 60 for second, _ in told[:7]] == [0, 1, 3, 7, 15, 31, 63]
    assert 12 <= len(told) <= 16
    assert told[1][1].detail["count"] == 60
    assert counted.total == 36_000
    assert "\x1b" not in told[0][1].detail["sample"]
    counted.add(Rejected("not text", b"x", START, "usb"))
    assert counted.due(20 * 3600.0)  # after hours of quiet it begins anew
    counted.add(Rejected("not text", b"x", START, "usb"))
    assert counted.due(20 * 3600.0 + rejections.FIRST)


def test_the_first_refusal_of_a_kind_says_what_to_do() -> None:
    """The advice stands in the first line of each kind, and no longer in those that follow."""
    counted, told = rejections.RejectionTally(), []
    for second in (0.0, 120.0):
        counted.add(Rejected(Reason.WRONG_BAUD, b"\xff", START + second, "usb"))
        told += [line.text for line in counted.due(second)]
    plain = "usb: 1 rejected: not text: wrong baud rate?"
    assert told == [f"{plain}; set the port's baud in the configuration to that of the board", plain]


def test_kinds_of_refusals_are_bounded() -> None:
    """A flood of invented names ends under one name, and is still counted."""
    counted = rejections.RejectionTally()
    for number in range(5_000):
        counted.add(Rejected("not a number", b"x", START, "yard", f"sensor-{number}"))
    assert len(counted.counts) == rejections.KINDS + 1
    assert counted.total == 5_000


@pytest.mark.parametrize(
    ("topics", "topic", "device"),
    [
        (["creek/+/state"], "creek/bench/state", "bench"),
        (["+/sensor/#"], "hull/sensor/a/b", "hull"),
        (["creek/#"], "creek/a/yard", "yard"),
        (["one", "creek/+/+"], "creek/loft/bench", "bench"),
        (["creek/+/+"], "creek/bench/temperature", "bench"),
        (["application/+/device/+/event/up"], "application/7/device/bench/event/up", "bench"),
        (["exact/topic"], "exact/topic", "topic"),
    ],
)
def test_the_wildcard_names_the_device(topics: list[str], topic: str, device: str) -> None:
    """The level that the last + stands for, else the last level of the topic."""
    intake = Intake(
        configuration.Configuration(mqtt={"yard": configuration.MqttSource(topics=tuple(topics))})
    )
    [reading] = intake.message_arrived(
        MessageArrived("yard", topic, b'{"temperature": 10}', Instant(START, 0.0))
    )
    assert isinstance(reading, Reading)
    assert reading.sensor == device


def test_a_devices_own_field_names_are_its_own() -> None:
    """One broker, two devices that speak differently."""
    settings = configuration.parse(
        '[sensors.yard]\nrole = "outside"\nfields = { temperature_c = "temp", humidity_percent = "hum" }\n'
        '[sensors.bench]\nrole = "air"\n[mqtt.creek]\ntopics = "creek/+/state"'
    )
    intake = Intake(settings)
    for topic, payload in (
        ("creek/yard/state", b'{"temp": 4.5, "hum": 91}'),
        ("creek/bench/state", b'{"temperature": 4.5, "humidity": 91}'),
    ):
        [reading] = intake.message_arrived(MessageArrived("creek", topic, payload, Instant(START, 0.0)))
        assert isinstance(reading, Reading), reading
        assert reading.temperature == pytest.approx(277.65)
        assert reading.relative_humidity == pytest.approx(0.91)


def test_the_service_manager_hears_what_it_asked_for(tmp_path_factory: pytest.TempPathFactory) -> None:
    """READY and signs of life go to its socket; where there is none, nothing is said and nothing fails."""
    import socket

    address = tmp_path_factory.mktemp("run") / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(address))
        listener.settimeout(2.0)
        service = ServiceManager({"NOTIFY_SOCKET": str(address), "WATCHDOG_USEC": "4000000"})
        assert service.ready("two sources")
        assert listener.recv(1024) == b"READY=1\nSTATUS=two sources"
        assert service.watchdog == 2.0
        service.alive(10.0)
        service.alive(11.0)
        service.alive(12.5)
        assert [listener.recv(1024), listener.recv(1024)] == [b"WATCHDOG=1", b"WATCHDOG=1"]
        listener.settimeout(0.05)
        with pytest.raises(TimeoutError):
            listener.recv(1024)
    assert not ServiceManager({}).ready("nobody")


@pytest.mark.parametrize(
    ("settings", "whose"),
    [
        ("", "bench"),
        ('[sensors.loft]\nrole = "surface"', "loft"),
        (TWO_SENSORS, None),
        (TWO_SENSORS + '[serial.usb]\nurl = "x"\nsensor = "hull"', "hull"),
    ],
)
def test_a_line_that_names_nobody_is_of_the_only_one_it_can_be_of(settings: str, whose: str | None) -> None:
    """A live port is never guessed at: the hull's probe taken for the air would mislead."""
    intake = Intake(configuration.parse(settings))
    arrived = BytesArrived("usb", b"noise\nT=12.5 RH=71\n", Instant(START, 0.0))
    *_, found = intake.bytes_arrived(arrived)
    if whose is None:
        assert isinstance(found, Rejected)
        assert found.reason == Reason.NO_NAME
    else:
        assert isinstance(found, Reading)
        assert found.sensor == whose


def test_a_batch_offered_again_vouches_for_itself_alone() -> None:
    """What came after the first offer is not remembered as stored by the second: it could get lost."""
    known = {"yard": Deliveries("yard")}
    batch = CommitBatch(0.0, delivered={"yard"})
    known["yard"].add(mark("creek/bench", b"12.3", 1))
    first = batch.store(known)
    known["yard"].add(mark("creek/bench", b"12.4", 2))
    assert batch.store(known).memory == first.memory


@pytest.mark.long
def test_the_daemon_carries_no_model_and_nothing_that_signs() -> None:
    """What is heavy is in its children: the daemon's modules alone must not bring it."""
    code = "import curewatch.daemon.loop, sys; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "curewatch.daemon.core" in loaded
    heavy = ("cryptography", "scipy", "pandas", "rich", "curewatch.model", "curewatch.simulation")
    assert [name for name in loaded if name.startswith(heavy)] == []
