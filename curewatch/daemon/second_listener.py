"""The second listener's mind: when the daemon of another machine is silent while a layer cures.

Theory of operation: a daemon publishes its state each minute, and its layers in progress at each look at
the advice; both retained and with their time. This keeps the moment of the last word of each shed. A message
that just came counts from its arrival, one that the broker had kept from the time it bears. Silence is also
that the broker itself is not reached: it often stands on the machine that died. Law: it rings for a shed
only while that shed's last word had a layer in progress, and again only after the shed was heard.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from curewatch.clock import utc_from_iso
from curewatch.units import MINUTE

SHEDS = 100  # of one broker; what is beyond is passed over
LAYERS = 20  # of one shed that are named
LONGEST = 1_000_000  # bytes of a message
AFTER = 10 * MINUTE  # of silence (assumed; the daemon speaks each minute) [s]


class Word(NamedTuple):
    """One message of a daemon: its state, or its alerts with its layers."""

    shed: str  # its name in the topic; "" where there is one alone
    about: str  # state or alerts
    payload: bytes
    retained: bool


@dataclass(slots=True)
class ShedHeard:
    """What is known of one shed."""

    heard: float = 0.0  # UTC, its last sign of life [s]
    layers: tuple[str, ...] = ()  # in progress, as they are said
    rung: bool = False


class Alarm(NamedTuple):
    """A shed that is silent while a layer cures."""

    shed: str
    silent: float  # s
    layers: tuple[str, ...]
    reached: bool  # whether the broker answers


@dataclass(slots=True)
class SecondListener:
    """Takes what comes, and says what is silent."""

    after: float = AFTER  # s
    reached: bool = False  # whether the broker answers
    sheds: dict[str, ShedHeard] = field(default_factory=dict)

    def take(self, word: Word, now: float) -> None:
        """One message; one that cannot be read is no sign of life. [UTC s]"""
        document = _read(word.payload)
        stamp = None if document is None else _stamp(document)
        if document is None or stamp is None or (word.shed not in self.sheds and len(self.sheds) >= SHEDS):
            return
        shed = self.sheds.setdefault(word.shed, ShedHeard())
        if word.about == "alerts":
            shed.layers = tuple(_layers(document))
        shed.heard = max(shed.heard, min(stamp, now) if word.retained else now)
        if now - shed.heard < self.after:
            shed.rung = False

    def ring(self, now: float) -> list[Alarm]:
        """The sheds to ring for now, each once in a silence. [UTC s]"""
        alarms = [alarm for alarm in self.silent(now) if not self.sheds[alarm.shed].rung]
        for alarm in alarms:
            self.sheds[alarm.shed].rung = True
        return alarms

    def silent(self, now: float) -> Iterator[Alarm]:
        """The sheds that are silent while a layer cures. [UTC s]"""
        for name, shed in self.sheds.items():
            if shed.layers and now - shed.heard >= self.after:
                yield Alarm(name, now - shed.heard, shed.layers, self.reached)

    def rings_again(self, alarm: Alarm) -> None:
        """Nobody could be told: ring for it at the next turn."""
        self.sheds[alarm.shed].rung = False


def _read(payload: bytes) -> Mapping[str, Any] | None:
    if len(payload) > LONGEST:
        return None
    try:
        found = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _stamp(document: Mapping[str, Any]) -> float | None:
    try:
        return utc_from_iso(str(document.get("at")))
    except ValueError:
        return None


def _layers(document: Mapping[str, Any]) -> Iterator[str]:
    """The layers in progress: ``J1 rudder cheek, L2``."""
    layers = document.get("layers")
    for layer in layers[:LAYERS] if isinstance(layers, list) else ():
        if isinstance(layer, dict) and layer.get("layer"):
            place = " ".join(str(layer[key]) for key in ("job", "part") if layer.get(key))
            yield f"{place}, {layer['layer']}" if place else str(layer["layer"])
