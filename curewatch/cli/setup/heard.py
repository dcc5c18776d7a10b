"""What a survey of a port or a broker hears, as values."""

from dataclasses import dataclass
from typing import Literal

from curewatch.readings import Reading


@dataclass(frozen=True, slots=True)
class Heard:
    """One thing that speaks of temperature or humidity, and its latest words."""

    kind: Literal["serial", "mqtt"]
    place: str  # the port's address, or the whole topic
    name: str  # what it calls itself
    latest: Reading
    times: int = 1  # how often it spoke during the survey


@dataclass(frozen=True, slots=True)
class Survey:
    """What came from one port or broker: what could be read, and how much could not."""

    heard: tuple[Heard, ...] = ()
    refused: int = 0
    trouble: str = ""  # why it could not be opened, or was lost
    baud: int | None = None  # a serial port's speed
    version: str = ""  # the protocol a broker spoke: "5" or "3.1.1"


class Collection:
    """Readings by the name they go by; the latest word of each. Bounded."""

    MOST = 200

    def __init__(self, kind: Literal["serial", "mqtt"]) -> None:
        self._kind: Literal["serial", "mqtt"] = kind
        self._found: dict[tuple[str, str], Heard] = {}
        self.refused = 0

    def take(self, reading: Reading, place: str) -> None:
        """One more reading; a name beyond :data:`MOST` is counted as refused."""
        key = (place, reading.sensor)
        if key not in self._found and len(self._found) >= self.MOST:
            self.refused += 1
            return
        times = self._found[key].times + 1 if key in self._found else 1
        self._found[key] = Heard(self._kind, place, reading.sensor, reading, times)

    @property
    def heard(self) -> tuple[Heard, ...]:
        """In the order they first spoke."""
        return tuple(self._found.values())
