"""In `setup` a person points at the values of a message that no form explains; the next message proves it."""

import socket
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.cli.setup import pointing
from curewatch.cli.setup.answers import Answers, as_toml
from curewatch.cli.setup.heard import Message, ReadMessage
from curewatch.cli.setup.steps import STEPS, SetupSession
from curewatch.cli.setup.talk import Talk
from curewatch.clock import Instant, SystemClock
from curewatch.configuration import Configuration
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.readings import Reading, Rejected
from curewatch.units import ZERO_CELSIUS
from curewatch.wording import Wording
from tests.broker import Broker, Talker

UPLINK = "farm/up"  # of all devices
WORDS = {
    UPLINK: [
        b'{"node":{"serial":"k-17"},"raw":[124,81.5],"seen":"today"}',
        b'{"node":{"serial":"k-18"},"raw":[150,60.0],"seen":"today"}',
    ],
    "creek/odd": [b'{"wx":{"air":{"a":54.32,"b":"0,81"}}}'],
    "n1/s0/state": [b"12.4"],
    "n1/s1/state": [b"81"],
    "creek/yard-node/state": [b'{"temperature": 6.3, "humidity": 88}'],
}


@contextmanager
def speaking(broker: Broker) -> Iterator[None]:
    """Every device says its words again and again."""
    over = threading.Event()

    def speak() -> None:
        with Talker(broker) as talker:
            while not over.wait(0.1):
                for topic, payloads in WORDS.items():
                    talker.send(topic, payloads)

    speaker = threading.Thread(target=speak)
    speaker.start()
    try:
        yield
    finally:
        over.set()
        speaker.join()


class Person:
    """Answers by what is asked; a list of answers is used up in its order."""

    def __init__(self, answers: Sequence[tuple[str, str]]) -> None:
        self.left = list(answers)
        self.said: list[str] = []

    def ask(self, prompt: str) -> str:
        for place, (part, reply) in enumerate(self.left):
            if part in prompt:
                del self.left[place]
                return self.number_of(reply) if reply.startswith("#") else reply
        return ""

    def number_of(self, reply: str) -> str:
        """The number that stands before what was shown last with these words."""
        wanted = reply[1:]
        return next(line.split()[0] for line in reversed(self.said) if wanted in line.split())

    def talk(self) -> Talk:
        return Talk(self.ask, self.said.append)


def walked(
    replies: Sequence[tuple[str, str]], *steps: str, ports: tuple[str, ...] = ()
) -> tuple[Person, SetupSession]:
    """Who gives these answers, and what setup knows then; a busy machine is listened to for longer."""
    for seconds in (3.0, 30.0):
        person = Person(replies)
        state = SetupSession(person.talk(), SystemClock(), Answers(), Wording(), seconds, [], ports)
        for step in steps:
            dict(STEPS)[step](state)
        if not person.left:
            break
    return person, state


def setup(tmp_path: Path, replies: Sequence[tuple[str, str]]) -> tuple[Person, Configuration]:
    person, state = walked(replies, "a broker (MQTT)", "the sensors' names")
    return person, configuration.parse(as_toml(state.answers), tmp_path / "curewatch.toml")


def read(found: Configuration, topic: str, payload: bytes) -> list[tuple[str, float | None, float | None]]:
    """What the daemon makes of a message: name, degC and per cent."""
    source = next(name for name, each in found.mqtt.items() if topic in each.topics)
    said = Intake(found).message_arrived(MessageArrived(source, topic, payload, Instant(1.8e9, 0.0)))
    return [in_words(one) for one in said if isinstance(one, Reading)]


def in_words(one: Reading | Rejected) -> tuple[str, float | None, float | None]:
    assert isinstance(one, Reading), one
    return (
        one.sensor,
        None if one.temperature is None else round(one.temperature - ZERO_CELSIUS, 2),
        None if one.relative_humidity is None else round(100 * one.relative_humidity, 2),
    )


