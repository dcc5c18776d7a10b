"""One MQTT broker: subscribes, leaves messages in the inbox, acknowledges what the loop says is committed.

Theory of operation: one thread owns the client and drives it through its documented external-loop
calls, so that no callback runs beside another and none can end a hidden thread. Callbacks only collect;
messages do not pass the client at all (``message_socket``).
Acknowledgements and documents to publish come as orders through a queue and a wake-up pipe. Law: a
message is acknowledged only on the connection it came over, and only after its commit; the session is
kept (``clean_start`` false, session expiry set, fixed client id), so what was not acknowledged comes
again.

QoS 1 throughout: QoS 2 loses messages in this client across reconnects (paho issues 382, 883).
"""

import json
import select
import socket
import ssl
import threading
from collections import deque
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from curewatch.answers.mqtt import OFFLINE, ONLINE, out
from curewatch.clock import Clock, Instant
from curewatch.configuration import MqttSource
from curewatch.daemon import homie
from curewatch.daemon.edges.authority import trusting
from curewatch.daemon.edges.fence import BACK, CURE, MISSING, Fence, prefix_of, topic_of
from curewatch.daemon.edges.message_socket import LONGEST, SortingContext
from curewatch.daemon.edges.waiting import BackOff
from curewatch.daemon.events import Event, MessageArrived, Noticed, Overflowed, SourceDown, SourceUp
from curewatch.daemon.inbox import Inbox
from curewatch.errors import ConfigurationError

CONNECT_TIMEOUT = 5.0  # [s]
TAKEN_OVER = 0x8E  # MQTT 5 reason code: session taken over
TAKEN_OVER_WAIT = 20.0  # so that two clients with one id do not throw each other out all day [s]
# A connection that ends sooner counts as thrown out: MQTT 3.1.1 has no word for it, and mosquitto 2.0.11
# closes without the reason that MQTT 5 has. [s]
SHORT_LIVED = 5.0
ENDED = "the connection ended"
ALL_REFUSED = "the broker refuses every subscription; see its access list"
RENEWED = "we connect anew for messages that could not be held before"
DOCUMENTS = 100  # topics whose last document is kept for the next connection


