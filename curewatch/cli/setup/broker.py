"""Edge: what a broker has to say for a few seconds, and which of it is temperature and humidity."""

import contextlib
import queue
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from msgspec import Struct

from curewatch.cli.setup.heard import Collection, Hearing, Message, ReadMessage
from curewatch.clock import Clock
from curewatch.daemon.edges.authority import trusting
from curewatch.readings import Reading, Rejected
from curewatch.wire import Parser, bare

MOST_WAITING = 5000  # messages; a busy broker's rest is dropped, and the next seconds bring more
PATIENCE = 5.0  # s to answer a connection


class BrokerAddress(Struct, frozen=True):
    """Where a broker is and how to be let in."""

    host: str
    port: int = 1883
    username: str | None = None
    password: str | None = None
    ca_file: Path | None = None  # TLS with this authority; None: no TLS


def listen(
    broker: BrokerAddress,
    seconds: float,
    clock: Clock,
    tell: Callable[[str], None] = lambda _: None,
    *,
    enough: Callable[[], bool] = lambda: False,
) -> Hearing:
    """Hear everything that this user may hear; MQTT 5 first, then 3.1.1 for an old broker.

    ``tell`` is given each topic with a reading when it is first heard; ``enough`` ends it before its time.
    """
    survey = Hearing()
    for version in ("5", "3.1.1"):
        survey = _listen_as(broker, version, lambda waiting: _collect(waiting, clock, seconds, tell, enough))
        if not survey.trouble or survey.heard:
            return survey
    return survey


class Followed(NamedTuple):
    """A broker that was heard, to hear the next messages of one topic."""

    broker: BrokerAddress
    version: str
    seconds: float
    clock: Clock
    enough: Callable[[], bool]

    def next(self, topic: str, read: ReadMessage) -> Reading | Rejected | None:
        """What ``read`` makes of the next messages: a reading, else the last rejection; None if none came.

        What the broker had kept is passed over: it is the message that was shown, not the next.
        """
        last: Reading | Rejected | None = None

        def collect(waiting: "queue.Queue[Any]") -> Collection:
            nonlocal last
            end = self.clock.now().monotonic + self.seconds
            while not isinstance(last, Reading) and not self.enough():
                left = end - self.clock.now().monotonic
                if left <= 0:
                    break
                with contextlib.suppress(queue.Empty):
                    message = waiting.get(timeout=min(left, 0.2))
                    if not message.retain:
                        last = read(Message(message.topic, message.payload), self.clock.now()) or last
            return Collection("mqtt")

        _listen_as(self.broker, self.version, collect, topic)
        return last


def _listen_as(
    broker: BrokerAddress,
    version: str,
    collect: "Callable[[queue.Queue[Any]], Collection]",
    topic: str = "#",
) -> Hearing:
    waiting: queue.Queue[Any] = queue.Queue(MOST_WAITING)
    answers: queue.Queue[str] = queue.Queue()
    try:
        _greet(broker)
        client = _client(broker, version, waiting, answers, topic)
        client.connect(broker.host, broker.port, keepalive=30)
    except (OSError, ValueError) as trouble:
        return Hearing(trouble=_reason(trouble), version=version)
    client.loop_start()
    try:
        refusal = answers.get(timeout=PATIENCE)
        if refusal:
            return Hearing(trouble=refusal, version=version)
        found = collect(waiting)
    except queue.Empty:
        return Hearing(trouble=f"it did not answer within {PATIENCE:.0f} s", version=version)
    finally:
        client.disconnect()
        client.loop_stop()
    return Hearing(found.heard, found.rejected, version=version, unread=found.unread)


def _greet(broker: BrokerAddress) -> None:
    """Whether it is there, and who it says it is: the client leaves a refused TLS socket open behind it."""
    with socket.create_connection((broker.host, broker.port), timeout=PATIENCE) as plain:
        if broker.ca_file:
            context = trusting(str(broker.ca_file))
            with context.wrap_socket(plain, server_hostname=broker.host):
                return


def _client(
    broker: BrokerAddress,
    version: str,
    waiting: "queue.Queue[Any]",
    answers: "queue.Queue[str]",
    topic: str = "#",
) -> Any:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    protocol = mqtt.MQTTv5 if version == "5" else mqtt.MQTTv311
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=protocol)
    if broker.username:
        client.username_pw_set(broker.username, broker.password)
    if broker.ca_file:
        client.tls_set_context(trusting(str(broker.ca_file)))

    def connected(client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any = None) -> None:
        answers.put(str(reason) if reason.is_failure else "")
        if not reason.is_failure:
            client.subscribe(topic, qos=0)

    def arrived(_client: Any, _data: Any, message: Any) -> None:
        if not waiting.full():
            waiting.put_nowait(message)

    client.on_connect = connected
    client.on_message = arrived
    return client


def _collect(
    waiting: "queue.Queue[Any]",
    clock: Clock,
    seconds: float,
    tell: Callable[[str], None],
    enough: Callable[[], bool],
) -> Collection:
    found, parser, told = Collection("mqtt"), Parser(check=False), set[str]()
    begun = clock.now().monotonic
    end = begun + seconds
    while (left := end - clock.now().monotonic) > 0 and not enough():
        if found.whole(clock.now().monotonic - begun):
            break
        try:
            message = waiting.get(timeout=min(left, 0.2))
        except queue.Empty:
            continue
        quantity = bare.told_by(message.topic.split("/")).quantity
        device = device_of(message.topic.rpartition("/")[0] if quantity else message.topic)
        said = parser.payload(
            message.payload,
            clock.now(),
            message.topic,
            device,
            retained=message.retain,
            quantity=quantity,
        )
        if not any(isinstance(event, Reading) for event in said):
            found.pass_over(Message(message.topic, message.payload))
        for event in said:
            if not isinstance(event, Reading):
                continue
            if message.topic not in told and len(told) < Collection.MOST:
                told.add(message.topic)
                tell(f"{message.topic} {message.payload[:60].decode('utf-8', 'replace')}")
            if quantity and (event.temperature is None or event.relative_humidity is None):
                found.take_half(event, message.topic, bare.key_of(quantity))
            else:
                found.take(event, message.topic)
    return found


def device_of(topic: str) -> str:
    """A name for what publishes on a topic: its longest telling level, in letters a name may have."""
    plain = {"state", "status", "reading", "readings", "sensor", "sensors", "data", "json", "senml"}
    levels = [level for level in topic.split("/") if level and level.lower() not in plain] or ["sensor"]
    cleaned = "".join(letter if letter.isalnum() and letter.isascii() else "-" for letter in levels[-1])
    name = cleaned.strip("-")[:32]
    return name if name[:1].isalpha() else f"s{name}"[:32]


def _reason(trouble: Exception) -> str:
    if isinstance(trouble, ssl.SSLCertVerificationError):
        return f"its certificate is not signed by that authority ({trouble.verify_message})"
    return str(getattr(trouble, "strerror", None) or trouble)
