"""Pointing at the values of a message that no form explains: which is what, in which unit, of which device.

The person sees the message, each value with a number, and answers with numbers. What that makes is read the
daemon's own way (``Intake``), by the configuration that would be written, and proved on the next message.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple, Protocol

from msgspec.structs import replace

from curewatch.cli.setup.answers import Answers, BrokerAnswer, NamedSensor, SerialAnswer, as_toml, parsed
from curewatch.cli.setup.broker import device_of
from curewatch.cli.setup.heard import UNNAMED, HeardSensor, Message, ReadMessage
from curewatch.cli.setup.talk import Talk
from curewatch.clock import Instant
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.errors import ConfigurationError
from curewatch.readings import Reading, Rejected
from curewatch.safe_text import safe_line
from curewatch.units import celsius_from_kelvin
from curewatch.wire import bare
from curewatch.wire.fields import FieldRejected, ValuePlace
from curewatch.wire.json_fields import load
from curewatch.wire.numbers import finite, number
from curewatch.wire.plain import numbered_cells, pairs

MOST = 40  # values of a message that are shown
WHOLE = ""  # the path of a message that is one bare number
WORDS = {  # unit as a person names it -> our word, and the unit that the configuration must name
    "degC": ("temperature_c", None),
    "degF": ("temperature_f", None),
    "K": ("temperature_c", "K"),
    "%": ("humidity_percent", None),
    "fraction": ("humidity_fraction", None),
}
TEMPERATURE, HUMIDITY = ("degC", "degF", "K"), ("%", "fraction")


class Leaf(NamedTuple):
    """One value of a message."""

    path: str  # into objects and lists
    value: object


class Pointed(NamedTuple):
    """What a person pointed at."""

    topic: str
    fields: Mapping[str, str | ValuePlace]  # our word -> where it stands
    unit: str | None  # of the temperature, where our word does not say it
    name: str  # what the device calls itself in the message; "" where the topic is its own
    bare: bool  # the message is one number


def leaves(payload: bytes) -> list[Leaf]:
    """The values of a message that can be pointed at: of an object and all in it, of a line, or a number."""
    if bare.is_number(payload):
        return [Leaf(WHOLE, number(payload.decode().strip(' \t\r\n"')))]
    try:
        if payload.lstrip()[:1] in {b"{", b"["}:
            return _inside(load(payload), "")[:MOST]
        return _of_line(payload)[:MOST]
    except (FieldRejected, UnicodeDecodeError):
        return []


def _of_line(line: bytes) -> list[Leaf]:
    """The values of ``WORD=VALUE``, else the cells of a CSV line by their numbers."""
    try:
        said = pairs(line.decode())
    except FieldRejected:
        said = list(numbered_cells(line.strip()))
    return [Leaf(word, value) for word, value in said if 0 < len(str(value)) <= 64]


def _inside(value: object, path: str) -> list[Leaf]:
    if isinstance(value, dict):
        pairs = [(str(key), each) for key, each in value.items() if key and "." not in str(key)]
    elif isinstance(value, list):
        pairs = [(str(index), each) for index, each in enumerate(value)]
    else:
        told = path and (finite(value) is not None or (isinstance(value, str) and 0 < len(value) <= 64))
        return [Leaf(path, value)] if told else []
    return [leaf for key, each in pairs for leaf in _inside(each, f"{path}.{key}" if path else key)]


def can_be_pointed_at(payload: bytes) -> bool:
    """Whether there is a number in it."""
    return any(_as_number(leaf.value) is not None for leaf in leaves(payload))


def _as_number(value: object, *, comma: bool = True) -> float | None:
    found = finite(value)
    if found is None and isinstance(value, str):
        found = number(value.replace(",", ".") if comma else value)
    return found


def point(talk: Talk, message: Message) -> Pointed | None:
    """Ask for the values of this message; none if no temperature and no humidity was pointed at."""
    shown = leaves(message.payload)
    talk.say(f"  {safe_line(message.topic, 70)}")
    for index, leaf in enumerate(shown, start=1):
        path = safe_line(leaf.path or "the whole message", 50)
        talk.say(f"    {index:2d}  {path:50s} {safe_line(str(leaf.value), 20)}")
    fields: dict[str, str | ValuePlace] = {}
    unit = _quantity(talk, shown, "temperature", TEMPERATURE, fields)
    if not (shown[0].path == WHOLE and fields):
        _quantity(talk, shown, "humidity", HUMIDITY, fields)
    if not fields:
        return None
    if shown[0].path == WHOLE:
        return Pointed(message.topic, fields, unit, "", bare=True)
    device = _picked(talk, shown, "which names the device, by its number; Enter if the topic is its own")
    if device is None:
        return Pointed(message.topic, fields, unit, "", bare=False)
    fields["sensor"] = device.path
    return Pointed(message.topic, fields, unit, str(device.value), bare=False)


def _quantity(
    talk: Talk, shown: list[Leaf], what: str, units: tuple[str, ...], fields: dict[str, str | ValuePlace]
) -> str | None:
    """One quantity into ``fields``; the unit that the configuration must name beside it."""
    leaf = _picked(talk, shown, f"the {what}, by its number; Enter for none")
    value = None if leaf is None else _as_number(leaf.value)
    if leaf is None or value is None:
        if leaf is not None:
            talk.say(f"  {safe_line(str(leaf.value), 20)!r} is no number")
        return None
    unit = talk.choose("its unit", units, units[0])
    scale, offset = _scale(talk, value, unit)
    word, named = WORDS[unit]
    comma = isinstance(leaf.value, str) and "," in leaf.value
    place = ValuePlace(leaf.path, scale, offset, comma)
    fields[word] = leaf.path if place == ValuePlace(leaf.path) else place
    return named


def _scale(talk: Talk, value: float, unit: str) -> tuple[float, float]:
    """What the number is multiplied by, and what is added then: asked until the person agrees."""
    scale, offset = 1.0, 0.0
    while not talk.agree(f"that is {value * scale + offset:g} {unit}: is it right"):
        scale = talk.number("multiply it by", 0.1, -1e6, 1e6) or 1.0
        offset = talk.number("then add", 0.0, -1e6, 1e6) or 0.0
    return scale, offset


def _picked(talk: Talk, shown: list[Leaf], question: str) -> Leaf | None:
    while answer := talk.ask(question):
        if answer.isdecimal() and 1 <= int(answer) <= len(shown):
            return shown[int(answer) - 1]
        talk.say(f"  a number from 1 to {len(shown)}, or Enter")
    return None


class NextMessage(Protocol):
    """A broker that can be asked for the next message on a topic."""

    def next(self, topic: str, read: ReadMessage) -> Reading | Rejected | None:
        """What ``read`` makes of it."""


def pointed_at(
    talk: Talk, unread: Sequence[Message], broker: BrokerAnswer, following: NextMessage
) -> tuple[list[HeardSensor], list[BrokerAnswer]]:
    """Show the messages that no form explains; those that are pointed at become sensors, once proved."""
    found: list[HeardSensor] = []
    own: list[BrokerAnswer] = []
    for pointed, reading in _each_pointed_at(talk, unread, following, lambda one: proof(one, broker)):
        table = of_broker(pointed, broker, len(own) + 2)
        if table is not None and all(one.topics != table.topics for one in own):
            own.append(table)
        found = _joined(talk, found, heard_sensor(pointed, reading))
    return found, own


def pointed_at_port(
    talk: Talk, unread: Sequence[Message], port: SerialAnswer, following: NextMessage
) -> tuple[tuple[HeardSensor, ...], SerialAnswer]:
    """The same of the lines of a port, whose table then says where their values stand."""
    for pointed, reading in _each_pointed_at(talk, unread, following, lambda one: proof_of_port(one, port)):
        name = device_of(pointed.name) if pointed.name else UNNAMED
        heard = HeardSensor("serial", port.url, name, reading, said_name=pointed.name)
        return (heard,), of_port(pointed, port)
    return (), port


def _each_pointed_at(
    talk: Talk, unread: Sequence[Message], following: NextMessage, proof_of: Callable[[Pointed], ReadMessage]
) -> Iterator[tuple[Pointed, Reading]]:
    """What the person points at, one message after another, each proved on the next that comes."""
    messages = [one for one in unread if can_be_pointed_at(one.payload)]
    if not messages:
        return
    talk.say("  these have numbers, and no name of a quantity:")
    for index, one in enumerate(messages, start=1):
        shown = safe_line(one.payload.decode("utf-8", "replace"), 60)
        talk.say(f"    {index}  {safe_line(one.topic, 40)}: {shown}")
    while answer := talk.ask("point at the values of one: its number; Enter when done"):
        if not answer.isdecimal() or not 1 <= int(answer) <= len(messages):
            talk.say(f"  a number from 1 to {len(messages)}, or Enter")
            continue
        pointed = point(talk, messages[int(answer) - 1])
        reading = None if pointed is None else _proved(talk, pointed, following, proof_of)
        if pointed is not None and reading is not None:
            yield pointed, reading


def _proved(
    talk: Talk, pointed: Pointed, following: NextMessage, proof_of: Callable[[Pointed], ReadMessage]
) -> Reading | None:
    """The reading that the daemon makes of the next message; where it makes none, why."""
    talk.say("  waiting for its next message ...")
    try:
        said = following.next(pointed.topic, proof_of(pointed))
    except ConfigurationError as trouble:
        talk.say(f"  that makes no configuration: {trouble}")
        return None
    if isinstance(said, Reading):
        talk.say(f"  proved: {_in_words(said)}")
        return said
    why = "none came. Wait for its next report" if said is None else f"it is rejected: {said.reason}"
    talk.say(f"  {why}; point again")
    return None


def _in_words(reading: Reading) -> str:
    temperature, humidity = reading.temperature, reading.relative_humidity
    parts = [
        "" if temperature is None else f"{celsius_from_kelvin(temperature):.1f} °C",
        "" if humidity is None else f"{humidity * 100:.0f} %",
    ]
    return ", ".join(part for part in parts if part)


def _joined(talk: Talk, found: list[HeardSensor], new: HeardSensor) -> list[HeardSensor]:
    """A temperature and a humidity that come as bare numbers may be of one sensor."""
    for index, one in enumerate(found):
        both = tuple(sorted((*one.topics, *new.topics)))
        apart = len({word.partition("_")[0] for word, _ in both}) == len(both) == 2
        if apart and one.topics and talk.agree(f"it is of the same sensor as {safe_line(one.place, 40)}"):
            whole = one.latest._replace(
                temperature=one.latest.temperature or new.latest.temperature,
                relative_humidity=one.latest.relative_humidity or new.latest.relative_humidity,
            )
            return [*found[:index], replace(one, topics=both, latest=whole), *found[index + 1 :]]
    return [*found, new]


# -- what it makes of the configuration ---------------------------------------------------------


def heard_sensor(pointed: Pointed, reading: Reading) -> HeardSensor:
    """What the next steps take up, as if a form had explained it."""
    topics = tuple((word, pointed.topic) for word in pointed.fields) if pointed.bare else ()
    own = not pointed.bare and not pointed.name
    return HeardSensor(
        "mqtt",
        pointed.topic,
        device_of(pointed.name or pointed.topic),
        reading,
        topics=topics,
        fields=tuple(pointed.fields.items()) if own else (),
        wire_unit=None if pointed.name else pointed.unit,
        said_name=pointed.name,
    )


def of_broker(pointed: Pointed, broker: BrokerAnswer, number_of: int) -> BrokerAnswer | None:
    """A table of its own for a topic of many devices, so that the words of others stay as they are."""
    if not pointed.name:
        return None
    return replace(
        broker,
        name=f"{broker.name}-{number_of}",
        topics=(pointed.topic,),
        client_id=f"curewatch-{number_of}",
        fields=tuple(pointed.fields.items()),
        wire_unit=pointed.unit,
    )


def of_port(pointed: Pointed, port: SerialAnswer) -> SerialAnswer:
    """The port's table with what was pointed at."""
    return replace(port, fields=tuple(pointed.fields.items()), wire_unit=pointed.unit)


