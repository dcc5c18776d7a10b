"""What the daemon asks of the process that sends, and what comes back; light, for the daemon holds both."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from curewatch.configuration import Configuration


class DeliveryRequest(NamedTuple):
    """What is asked."""

    configuration: Configuration
    logbook: Path
    at: float  # UTC [s]
    resting: frozenset[str] = frozenset()  # receivers that failed a moment ago


@dataclass(slots=True)
class Delivered:
    """What came of it."""

    sent: list[str] = field(default_factory=list)  # receivers that took a notice
    troubles: dict[str, str] = field(default_factory=dict)  # by receiver
    look_at: float | None = None  # UTC, when something is due next [s]
