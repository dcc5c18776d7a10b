"""From what edges bring to what it tells, under the names of the configuration.

Keeps one framer a port and the one parser; has which name, hardware number or topic is whose.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, NamedTuple, Self

from curewatch.configuration import Configuration, MqttSource, SerialSource, WireUnits
from curewatch.configuration.topics import covers_levels
from curewatch.daemon import homie
from curewatch.daemon.devices import Devices, Mark, numbers_in
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.readings import Flag, Reading, Rejected
from curewatch.shed import forecasts
from curewatch.wire import LineFramer, Parser, Reason, bare
from curewatch.wire.fields import ValuePlace, Words
from curewatch.wire.numbers import tidy
from curewatch.wire.reasons import reject

_KINDS = {"temperature": "temperature", "humidity": "relative_humidity"}  # keys of wire_units
_BACKLOG = int(Flag.BACKLOG)
TOPICS = 5_000  # topics whose owner is remembered; beyond that it is worked out each time


class Owner(NamedTuple):
    """Whose readings a topic carries."""

    device: str  # the name for a payload that names nobody
    fixed: bool  # the whole topic is some sensor's address
    words: Words  # its own, and its units
    form: str
    quantity: str  # of a bare number on this topic: a word of ours, or empty
    mark: Mark | None  # what tells its device from another of the same name; none where the topic is told


_PORT = "port"  # the kind of a mark: boards with one program on them may have one name


class Named(NamedTuple):
    """One thing that came in, and the bytes it came in."""

    item: Reading | Rejected
    raw: bytes


class Naming:
    """Bytes and messages in; readings under their sensors' names, and rejections, out."""

    def __init__(self, configuration: Configuration, before: Self | None = None) -> None:
        self._configuration = configuration
        self._parser: Parser = before._parser if before else Parser(check=False)
        self._parser.zone = configuration.zone
        self._framers: dict[str, LineFramer] = before._framers if before else {}  # one a port
        self._whole = False
        self._nobody = configuration.meant()  # whose readings those are that name nobody; '': rejected
        self._owners: dict[tuple[str, str], Owner] = {}  # (source, topic), at most TOPICS
        self._dialects: dict[Any, Words] = {}  # (sensor, source), both of the configuration
        self._homie: homie.HomieUnits = before._homie if before else homie.HomieUnits()
        self._devices = Devices()  # anew with each configuration: it may have put two devices apart
        self._own_words = any(
            sensor.fields or sensor.ignore or sensor.wire_units != WireUnits()
            for sensor in configuration.sensors.values()
        )
        self._names = {
            address: name
            for name, sensor in configuration.sensors.items()
            for address in (name, *sensor.address, *map(tidy, sensor.address), *sensor.topics.values())
        }
        self._plain_words = Words(known=self._names)
        self._quantities: dict[str, str] = {
            topic: word for sensor in configuration.sensors.values() for word, topic in sensor.topics.items()
        }

    def from_start(self, sensor: str | None = None) -> None:
        """Streams are files, not ports: they begin with a whole line, and their own time is the time.

        A file that names nobody is of ``sensor``, else of the one that is told to hang in the shed's air.
        """
        self._whole = True
        self._nobody = sensor or self._configuration.meant("air")

    def reopened(self, source: str) -> None:
        """A port is gone or opened anew: another board may be there, and begin with the tail of a line."""
        self._devices.gone((_PORT, source))
        if source in self._framers:
            self._framers[source].reopened()

    def of_bytes(self, event: BytesArrived) -> list[Named]:
        """What these bytes complete; part of a line is kept until the rest of it comes."""
        source = event.source
        framer = self._framers.get(source)
        if framer is None:
            framer = LineFramer(source=source, from_start=self._whole)
            self._framers[source] = framer
        port = self._configuration.serial.get(source)
        sensor, form = (port.sensor or self._nobody, port.form) if port else (self._nobody, "auto")
        words = self._words(sensor, port)
        found: list[Named] = []
        for line in framer.feed(event.data, event.at.utc):
            if isinstance(line, Rejected):
                found.append(Named(line, line.raw))
            else:
                parse = partial(self._parser.line, line, event.at, source, sensor, form=form)
                said = parse(words=words)
                if self._own_words:
                    said = self._in_own_words(said, port, words, parse)
                found.extend(Named(self._alone(item, line, source), line) for item in said)
        return found

    def of_message(self, event: MessageArrived) -> list[Named]:
        """What this message tells."""
        if event.discarded:
            raw = f"{event.topic}: {event.discarded} bytes".encode()
            return [Named(reject(Reason.TOO_LARGE, raw, event.at.utc, event.source), raw)]
        if "/$" in event.topic:
            self._homie.take(event.topic, event.payload)
            return []
        owner = self._owners.get((event.source, event.topic)) or self._found_owner(event.source, event.topic)
        payload = self._with_unit(event, owner) if event.topic.startswith(homie.ROOT) else event.payload
        if isinstance(payload, Rejected):
            return [Named(payload, event.payload)]
        found = self._parsed(payload, event, owner, owner.words)
        if self._own_words:
            broker = self._configuration.mqtt.get(event.source)
            found = self._in_own_words(
                found, broker, owner.words, partial(self._parsed, payload, event, owner)
            )
        if event.backlog:
            found = [_held_back(item) for item in found]
        if forecasts.are_told(found):
            return [Named(item, event.payload) for item in found]  # a forecast is of no device
        told = owner._replace(mark=None) if event.retained else owner  # it may be of a device long gone
        return [Named(self._alone(item, event.payload, event.source, told), event.payload) for item in found]

    def _parsed(
        self, payload: bytes, event: MessageArrived, owner: Owner, words: Words
    ) -> list[Reading | Rejected]:
        return self._parser.payload(
            payload,
            event.at,
            event.source,
            owner.device,
            words,
            form=owner.form,
            retained=event.retained,
            quantity=owner.quantity,
        )

    def _with_unit(self, event: MessageArrived, owner: Owner) -> bytes | Rejected:
        """A bare number with the unit that another topic states for it.

        An old temperature may come before its unit: it is refused, for a degree of which kind is not known.
        """
        payload, unit = event.payload, self._homie.of(event.topic)
        meant = owner.words.meant(owner.quantity)
        if meant is None or not bare.is_number(payload):
            return payload
        if unit:
            return payload.strip(b' \t\r\n"') + b" " + unit.encode()
        if (event.backlog or event.retained) and meant.kind == "temperature" and not meant.said:
            name = self._names.get(owner.device, owner.device)
            return reject(Reason.UNIT_TO_COME, payload, event.at.utc, event.source, name)
        return payload

    def _in_own_words(
        self,
        found: list[Reading | Rejected],
        source: MqttSource | SerialSource | None,
        words: Words,
        again: Callable[..., list[Reading | Rejected]],
    ) -> list[Reading | Rejected]:
        """A device that names itself in its message is read as the table of its sensor says."""
        for item in found:
            name = self._names.get(item.sensor)
            if name and isinstance(item, Reading):
                own = self._words(name, source)
                return found if own is words else again(words=own)
        return found

    def _alone(
        self, item: Reading | Rejected, raw: bytes, source: str, owner: Owner | None = None
    ) -> Reading | Rejected:
        """Named, where one device only speaks under the name, or the configuration tells both."""
        named = self._named(item, owner)
        if isinstance(named, Rejected):
            return named
        name, marks = named.sensor, numbers_in(raw)
        if owner is not None and owner.mark and item.sensor == owner.device:
            marks.append(owner.mark)
        elif owner is None and source in self._configuration.serial:
            marks.append((_PORT, source))
        known = self._configuration.sensors.get(name)
        two = self._devices.two(name, marks, named.received, known.every_s if known else 0.0)
        told = (owner is not None and owner.fixed) or (item.sensor != name and item.sensor in self._names)
        if two and not told:
            return reject(Reason.TWO_DEVICES, raw, named.received, source, name)
        return named

    def _named(self, item: Reading | Rejected, owner: Owner | None = None) -> Reading | Rejected:
        """Under the configured name; a topic that is an address speaks for its sensor alone."""
        name = self._names.get(item.sensor)
        if name is None and owner is not None and owner.fixed:
            name = owner.device
        return item if name is None or name == item.sensor else item._replace(sensor=name)

    def _found_owner(self, source: str, topic: str) -> Owner:
        broker = self._configuration.mqtt.get(source) or MqttSource()
        levels = topic.split("/")
        fixed = self._names.get(topic)
        told = bare.Told(levels=len(levels)) if levels[-1] in self._names else bare.told_by(levels)
        node, mark = self._device(broker, levels, told.levels)
        device = fixed or self._of_probe(tidy(node), told) or self._nobody
        sensor = self._names.get(device, device)
        quantity = self._quantities.get(topic) or told.quantity
        if mark and told.probe:
            mark = (mark[0], f"{mark[1]} {told.probe}")
        words = self._words(sensor, broker)
        if mark:
            mark = (f"{source} {mark[0]}", mark[1])
        owner = Owner(device, fixed is not None, words, broker.form, quantity, mark)
        if len(self._owners) < TOPICS:
            self._owners[source, topic] = owner
        return owner

    def _of_probe(self, node: str, told: bare.Told) -> str:
        """The name of a node's probe: as the configuration has it, else the node's and its own."""
        if not told.probe:
            return node
        names = [f"{node}/{told.probe}", *([told.probe] if told.alone else [])]
        if told.alone or told.probe == "0":
            names.append(node)
        return next((name for name in names if name in self._names), names[0 if told.alone else -1])

    @staticmethod
    def _device(broker: MqttSource, levels: list[str], telling: int) -> tuple[str, Mark | None]:
        """The level that the last + of the matching filter stands for; else the last that may name one.

        And the levels that wildcards stand for up to there: a first + often is an application or a place.
        """
        if broker.device_level is not None and broker.device_level <= len(levels):
            upto = levels[: broker.device_level]
            return upto[-1], ("device_level", "/".join(upto))
        fits = [wanted for pattern in broker.topics if covers_levels(wanted := pattern.split("/"), levels)]
        for wanted in fits:
            places = [place for place, level in enumerate(wanted[:telling]) if level == "+"]
            if places:
                said = "/".join(levels[place] for place in places)
                return levels[places[-1]], ("/".join(wanted), said)
        for wanted in fits:
            if wanted[-1] == "#":
                return levels[telling - 1], ("/".join(wanted), "/".join(levels[len(wanted) - 1 : telling]))
        return levels[telling - 1], None

    def _words(self, name: str, source: MqttSource | SerialSource | None) -> Words:
        """How a sensor speaks over a source: as its own table says, else as the source's."""
        known = self._configuration.sensors.get(name)
        if known and not (known.fields or known.ignore) and known.wire_units == WireUnits():
            known = None
        key = (name if known else "", id(source))  # a table of the configuration, which stays
        if key not in self._dialects:
            told: list[Any] = [each for each in (source, known) if each is not None]
            fields: Mapping[str, str | ValuePlace] = {}
            ignored: set[str] = set()
            units: dict[str, str] = {}
            for each in told:
                own = getattr(each, "fields", {})
                fields = {
                    word: it if isinstance(it, str) else ValuePlace(it.at, it.scale, it.offset, it.comma)
                    for word, it in own.items()
                } or fields
                ignored |= set(getattr(each, "ignore", ()))
                stated = ((kind, getattr(each.wire_units, of)) for of, kind in _KINDS.items())
                units |= {kind: unit for kind, unit in stated if unit is not None}
            said = fields or units or ignored
            self._dialects[key] = Words(fields, units, self._names, ignored) if said else self._plain_words
        return self._dialects[key]


def _held_back(item: Reading | Rejected) -> Reading | Rejected:
    return item._replace(flags=item.flags | _BACKLOG) if isinstance(item, Reading) else item