@pytest.mark.long
def test_what_is_pointed_at_is_written_and_proved_on_the_next_message(tmp_path: Path) -> None:
    """Paths, scale, Fahrenheit, fraction, comma, a device named in its message, bare numbers."""
    uplink = [
        ("point at", "#farm/up:"),
        ("the temperature, by", "#raw.0"),
        ("its unit", "degC"),
        ("124 degC: is it right", "n"),
        ("multiply", "0.1"),
        ("then add", "0"),
        ("the humidity, by", "#raw.1"),
        ("its unit", "%"),
        ("names the device", "#node.serial"),
    ]
    odd = [
        ("point at", "#creek/odd:"),
        ("the temperature, by", "#wx.air.a"),
        ("its unit", "degF"),
        ("the humidity, by", "#wx.air.b"),
        ("its unit", "fraction"),
        ("names the device", ""),
    ]
    bare = [
        ("point at", "#n1/s0/state:"),
        ("the temperature, by", "1"),
        ("point at", "#n1/s1/state:"),
        ("the temperature, by", ""),
        ("the humidity, by", "1"),
        ("of the same sensor", "y"),
    ]
    names = [("call it", name) for name in ("yard", "bench", "hull-air", "loft")]
    with Broker(tmp_path) as broker, speaking(broker):
        where = [("address of the broker", f"127.0.0.1:{broker.port}")]
        person, found = setup(tmp_path, [*where, *uplink, *odd, *bare, *[("it is (", "air")] * 4, *names])
    assert person.left == [], person.said
    assert sum("proved:" in line for line in person.said) == 4
    assert read(found, UPLINK, WORDS[UPLINK][0]) == [("bench", 12.4, 81.5)]
    assert read(found, "creek/odd", b'{"wx":{"air":{"a":50,"b":"0,5"}}}') == [("hull-air", 10.0, 50.0)]
    assert read(found, "n1/s0/state", b"11.5") == [("loft", 11.5, None)]
    assert read(found, "n1/s1/state", b"70") == [("loft", None, 70.0)]
    assert read(found, "creek/yard-node/state", WORDS["creek/yard-node/state"][0]) == [("yard", 6.3, 88.0)]


@pytest.mark.long
def test_what_the_next_message_does_not_prove_is_not_written(tmp_path: Path) -> None:
    """124 is no temperature of a shed: the reason is said, and nothing of it is in the file."""
    with Broker(tmp_path) as broker, speaking(broker):
        answers = [
            ("address of the broker", f"127.0.0.1:{broker.port}"),
            ("point at", "#farm/up:"),
            ("the temperature, by", "#raw.0"),
            ("the humidity, by", "#raw.1"),
            ("names the device", "#node.serial"),
        ]
        person, found = setup(tmp_path, [*answers, ("it is (", "outside")])
    assert any("it is rejected" in line for line in person.said), person.said
    assert not any("proved" in line for line in person.said)
    assert [each.topics for each in found.mqtt.values()] == [("creek/yard-node/state",)]


@pytest.mark.parametrize(
    ("payload", "paths"),
    [
        (b'{"a":{"b":[1,{"c":"x"}]}}', ["a.b.0", "a.b.1.c"]),
        (b'{"a.b":1,"":2,"t":true,"n":null,"long":"' + b"x" * 65 + b'"}', []),
        (b"12.4", [""]),
        (b"NaN", []),
        (b"[" * 5000, []),
    ],
)
def test_only_what_the_configuration_can_name_is_shown(payload: bytes, paths: list[str]) -> None:
    """A dot in a name is no path; truth values, long texts and rubbish are no values."""
    assert [leaf.path for leaf in pointing.leaves(payload)] == paths
    assert pointing.can_be_pointed_at(payload) == (payload in {b'{"a":{"b":[1,{"c":"x"}]}}', b"12.4"})


