"""The edges that a configuration asks for: opened together, replaced one by one when it changes."""

from collections.abc import Callable
from typing import Any

from curewatch.clock import Clock
from curewatch.configuration import Configuration, MqttSource, password
from curewatch.daemon.deliveries import note_key
from curewatch.daemon.edges.mqtt import MqttBroker
from curewatch.daemon.inbox import Inbox
from curewatch.daemon.port import Broker, ReadingSource


class Sources:
    """One edge a source; ``brokers`` are those that take acknowledgements and documents."""

    def __init__(self, inbox: Inbox, clock: Clock, memory: Callable[[str], bytes | None]) -> None:
        self._inbox = inbox
        self._clock = clock
        self._memory = memory
        self._settings: dict[str, Any] = {}  # name -> (what it was opened with, its password)
        self._edges: dict[str, ReadingSource] = {}
        self.brokers: dict[str, Broker] = {}

    @property
    def names(self) -> list[str]:
        return list(self._edges)

    def prepare(self, configuration: Configuration) -> dict[str, Any]:
        """What each edge would be opened with; nothing is touched yet.

        Raises
        ------
        ConfigurationError
            A password or a certificate cannot be read.
        """
        return {
            **{name: (port, None) for name, port in configuration.serial.items()},
            **{name: (broker, password(name, broker)) for name, broker in configuration.mqtt.items()},
        }

    def build(self, settings: dict[str, Any]) -> None:
        """Make the edges for these settings, without opening them; a certificate that is none raises here."""
        for name, (source, word) in settings.items():
            if name not in self._edges:
                self._make(name, source, word)
        self._settings = settings

    def _make(self, name: str, source: Any, word: str | None) -> ReadingSource:
        if isinstance(source, MqttSource):
            known = self._memory(note_key(name, 0)) is not None
            broker = MqttBroker(name, source, self._inbox, self._clock, password=word, known=known)
            self._edges[name] = self.brokers[name] = broker
            return broker
        from curewatch.daemon.edges.serial_port import SerialPort  # its library: 0.4 MB, for a port alone

        port = SerialPort(name, source, self._inbox, self._clock)
        self._edges[name] = port
        return port

    def start(self) -> None:
        for edge in self._edges.values():
            edge.start()

    def replace(self, settings: dict[str, Any]) -> None:
        """Sources that changed are opened anew; those that did not are left alone."""
        for name, before in self._settings.items():
            if settings.get(name) != before:
                self._edges.pop(name).stop()
                self.brokers.pop(name, None)
        for name, (source, word) in settings.items():
            if name not in self._edges:
                self._make(name, source, word).start()
        self._settings = settings

    def stop(self) -> None:
        for edge in self._edges.values():
            edge.stop()

    def dead(self) -> list[str]:
        """Edges whose thread ended by itself: that must not go unnoticed."""
        return [name for name, edge in self._edges.items() if not edge.alive]