class MqttBroker:
    """A thread with one broker."""

    def __init__(
        self,
        name: str,
        source: MqttSource,
        inbox: Inbox,
        clock: Clock,
        *,
        password: str | None = None,
        known: bool = False,
    ) -> None:
        self.name = name
        self._source = source
        self._inbox = inbox
        self._clock = clock
        self._known = known  # we were here before: the broker should have kept our session
        self._modern = source.version == "5"
        self._stopping = threading.Event()
        self._renewing = threading.Event()
        self._orders: deque[tuple[int, tuple[int, ...]]] = (
            deque()
        )  # (connection, packet ids); bounded by in-flight
        self._documents: dict[str, str] = {}  # topic -> last document, at most DOCUMENTS
        self._unsaid: deque[str] = deque(maxlen=DOCUMENTS)  # topics whose document is not yet sent
        self._fence = Fence(topic_of(source))
        self._ours = out(prefix_of(source))
        self._connection = 0  # running number
        self._open: tuple[int, Any] = (0, None)  # that number and its socket, set and read as one
        self._arrived: list[Event] = []  # of this turn of the loop
        self._why = ""  # why the last connection ended
        self._overflow = 0
        self._short_lives = 0  # connections in a row that ended at once
        self._wake_read, self._wake_write = socket.socketpair()
        self._wake_read.setblocking(False)
        self._wake_write.setblocking(False)
        self._client = self._made(password)
        self._thread = threading.Thread(target=self._run, name=f"mqtt {name}", daemon=True)

    # ---- what the loop calls

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        self._wake()
        self._thread.join(timeout=CONNECT_TIMEOUT + 1.0)
        self._wake_read.close()
        self._wake_write.close()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        """These are committed: tell the broker, if it is still the connection they came over.

        At once, from the loop's own thread, where the socket allows it: a broker with a small window waits
        for this, and so does not wait for our thread to wake.
        """
        number, sock = self._open
        if number == connection and sock is not None and sock.any_thread_may_send:
            sock.acknowledge(identifiers)
            with suppress(OSError):  # it ended: the thread finds that, too
                sock.flush()
            if not sock.unsent:
                return
        else:
            self._orders.append((connection, identifiers))
        self._wake()

    def publish(self, topic: str, document: object) -> None:
        """Leave the newest word or document of a topic of ours; now, or when the broker answers again."""
        if self._source.publish is not None:
            self.leave(out(self._source.publish, topic), document)

    def leave(self, topic: str, document: object) -> None:
        """Leave it under this very topic, retained; the empty word takes away what stands there."""
        if len(self._documents) >= DOCUMENTS and topic not in self._documents:
            return
        said = (
            document
            if isinstance(document, str)
            else json.dumps(document, separators=(",", ":"), allow_nan=False)
        )
        self._documents[topic] = said
        if topic not in self._unsaid:
            self._unsaid.append(topic)
        self._wake()

    def renew(self) -> None:
        """Connect anew, with the same session: the broker then sends again what is not acknowledged."""
        self._renewing.set()
        self._wake()

    def _wake(self) -> None:
        try:
            self._wake_write.send(b"\0")
        except (BlockingIOError, OSError):
            return  # it is awake already, or gone

    # ---- the client

    def _made(self, password: str | None) -> paho.Client:
        source = self._source
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=source.client_id,
            protocol=MQTTProtocolVersion.MQTTv5 if self._modern else MQTTProtocolVersion.MQTTv311,
            manual_ack=True,
            reconnect_on_failure=False,
            clean_session=None if self._modern else False,
        )
        client.connect_timeout = CONNECT_TIMEOUT
        client.max_queued_messages_set(DOCUMENTS)
        if source.username is not None:
            client.username_pw_set(source.username, password)
        # the client's own way to put a socket of ours in place of its own, with TLS or without
        sorting: Any = SortingContext(self._secured() if source.ca_file else None, modern=self._modern)
        client.tls_set_context(sorting)
        if source.publish is not None:
            client.will_set(out(source.publish, "availability"), OFFLINE, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_socket_register_write = lambda client, userdata, sock: (
            None
        )  # so that calls queue, and we write
        client.connect_async(source.host, source.port, source.keepalive_s, **self._session())
        return client

    def _secured(self) -> ssl.SSLContext:
        source = self._source
        try:
            context = trusting(str(source.ca_file))
            if source.certificate_file is not None:
                context.load_cert_chain(source.certificate_file, source.key_file)
        except OSError as trouble:
            raise ConfigurationError(
                f"{trouble.strerror or trouble} ({source.ca_file}, {source.certificate_file})",
                "readable PEM files: authority, certificate and its key",
                key=f"mqtt.{self.name}",
            ) from trouble
        return context

    def _session(self) -> dict[str, Any]:
        if not self._modern:
            return {}
        properties: Any = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = int(self._source.session_hours * 3600)
        properties.ReceiveMaximum = self._source.in_flight
        properties.MaximumPacketSize = LONGEST
        return {"clean_start": False, "properties": properties}

    # ---- the thread

    def _run(self) -> None:
        back_off = BackOff(self._stopping)
        while not self._stopping.is_set():
            self._why = ""
            started = self._clock.now().monotonic
            try:
                self._client.reconnect()
                self._converse(back_off)
            except (OSError, ValueError) as trouble:
                self._why = self._why or _why(trouble)
            if self._stopping.is_set():
                break
            self._lost(self._clock.now().monotonic - started, back_off)
            back_off.wait()
        self._leave_quietly()

    def _lost(self, lived: float, back_off: BackOff) -> None:
        now = self._clock.now()
        self._short_lives = self._short_lives + 1 if self._connection and lived < SHORT_LIVED else 0
        self._put(SourceDown(self.name, now, self._why or ENDED))
        suspected = self._short_lives >= 3 and "ended" in (self._why or "ended")
        if "taken over" in self._why or suspected:
            sure = "" if "taken over" in self._why else "perhaps "
            self._put(
                Noticed(
                    self.name,
                    now,
                    f"{sure}another client uses the id {self._source.client_id!r}: "
                    f"give each its own client_id in [mqtt.{self.name}]",
                )
            )
            back_off.at_least(TAKEN_OVER_WAIT)
            self._short_lives = 0

    def _converse(self, back_off: BackOff) -> None:
        """Drive the client until its connection ends or we are to stop."""
        client, connections = self._client, self._connection
        looked = self._clock.now().monotonic
        while (sock := self._socket()) is not None and not self._stopping.is_set():
            self._listen(sock)
            self._obey(sock)
            if self._renewing.is_set():
                self._renewing.clear()
                self._why = RENEWED
                self._leave(sock)
                return
            if client.socket() is None and self._connection == connections and self._why == ENDED:
                self._why = _unwelcome(sock.trouble, secure=self._source.ca_file is not None)
            now = self._clock.now().monotonic
            if now - looked >= 1.0:
                looked = now
                if not sock.keep_alive():
                    client.loop_misc()
                if self._connection:
                    back_off.reset()
                self._mark(now)

    def _socket(self) -> Any:
        """Ours, which the client holds; none once the connection has ended."""
        return self._client.socket()

    def _listen(self, sock: Any) -> None:
        writing = [sock] if sock.unsent or self._client.want_write() else []
        ready, _, _ = select.select([sock, self._wake_read], writing, [], 0.0 if sock.pending() else 0.5)
        if self._wake_read in ready:
            self._wake_read.recv(4096)
        if sock in ready or sock.pending():
            now = self._clock.now()
            sock.fill()
            while sock.for_client and self._client.socket() is sock:
                self._client.loop_read()
            # after the client's packets: those of a kept session may come right behind the welcome
            self._take(sock, now)
        if self._arrived:
            self._deliver()

    def _take(self, sock: Any, now: Instant) -> None:
        """What came, each with whether it may have waited with the broker; our own markers stay here."""
        name, connection, fence = self.name, self._connection, self._fence
        waited = not fence.is_live(now.monotonic)
        for topic, payload, quality, again, kept, identifier, size in sock.taken():
            if topic.startswith(self._ours):  # a wide subscription brings our own words back
                if topic == fence.topic and fence.came(payload):
                    self._arrived.append(Noticed(name, now, BACK))
                waited = not fence.is_live(now.monotonic)
                sock.acknowledge((identifier,) if quality else ())
                continue
            old = waited or again
            self._arrived.append(
                MessageArrived(
                    name, topic, payload, now, quality, again, kept, identifier, connection, size, old
                )
            )

    def _mark(self, now: float) -> None:
        """Send a marker when it is time for one; say so if none comes back."""
        fence, client = self._fence, self._client
        if not client.is_connected():
            return
        marker = fence.due(now)
        if marker is not None:
            client.publish(fence.topic, marker, qos=1)
        if fence.is_missing(now):
            self._put(Noticed(self.name, self._clock.now(), f"{MISSING}; {CURE.format(topic=fence.topic)}"))

    def _deliver(self) -> None:
        arrived, self._arrived = self._arrived, []
        if self._overflow and self._put(Overflowed(self.name, self._clock.now(), self._overflow)):
            self._overflow = 0
        for event in self._inbox.put_all(self.name, arrived):
            if self._put(event):  # the loop has made room meanwhile
                continue
            if isinstance(event, MessageArrived) and event.quality:
                self._hold(event)
            else:
                self._overflow += 1

    def _hold(self, event: Event) -> None:
        """A message that must not be lost finds the inbox full: stop reading until the loop has caught up."""
        while not self._put(event):
            if self._stopping.wait(0.01):
                return

    def _put(self, event: Event) -> bool:
        return self._inbox.put(self.name, event)

    def _obey(self, sock: Any) -> None:
        client = self._client
        while self._orders:
            connection, identifiers = self._orders.popleft()
            if connection == self._connection:
                sock.acknowledge(identifiers)
        while self._unsaid and self._connection and client.is_connected():
            topic = self._unsaid.popleft()
            client.publish(topic, self._documents[topic], qos=1, retain=True)
        if client.want_write():
            client.loop_write()
        sock.flush()

    def _leave_quietly(self) -> None:
        """A clean end: say that we stop, keep the session."""
        client = self._client
        sock: Any = client.socket()
        if sock is None or not client.is_connected():
            return
        try:
            self._obey(sock)
            if self._source.publish is not None:
                client.publish(out(self._source.publish, "availability"), OFFLINE, qos=0, retain=True)
            self._leave(sock)
        except OSError:
            return  # the broker went first; its will speaks for us

    def _leave(self, sock: Any) -> None:
        self._client.disconnect()
        self._client.loop_write()
        sock.flush()
        sock.close()

    # ---- callbacks: they collect, and never raise

    def _on_connect(
        self, client: paho.Client, userdata: Any, flags: Any, reason: Any, properties: Any
    ) -> None:
        if reason.is_failure:
            words = "; see username and its password (password_file, or CUREWATCH_MQTT_PASSWORD)"
            unknown = str(reason) in {"Not authorized", "Bad user name or password"}
            self._why = f"the broker refuses us: {reason}{words if unknown else ''}"
            return
        self._connection += 1
        self._open = (self._connection, client.socket())
        now = self._clock.now()
        if self._known and not flags.session_present:
            self._arrived.append(
                Noticed(self.name, now, "the broker kept no session for us: what was sent meanwhile is lost")
            )
        self._known = True
        client.subscribe(list(self._subscriptions()))
        self._fence.connected(now.monotonic)
        client.publish(self._fence.topic, self._fence.due(now.monotonic), qos=1)
        self.publish("availability", ONLINE)
        for topic in self._documents:
            if topic not in self._unsaid:
                self._unsaid.append(topic)

    def _beside(self) -> tuple[str, ...]:
        """Topics with the units of values that we subscribe to."""
        return homie.TOPICS if any(topic.startswith(homie.ROOT) for topic in self._source.topics) else ()

    def _subscriptions(self) -> Iterable[tuple[str, Any]]:
        group = f"$share/{self._source.share}/" if self._source.share else ""
        for topic in self._beside():  # first, so that units are known before values; retained at each connect
            yield (topic, SubscribeOptions(qos=1, retainHandling=0) if self._modern else 1)
        for topic in self._source.topics:
            # retainHandling 1: retained readings come once for a new subscription, not at every reconnect;
            # a shared subscription never gets them and must not ask (MQTT 5.0, 3.8.3.1)
            yield (group + topic, SubscribeOptions(qos=1, retainHandling=1) if self._modern else 1)
        yield (self._fence.topic, SubscribeOptions(qos=1, retainHandling=2) if self._modern else 1)

    def _on_subscribe(
        self, client: Any, userdata: Any, identifier: int, reasons: Any, properties: Any
    ) -> None:
        """Only now is there something to come: a broker that welcomes us may refuse what we ask for."""
        now, topics = self._clock.now(), self._source.topics
        asked = (*self._beside(), *topics, self._fence.topic)
        refused = {topic: reason for topic, reason in zip(asked, reasons, strict=False) if reason.is_failure}
        for topic, reason in refused.items():
            text = f"the broker refuses the subscription to {topic}: {reason}; {CURE.format(topic=topic)}"
            self._arrived.append(Noticed(self.name, now, text))
        if topics and refused.keys() >= set(topics):
            self._arrived.append(SourceDown(self.name, now, ALL_REFUSED))
        else:
            self._arrived.append(SourceUp(self.name, now, f"{self._source.host}:{self._source.port}"))

    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if getattr(reason, "value", 0) == TAKEN_OVER:
            self._why = "our session was taken over by another client"
        elif not self._why:
            self._why = ENDED if str(reason) == "Unspecified error" else f"{ENDED}: {reason}"


def _unwelcome(trouble: OSError | None, *, secure: bool) -> str:
    """The connection ended before the broker had said a word."""
    if isinstance(trouble, ssl.SSLError):
        return (
            f"the broker ends TLS ({trouble.reason or trouble}): "
            "it wants a certificate_file, and key_file, of an authority that it trusts"
        )
    wanted = "a certificate_file of an authority that it trusts" if secure else "TLS (ca_file)"
    return f"it hung up before its welcome: does it want {wanted}?"


def _why(trouble: Exception) -> str:
    if isinstance(trouble, ssl.SSLCertVerificationError):
        return f"the broker's certificate is not of our authority: {trouble.verify_message}"
    if isinstance(trouble, OSError) and trouble.strerror:
        return trouble.strerror
    return " ".join(str(trouble).split())[:200] or type(trouble).__name__