def test_text_from_outside_cannot_write_the_file(tmp_path: Path) -> None:
    """A key or a name with quotes and line feeds is one text in the file, or refused."""
    nasty = 'x"]\n[notices]\ncommand=["rm"]\n#'
    pointed = pointing.Pointed(
        "farm/up", {"temperature_c": f"a.{nasty}", "sensor": "n"}, None, nasty, bare=False
    )
    said: list[str] = []
    broker = pointing.BrokerAnswer("yard", "127.0.0.1", 1883, ("-",))

    class Silent:
        def next(self, topic: str, read: ReadMessage) -> None:
            read(Message(topic, b"{}"), Instant(1.8e9, 0.0))

    port = pointing.SerialAnswer("usb", "socket://127.0.0.1:9")
    for proof in (lambda one: pointing.proof(one, broker), lambda one: pointing.proof_of_port(one, port)):
        assert pointing._proved(Talk(lambda _: "", said.append), pointed, Silent(), proof) is None
    assert len(said) == 4


@contextmanager
def board(*lines: bytes) -> Iterator[str]:
    """The address of a port that says these lines again and again."""
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            with suppress(OSError):
                far, _ = listening.accept()
                with far:
                    while not over.wait(0.1):
                        far.sendall(b"".join(line + b"\n" for line in lines))

    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(0.2)
        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield f"socket://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            over.set()
            thread.join()


OBJECT = b'{"wx":{"air":[124,"0,81"]},"node":"k-17"}'
PAIRS = b"node=k-17 air=124 damp=81 up=12"
POINTS = {
    "an object that names its device": (
        OBJECT,
        {
            "by its number; Enter for none": "#wx.air.0",
            "124 degC": "n",
            "multiply": "0.1",
            "then add": "0",
            "the humidity": "#wx.air.1",
            "its unit (%": "fraction",
            "names the device": "#node",
        },
        OBJECT.replace(b"124", b"118"),
        ("bench", 11.8, 81.0),
    ),
    "words that nobody knows": (
        PAIRS,
        {
            "by its number; Enter for none": "#air",
            "124 degC": "n",
            "multiply": "0.1",
            "then add": "0",
            "the humidity": "#damp",
            "names the device": "",
        },
        PAIRS.replace(b"124", b"118"),
        ("bench", 11.8, 81.0),
    ),
}
CELLS = {  # of a line without a header: which cells are what, and the next line
    "numbers alone": (b"17;124;0,81;3.3", ("#2", "#3", ""), b"17;118;0,81;3.3"),
    "a name among them": (b"k-17,3.3,124,0.81", ("#3", "#4", "#1"), b"k-17,3.3,118,0.81"),
}
for name, (line, cells, following) in CELLS.items():
    questions = {
        "by its number; Enter for none": cells[0],
        "124 degC": "n",
        "multiply": "0.1",
        "then add": "0",
        "the humidity": cells[1],
        "its unit (%": "fraction",
        "names the device": cells[2],
    }
    POINTS[f"cells without a header, {name}"] = (line, questions, following, ("bench", 11.8, 81.0))


@pytest.mark.long
@pytest.mark.parametrize("form", POINTS)
def test_the_values_of_a_line_are_pointed_at_too(tmp_path: Path, form: str) -> None:
    """Of a serial port: shown, pointed at, proved on its next line; the daemon then reads it so."""
    line, answers, next_line, wanted = POINTS[form]
    with board(line) as url:
        replies = [("point at", "1"), *answers.items(), ("it is (", "air"), ("call it", "bench")]
        person, state = walked(replies, "serial ports", "the sensors' names", ports=(url,))
    assert person.left == [], person.said
    assert sum("proved:" in said for said in person.said) == 1
    found = configuration.parse(as_toml(state.answers), tmp_path / "curewatch.toml")
    intake = Intake(found)
    intake.from_start()
    said = intake.bytes_arrived(BytesArrived("usb", next_line + b"\n", Instant(1.8e9, 0.0)))
    assert [in_words(one) for one in said] == [wanted]


@pytest.mark.long
def test_a_line_that_is_not_proved_is_not_written(tmp_path: Path) -> None:
    """124 degC in a shed: rejected, said, and the port has no fields."""
    with board(PAIRS) as url:
        replies = [("point at", "1"), ("by its number; Enter for none", "#air"), ("names the", "")]
        person, state = walked(replies, "serial ports", ports=(url,))
    assert any("it is rejected" in said for said in person.said), person.said
    assert [port.fields for port in state.answers.ports] == [()]
    assert state.heard == []
