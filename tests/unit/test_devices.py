"""Two devices under one name are told apart, refused while both speak, and told loudly."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.answers.doctor import Grade
from curewatch.cli.diagnosis import Examined, examine
from curewatch.clock import Instant
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.daemon.rejections import RejectionTally
from curewatch.logbook import Logbook
from curewatch.readings import Reading, Rejected
from curewatch.wire import Reason
from curewatch.wording import wording

NOW = 1_790_000_000.0
BENCH = '[sensors.bench]\nrole = "air"\n'
PLAIN = '{"temperature": 12.5, "humidity": 80.9}'


def told(
    settings: str, said: list[tuple[str, str]], *, apart: float = 60.0, retained: bool = False
) -> list[str]:
    """What becomes of each message: its sensor's name, or the reason of its refusal."""
    intake, found = Intake(configuration.parse(settings)), []
    for number, (topic, payload) in enumerate(said):
        at = Instant(NOW + apart * number, apart * number)
        found += intake.message_arrived(
            MessageArrived("yard", topic, payload.encode(), at, retained=retained and number == 0)
        )
    return [item.sensor if isinstance(item, Reading) else str(item.reason) for item in found]


def broker(topics: str, more: str = "") -> str:
    return f'{BENCH}{more}[mqtt.yard]\ntopics = "{topics}"\n'


TWO = str(Reason.TWO_DEVICES)


@pytest.mark.parametrize(
    ("topics", "one", "other"),
    [
        ("application/+/device/+/up", "application/1/device/bench/up", "application/2/device/bench/up"),
        ("+/sensor/+", "shed/sensor/bench", "loft/sensor/bench"),
        ("place/#", "place/shed/bench", "place/loft/bench"),
        ("place/#", "place/shed/bench/temperature", "place/loft/bench/temperature"),
        ("homie/+/+/+", "homie/a/bench/temperature", "homie/b/bench/temperature"),
    ],
)
def test_two_topics_that_give_one_name_are_refused(topics: str, one: str, other: str) -> None:
    """From the second on, both: which is the bench cannot be told. With the first alone all is well."""
    payload = "12.5" if one.endswith("temperature") else PLAIN
    pairs = [(one, payload), (other, payload), (one, payload), (other, payload)]
    assert told(broker(topics), pairs) == ["bench", TWO, TWO, TWO]
    assert told(broker(topics), [(one, payload)] * 3) == ["bench"] * 3


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ('"mac": "AA:01"', '"mac": "AA:02"'),
        ('"device_id": 17', '"device_id": 18'),
        ('"devEui": "0011"', '"devEui": "0012"'),
        ('"ids": {"dev_eui": "0011"}', '"ids": {"dev_eui": "0012"}'),
        ('"name": "bench", "ieeeAddr": "0x1"', '"name": "bench", "ieeeAddr": "0x2"'),
    ],
)
def test_two_hardware_numbers_under_one_name_are_refused(one: str, other: str) -> None:
    """On one topic, and on a cable."""
    first, second = (f'{{"temperature": 12.5, "humidity": 80.9, {each}}}' for each in (one, other))
    settings = broker("ble/+/state") + '[serial.usb]\nurl = "x"\nsensor = "bench"\n'
    said = [("ble/bench/state", each) for each in (first, second, first)]
    assert told(settings, said) == ["bench", TWO, TWO]
    assert told(settings, said[:1] * 3) == ["bench"] * 3
    intake = Intake(configuration.parse(settings))
    stream = "".join(f"{each}\n" for each in ("noise", first, second, first)).encode()
    found = intake.bytes_arrived(BytesArrived("usb", stream, Instant(NOW, 0.0)))
    assert [isinstance(item, Reading) for item in found] == [True, False, False]


def test_one_device_on_several_topics_is_one() -> None:
    """Two filters, a topic a quantity, and a message without a number: no conflict."""
    settings = f'{BENCH}[mqtt.yard]\ntopics = ["tele/+/SENSOR", "stat/+/SENSOR", "shed/+/+"]\n'
    said = [
        ("tele/bench/SENSOR", PLAIN),
        ("stat/bench/SENSOR", PLAIN),
        ("shed/bench/temperature", "12.5"),
        ("shed/bench/humidity", "80.9"),
        ("shed/bench/humidity", "80.8"),
    ]
    assert told(settings, said) == ["bench"] * 5


