"""What a survey of a port or a broker hears, as values."""

from dataclasses import dataclass, replace
from typing import Literal

from curewatch.readings import Reading


@dataclass(frozen=True, slots=True)
class HeardSensor:
    """One thing that speaks of temperature or humidity, and its latest words."""

    kind: Literal["serial", "mqtt"]
    place: str  # the port's address, or the whole topic, or PREFIX/+ where each quantity has its own
    name: str  # what it calls itself
    latest: Reading
    times: int = 1  # how often it spoke during the survey
    topics: tuple[tuple[str, str], ...] = ()  # quantity as in the configuration -> its own topic

    @property
    def addresses(self) -> tuple[str, ...]:
        """What must be listened to, to hear it."""
        return tuple(topic for _, topic in self.topics) or (self.place,)


@dataclass(frozen=True, slots=True)
class Hearing:
    """What came from one port or broker: what could be read, and how much could not."""

    heard: tuple[HeardSensor, ...] = ()
    rejected: int = 0
    trouble: str = ""  # why it could not be opened, or was lost
    baud: int | None = None  # a serial port's speed
    version: str = ""  # the protocol a broker spoke: "5" or "3.1.1"


class Collection:
    """Readings by the name they go by; the latest word of each. Bounded."""

    MOST = 200

    def __init__(self, kind: Literal["serial", "mqtt"]) -> None:
        self._kind: Literal["serial", "mqtt"] = kind
        self._found: dict[tuple[str, str], HeardSensor] = {}
        self.rejected = 0

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

    @property
    def heard(self) -> tuple[HeardSensor, ...]:
        """In the order they first spoke."""
        return tuple(self._found.values())


def _joined(half: Reading, before: Reading) -> Reading:
    """What both halves say, for showing."""
    if half.temperature is None:
        return half._replace(temperature=before.temperature)
    return half._replace(relative_humidity=before.relative_humidity)
