"""Edge: what a broker keeps and brings of the state of daemons, for a second listener on another machine.

The client is turned by hand; its callbacks only put down what came.
"""

import time
from collections import deque
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from curewatch.answers.mqtt import out
from curewatch.clock import Clock
from curewatch.configuration.shape import MqttSource
from curewatch.daemon.edges.authority import trusting
from curewatch.daemon.second_listener import SecondListener, Word

WAITING = 1000  # messages; a second listener has few
PATIENCE = 5.0  # s to answer a connection, and before the next try
WHOLE = 1.0  # after the first word, for the others [s]
ABOUT = ("state", "alerts")


class HeartbeatEdge:
    """One broker, listened to for the daemons that publish under its prefix."""

    def __init__(self, source: MqttSource, password: str | None) -> None:
        self.trouble = "no answer yet"  # why the broker is not reached; empty if it is
        self._source = source
        self._came: deque[Word] = deque(maxlen=WAITING)
        modern = source.version == "5"
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            protocol=MQTTProtocolVersion.MQTTv5 if modern else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
        )
        self._client.connect_timeout = PATIENCE
        if source.username is not None:
            self._client.username_pw_set(source.username, password)
        if source.ca_file is not None:
            context = trusting(str(source.ca_file))
            if source.certificate_file is not None:
                context.load_cert_chain(source.certificate_file, source.key_file)
            self._client.tls_set_context(context)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._try_at = 0.0  # monotonic [s]

    def turn(self, longest: float) -> list[Word]:
        """Wait for so long [s] at most; what came."""
        if not self._client.is_connected() and self.trouble and not self._connecting():
            time.sleep(min(longest, 0.2))
            return []
        if self._client.loop(longest) != paho.MQTT_ERR_SUCCESS:
            self.trouble = self.trouble or "the connection was lost"
        came = list(self._came)
        self._came.clear()
        return came

    def close(self) -> None:
        self._client.disconnect()

    def _connecting(self) -> bool:
        """Whether a connection is under way; a try each few seconds."""
        if self._client.socket() is not None:
            return True
        if time.monotonic() < self._try_at:
            return False
        self._try_at = time.monotonic() + PATIENCE
        try:
            self._client.connect(self._source.host, self._source.port, self._source.keepalive_s)
        except OSError as trouble:
            self.trouble = f"{self._source.host}:{self._source.port}: {trouble.strerror or trouble}"
            return False
        return True

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self.trouble = f"{self._source.host}:{self._source.port}: {reason}"
            return
        prefix = str(self._source.publish)
        topics = [out(prefix, about) for about in ABOUT] + [out(prefix, f"+/{about}") for about in ABOUT]
        client.subscribe([(topic, 1) for topic in topics])

    def _on_subscribe(self, client: Any, userdata: Any, message: Any, reasons: Any, properties: Any) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        self.trouble = f"may not be listened to: {refused[0]}" if refused else ""

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:
        shed, _, about = message.topic.removeprefix(out(str(self._source.publish))).rpartition("/")
        self._came.append(Word(shed, about, message.payload, bool(message.retain)))


def hear_kept(edge: HeartbeatEdge, listener: SecondListener, clock: Clock, longest: float) -> None:
    """Give the listener what the broker keeps; for so long [s] if nothing comes."""
    end = clock.now().monotonic + longest
    while clock.now().monotonic < end:
        for word in edge.turn(0.2):
            listener.take(word, clock.now().utc)
            end = min(end, clock.now().monotonic + WHOLE)