PROVED = "pointed"  # what the sensor is called until it has its name


def proof(pointed: Pointed, broker: BrokerAnswer) -> ReadMessage:
    """What the daemon would make of a message on this topic, with what was pointed at."""
    heard = heard_sensor(pointed, Reading(PROVED, 0.0, 0.0))
    own = of_broker(pointed, broker, 2) or replace(broker, topics=(pointed.topic,))
    address = (pointed.name,) if pointed.name else () if pointed.bare else (pointed.topic,)
    sensor = NamedSensor(PROVED, "air", "unknown", address, heard.topics, heard.fields, heard.wire_unit)
    intake = Intake(parsed(as_toml(Answers(sensors=[sensor], brokers=[own]))))

    def read(message: Message, at: Instant) -> Reading | Rejected | None:
        event = MessageArrived(own.name, message.topic, message.payload, at)
        return _of_proved(intake.message_arrived(event))

    return read


def proof_of_port(pointed: Pointed, port: SerialAnswer) -> ReadMessage:
    """What the daemon would make of a line of this port, with what was pointed at."""
    own = replace(of_port(pointed, port), sensor=None if pointed.name else PROVED)
    sensor = NamedSensor(PROVED, "air", "unknown", (pointed.name,) if pointed.name else ())
    intake = Intake(parsed(as_toml(Answers(sensors=[sensor], ports=[own]))))
    intake.from_start()

    def read(message: Message, at: Instant) -> Reading | Rejected | None:
        return _of_proved(intake.bytes_arrived(BytesArrived(own.name, message.payload + b"\n", at)))

    return read


def _of_proved(found: Sequence[Reading | Rejected]) -> Reading | Rejected | None:
    mine = [one for one in found if isinstance(one, Rejected) or one.sensor == PROVED]
    return mine[0] if mine else None
