"""Whose is what came in: several sheds of one daemon share their ports and brokers.

Theory of operation: what comes in is named once, by all sensors of all sheds, and goes to the shed of its
sensor; what is outside is of each. Laws kept:

- a reading reaches the sheds that have its sensor and no other; that of a sensor which no shed has is
  rejected by name, and stands among the rejections of the first shed, so that somebody meets it;
- a message is acknowledged when each shed that it tells something has committed it;
- acknowledgements leave in the order of the messages (MQTT 5.0, OASIS 2019, 4.6), unless a shed's logbook
  refuses: then the others do not wait for it, or the broker would keep back what is theirs.
"""

from collections.abc import Callable, Iterator, Mapping
from itertools import takewhile
from typing import Self

from curewatch.configuration import Configuration, together
from curewatch.daemon.events import BytesArrived, Event, MessageArrived, SourceDown, SourceUp
from curewatch.daemon.naming import Named, Naming
from curewatch.daemon.port import Outlet
from curewatch.readings import Reading, Rejected
from curewatch.shed import forecasts
from curewatch.wire.reasons import Reason, reject


class Sorter:
    """Which sheds an event is for, and as what."""

    def __init__(self, configuration: Configuration, before: Self | None = None) -> None:
        self._naming: Naming = Naming(together(configuration), before=before._naming if before else None)
        self._all = tuple(configuration.each)
        self._of_sensor: dict[str, tuple[str, ...]] = {forecasts.NAME: self._all}
        self._of_source: dict[str, tuple[str, ...]] = {}
        for label, shed in configuration.each.items():
            for name in shed.sensors:
                self._of_sensor[name] = (*self._of_sensor.get(name, ()), label)
            for name in (*shed.serial, *shed.mqtt):
                self._of_source[name] = (*self._of_source.get(name, ()), label)
        self._of_port = {name: port.sensor or "" for name, port in configuration.serial.items()}

    def sort(self, event: Event) -> dict[str, Event]:
        """The event for each shed that it concerns."""
        if isinstance(event, BytesArrived):
            parts = self._parts(self._naming.of_bytes(event), event.source)
            return {shed: event._replace(data=b"", named=tuple(part)) for shed, part in parts.items()}
        if isinstance(event, MessageArrived):
            parts = self._parts(self._naming.of_message(event), event.source) or {self._all[0]: []}
            return {shed: event._replace(named=tuple(part)) for shed, part in parts.items()}
        if isinstance(event, SourceUp | SourceDown):
            self._naming.reopened(event.source)
        concerned = self._of_source.get(str(getattr(event, "source", "")), self._all)
        return dict.fromkeys(concerned, event)

    def _parts(self, found: list[Named], source: str) -> dict[str, list[Named]]:
        parts: dict[str, list[Named]] = {}
        for item, raw in found:
            sheds = self._of_sensor.get(item.sensor or self._of_port.get(source, ""))
            told = item if sheds else _of_nobody(item, raw, source)
            for shed in sheds or self._all[:1]:
                parts.setdefault(shed, []).append(Named(told, raw))
        return parts


def _of_nobody(item: Reading | Rejected, raw: bytes, source: str) -> Rejected:
    if isinstance(item, Rejected):
        return item
    return reject(Reason.NO_SHED if item.sensor else Reason.NO_NAME, raw, item.received, source, item.sensor)


class Unacknowledged:
    """The messages of each broker that some shed has yet to commit; as many as are on their way to us."""

    def __init__(self) -> None:
        self._waiting: dict[str, tuple[int, dict[int, int]]] = {}  # source -> connection, sheds by message

    def expect(self, source: str, connection: int, identifier: int, sheds: int) -> None:
        """This message waits for so many sheds."""
        known = self._waiting.get(source)
        if known is None or known[0] != connection:  # of one that is lost, everything comes again
            known = self._waiting[source] = (connection, {})
        known[1].pop(identifier, None)  # one that comes again stands last
        known[1][identifier] = sheds

    def committed(
        self, source: str, connection: int, identifiers: tuple[int, ...], *, in_order: bool
    ) -> tuple[int, ...]:
        """One more shed has committed these; what may be acknowledged now."""
        current, waiting = self._waiting.get(source, (0, {}))
        if current != connection:
            return ()
        for identifier in identifiers:
            if identifier in waiting:
                waiting[identifier] -= 1
        ready = tuple((takewhile if in_order else filter)(lambda one: waiting[one] <= 0, waiting))
        for identifier in ready:
            del waiting[identifier]
        return ready


class ShedOutlet:
    """A broker as one of several sheds sees it: documents under the shed's name, acknowledgements shared."""

    def __init__(self, name: str, broker: Outlet, shed: str, shared: "SharedBrokers") -> None:
        self._name = name
        self._broker = broker
        self._shed = shed
        self._shared = shared

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        """Tell the broker of those that no other shed has yet to commit."""
        ready = self._shared.unacknowledged.committed(
            self._name, connection, identifiers, in_order=not self._shared.refusing()
        )
        if ready:
            self._broker.acknowledge(connection, ready)

    def publish(self, topic: str, document: object) -> None:
        """Under PREFIX/v1/SHED."""
        self._broker.publish(f"{self._shed}/{topic}", document)

    def leave(self, topic: str, document: object) -> None:
        """Under this very topic."""
        self._broker.leave(topic, document)

    def renew(self) -> None:
        """Connect anew."""
        self._broker.renew()


class SharedBrokers:
    """The brokers of several sheds."""

    def __init__(self, brokers: Mapping[str, Outlet], refusing: Callable[[], bool]) -> None:
        """``refusing``: whether some shed's logbook takes nothing at present."""
        self._brokers = brokers  # the daemon's own, as they are now
        self.refusing = refusing
        self.unacknowledged = Unacknowledged()

    def of(self, shed: str) -> "OutletsOfShed":
        """As this shed sees them."""
        return OutletsOfShed(self._brokers, shed, self)


class OutletsOfShed(Mapping[str, Outlet]):
    """Every broker of the daemon, also after a reload, as one shed sees it."""

    def __init__(self, brokers: Mapping[str, Outlet], shed: str, shared: SharedBrokers) -> None:
        self._brokers = brokers
        self._shed = shed
        self._shared = shared

    def __getitem__(self, name: str) -> Outlet:
        return ShedOutlet(name, self._brokers[name], self._shed, self._shared)

    def __iter__(self) -> Iterator[str]:
        return iter(self._brokers)

    def __len__(self) -> int:
        return len(self._brokers)
