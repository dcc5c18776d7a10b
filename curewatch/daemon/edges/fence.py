"""Whether what a broker hands over was sent just now, or may have waited there.

Theory of operation: a broker hands a client its messages in order, those of a kept session first. So we
send a marker of our own, subscribed to like everything else, on connecting and every :data:`EVERY` seconds.
What comes behind a marker reached the broker after it did, and is no older than the marker. Law: a message
is of now only if a marker sent within :data:`WITHIN` came back before it on this connection. That holds
for a kept session, for messages that waited while our acknowledgements did, and for a sleeping machine.

Source: MQTT 5.0 (OASIS 2019), 4.6, orders the messages of one topic and QoS. Between topics, brokers
do so (mosquitto and amqtt tried). A message that is marked as sent before is never of now.
"""

import secrets

from curewatch.answers.mqtt import out
from curewatch.configuration import MqttSource

EVERY = 10.0  # between two markers [s]
WITHIN = 20.0  # so old a live message may be at most; the stamp of arrival is as sure as that [s]
PATIENCE = 15.0  # for the first marker of a connection, before somebody is told [s]
AGAIN = 60.0  # a marker that is not back by then may be lost: another one [s]
MISSING = "our marker does not come back: readings without a time of their own are of unknown age, never a go"
BACK = "our marker comes back: what comes now is of now"
CURE = "let our user publish and subscribe to {topic} in the broker's access list"
SENT = 16  # markers remembered that are not yet back


def topic_of(source: MqttSource) -> str:
    """Where a daemon's markers go: one topic a client id."""
    return out(prefix_of(source), f"fence/{source.client_id}")


def prefix_of(source: MqttSource) -> str:
    """Under which our own topics stand; the marker also where nothing else is published."""
    return source.publish or "curewatch"


class Fence:
    """The markers of one broker; every time is monotonic. [s]"""

    def __init__(self, topic: str) -> None:
        self.topic = topic
        self.told = False  # somebody was told that none comes back
        self._sent: dict[bytes, float] = {}  # what is on its way, oldest first; at most SENT
        self._last = float("-inf")  # when the newest was sent
        self._passed = float("-inf")  # when that one was sent which came back
        self._since = 0.0  # when this connection began

    def connected(self, now: float) -> None:
        """A new connection: what is on its way from an earlier one proves nothing."""
        self._sent.clear()
        self._last = self._passed = float("-inf")
        self._since = now

    def due(self, now: float) -> bytes | None:
        """The next marker, if it is time for one: nobody else can know what it says."""
        wait = AGAIN if self._sent else EVERY
        if now - self._last < wait:
            return None
        marker = secrets.token_hex(8).encode()
        if len(self._sent) >= SENT:
            del self._sent[next(iter(self._sent))]
        self._sent[marker] = self._last = now
        return marker

    def came(self, marker: bytes) -> bool:
        """A message on our topic; true if it is the marker that ends a time without one."""
        sent = self._sent.get(marker)
        if sent is None:
            return False
        self._sent = {other: at for other, at in self._sent.items() if at > sent}
        self._passed = max(self._passed, sent)
        mended, self.told = self.told, False
        return mended

    def is_live(self, now: float) -> bool:
        """Does a message that comes now tell of now?"""
        return now - self._passed <= WITHIN

    def is_missing(self, now: float) -> bool:
        """Is it time to tell somebody? True once, until a marker comes back."""
        missing = not self.told and self._passed == float("-inf") and now - self._since >= PATIENCE
        self.told = self.told or missing
        return missing
