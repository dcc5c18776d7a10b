"""What a survey of a port or a broker hears, as values."""

from collections.abc import Callable
from typing import Literal, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.fields import ValuePlace

Fields = tuple[tuple[str, str | ValuePlace], ...]  # our word -> where its value stands


UNNAMED = "unnamed"  # what the survey calls a sensor whose lines name nobody
ONE_PERIOD = 65.0  # s: a board that reports once a minute has then spoken whole, also one met within a line


class Message(NamedTuple):
    """One message, or one line of a port, as it came."""

    topic: str  # or the port's address
    payload: bytes


ReadMessage = Callable[[Message, Instant], Reading | Rejected | None]


class HeardSensor(Struct, frozen=True):
    """One thing that speaks of temperature or humidity, and its latest words."""

    kind: Literal["serial", "mqtt"]
    place: str  # the port's address, or the whole topic, or PREFIX/+ where each quantity has its own
    name: str  # what it calls itself
    latest: Reading
    times: int = 1  # how often it spoke during the survey
    topics: tuple[tuple[str, str], ...] = ()  # quantity as in the configuration -> its own topic
    fields: Fields = ()  # what a person pointed at
    wire_unit: str | None = None  # of its temperature, where a person said it
    said_name: str = ""  # its name in messages of many devices on one topic

    @property
    def addresses(self) -> tuple[str, ...]:
        """What must be listened to, to hear it."""
        return tuple(topic for _, topic in self.topics) or (self.place,)


class Hearing(Struct, frozen=True):
    """What came from one port or broker: what could be read, and how much could not."""

    heard: tuple[HeardSensor, ...] = ()
    rejected: int = 0
    trouble: str = ""  # why it could not be opened, or was lost
    baud: int | None = None  # a serial port's speed
    version: str = ""  # the protocol a broker spoke: "5" or "3.1.1"
    unread: tuple[Message, ...] = ()  # with numbers in it that no form explains; one a topic


class Collection:
    """Readings by the name they go by; the latest word of each. Bounded."""

    MOST = 200
    UNREAD = 100  # topics

    def __init__(self, kind: Literal["serial", "mqtt"]) -> None:
        self._kind: Literal["serial", "mqtt"] = kind
        self._found: dict[tuple[str, str], HeardSensor] = {}
        self.rejected = 0
        self._unread: dict[str, bytes] = {}  # topic -> its first message; <= UNREAD

    def whole(self, elapsed: float) -> bool:
        """Whether a minute's reports are in, after so long [s]; with nothing yet, the listening goes on."""
        return bool(self._found) and elapsed >= ONE_PERIOD

    def take(self, reading: Reading, place: str) -> None:
        """One more reading; a name beyond :data:`MOST` is counted as rejected."""
        key = (place, reading.sensor)
        if key not in self._found and len(self._found) >= self.MOST:
            self.rejected += 1
            return
        times = self._found[key].times + 1 if key in self._found else 1
        self._found[key] = HeardSensor(self._kind, place, reading.sensor, reading, times)

    def take_half(self, reading: Reading, topic: str, quantity: str) -> None:
        """One quantity on a topic of its own: what stands under one level is one sensor."""
        place = f"{topic.rpartition('/')[0]}/+"
        before = self._found.get((place, reading.sensor))
        self.take(reading, place)
        now = self._found.get((place, reading.sensor))
        if now is None:
            return
        topics = dict(before.topics if before else ()) | {quantity: topic}
        whole = _joined(reading, before.latest) if before else reading
        self._found[place, reading.sensor] = replace(now, latest=whole, topics=tuple(sorted(topics.items())))

    def pass_over(self, message: Message) -> None:
        """Keep the first message of a topic that no form explains."""
        if len(self._unread) < self.UNREAD:
            self._unread.setdefault(message.topic, message.payload)

    @property
    def unread(self) -> tuple[Message, ...]:
        """The first message of each topic without a reading."""
        read = {topic for each in self.heard for topic in each.addresses}
        return tuple(Message(*one) for one in self._unread.items() if one[0] not in read)

    @property
    def heard(self) -> tuple[HeardSensor, ...]:
        """In the order they first spoke."""
        return tuple(self._found.values())


def _joined(half: Reading, before: Reading) -> Reading:
    """What both halves say, for showing."""
    if half.temperature is None:
        return half._replace(temperature=before.temperature)
    return half._replace(relative_humidity=before.relative_humidity)