def test_the_configuration_puts_them_apart() -> None:
    """A whole topic at its sensor is believed; the other stays refused, or has a sensor of its own."""
    one, other = "application/1/device/bench/up", "application/2/device/bench/up"
    said = [(one, PLAIN), (other, PLAIN)] * 2
    topics = "application/+/device/+/up"
    assert told(broker(topics, f'address = "{one}"\n'), said) == ["bench", TWO] * 2
    hull = f'[sensors.hull]\nrole = "surface"\naddress = "{other}"\n'
    assert told(broker(topics, f'address = "{one}"\n{hull}'), said) == ["bench", "hull"] * 2
    both = f'address = ["{one}", "{other}"]\n'
    assert told(broker(topics, both), said) == ["bench"] * 4


def test_hardware_numbers_that_the_configuration_lists_are_one() -> None:
    """A chip that was replaced keeps its sensor's name."""
    settings = broker("ble/+/state", 'address = ["AA:01", "AA:02"]\n')
    said = [("ble/gate/state", PLAIN.replace("{", f'{{"id": "AA:0{n}", ')) for n in (1, 2, 1)]
    assert told(settings, said) == ["bench"] * 3


def test_a_device_that_is_gone_is_forgotten() -> None:
    """After an hour, or three reports; what a broker retained of it counts for nothing."""
    one, other = ("shed/sensor/bench", PLAIN), ("loft/sensor/bench", PLAIN)
    assert told(broker("+/sensor/+"), [one, other, other], apart=3601.0) == ["bench"] * 3
    slow = broker("+/sensor/+", "every_s = 3600.0\n")
    assert told(slow, [one, other], apart=3700.0) == ["bench", TWO]
    assert told(broker("+/sensor/+"), [one, other, other], retained=True) == ["bench"] * 3


def test_it_is_told_loudly(tmp_path: Path) -> None:
    """By the daemon at once, with what to do; by the doctor as bad."""
    rejected = Rejected(Reason.TWO_DEVICES, b"{}", NOW, "yard", "bench")
    counted = RejectionTally()
    counted.add(rejected)
    (line,) = counted.due(0.0)
    assert line.loud
    assert "address" in line.text
    (tmp_path / "curewatch.toml").write_text(f'{BENCH}[logbook]\npath = "logbook.sqlite"\n')
    found = configuration.load(tmp_path / "curewatch.toml")
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([], [], rejected=[rejected])
        words = wording(found.zone, "C,g,24h")
        findings = examine(Examined(found, words, Instant(NOW + 60.0, 0.0), logbook))
    (finding,) = (each for each in findings if each.about == "rejected")
    assert finding.grade is Grade.BAD
    assert "two devices under one name" in finding.finding


def test_two_boards_of_one_name_on_two_ports_are_refused() -> None:
    """Both flashed with one name, and the surface passes for the air. One that moves is not two."""
    ports = "".join(f'[serial.{name}]\nurl = "/dev/{name}"\n' for name in ("a", "b"))
    intake, number = Intake(configuration.parse(f"{BENCH}{ports}[mqtt.yard]\n")), iter(range(100))

    def said(port: str, line: str = "t=12.5 h=60") -> list[str]:
        at = Instant(NOW + (n := next(number)), n)
        found = intake.bytes_arrived(BytesArrived(port, f"\nname=bench {line}\n".encode(), at))
        return [item.sensor if isinstance(item, Reading) else str(item.reason) for item in found]

    assert [*said("a"), *said("a")] == ["bench"] * 2
    message = MessageArrived("yard", "curewatch/bench/reading", PLAIN.encode(), Instant(NOW + 50, 50.0))
    assert isinstance(intake.message_arrived(message)[0], Reading)  # the same board, by a broker, too
    intake.reopened("a")  # pulled, and put into the other port
    assert [*said("b"), *said("b")] == ["bench"] * 2
    assert [*said("a"), *said("b")] == [TWO] * 2
    intake.reopened("a")
    assert said("b") == ["bench"]
