"""The sheds' queues: quorum queues of RabbitMQ, over pika.

A shed's queue has one active consumer. A worker that dies loses its connection, and the broker gives its
queues to the next consumer. What was not acknowledged comes again, in order, before what is new.
"""

import logging
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from curewatch.extras import require
from curewatch.fleet.plan import BrokerHosts

PREFETCH = 400  # messages of a shed that are on their way or held
READINGS = "sheds"  # sensors send to READINGS/SHED/...
BLOCKS = "blocks"  # sheds with their own daemon send to BLOCKS/SHED
LOOKS = "curewatch.looks"  # the queue of looks that are wanted
HEARTBEAT = 30  # s
DURABLE: dict[str, Any] = {"x-queue-type": "quorum"}
ALONE: dict[str, Any] = {**DURABLE, "x-single-active-consumer": True}


class QueueMessage(NamedTuple):
    """One message of a queue."""

    tag: int  # by which it is acknowledged
    topic: str
    body: bytes
    again: bool  # the broker says it may have sent this before
    reply_to: str  # a queue for the answer, or empty


def queue_of(shed: str) -> str:
    """The queue of a shed's readings."""
    return f"curewatch.{shed}"


def queue_of_blocks(shed: str) -> str:
    """The queue of a shed's closed blocks."""
    return f"curewatch-blocks.{shed}"


class QueueLostError(Exception):
    """The broker does not have a queue, or no longer."""


def lost_errors() -> tuple[type[Exception], ...]:
    """What a lost broker raises, or a lost queue."""
    return require("pika.exceptions", "fleet", "a worker of a fleet").AMQPError, OSError, QueueLostError


class Queues:
    """A connection to one of the hosts, with a channel for each queue, so that tags are the queue's own."""

    def __init__(self, broker: BrokerHosts, host: str) -> None:
        self._pika = require("pika", "fleet", "a worker of a fleet")
        logging.getLogger("pika").setLevel(logging.CRITICAL)  # what it would say is raised, too
        name, _, port = host.partition(":")
        password = Path(broker.password_file).read_text().strip() if broker.password_file else "guest"
        self._connection = self._pika.BlockingConnection(
            self._pika.ConnectionParameters(
                name,
                int(port or 5672),
                credentials=self._pika.PlainCredentials(broker.user, password),
                heartbeat=HEARTBEAT,
                blocked_connection_timeout=HEARTBEAT,
                socket_timeout=5,
                stack_timeout=10,
            )
        )
        self._channels: dict[str, Any] = {}
        self._came: deque[tuple[Callable[[QueueMessage], None], QueueMessage]] = deque()
        self._opening: set[str] = set()  # queues of :meth:`take` that the broker has not answered for
        self._gone: list[str] = []  # queues of :meth:`take` that are no longer taken from
        self._sending = self._connection.channel()

    def declare(self, queue: str, topic: str = "", *, alone: bool = True) -> None:
        """Have this queue, and what comes to the topic in it. ``alone``: with one active consumer."""
        _have(self._sending, queue, topic, ALONE if alone else DURABLE)

    def replies(self) -> str:
        """A queue of this connection alone, for answers."""
        return str(self._sending.queue_declare("", exclusive=True, auto_delete=True).method.queue)

    def take(
        self, queue: str, arrived: Callable[[QueueMessage], None], *, topic: str = "", at_once: int = PREFETCH
    ) -> None:
        """Consume a queue, so many not acknowledged at most. ``topic``: :meth:`declare` it first.

        No answer of the broker is waited for: behind the messages of other queues each would take seconds,
        and a hundred sheds have hundreds. A queue that is not there ends :meth:`work`.
        """

        def came(_channel: Any, method: Any, properties: Any, body: bytes) -> None:
            topic = method.routing_key.replace(".", "/")
            tag, again = method.delivery_tag, method.redelivered
            self._came.append((arrived, QueueMessage(tag, topic, body, again, properties.reply_to or "")))

        def gone(*_: Any) -> None:
            self._gone.append(queue)

        def opened(channel: Any) -> None:
            channel.add_on_close_callback(gone)  # refused
            channel.add_on_cancel_callback(gone)  # taken away
            if topic:
                _have(channel, queue, topic, ALONE)
            channel.basic_qos(prefetch_count=at_once)
            channel.basic_consume(queue, came, callback=lambda _: self._opening.discard(queue))

        self._opening.add(queue)
        # of the connection beneath, which does not wait
        self._channels[queue] = self._connection._impl.channel(on_open_callback=opened)

    @property
    def taken(self) -> bool:
        """Whether the broker has each queue of :meth:`take`, and gives what is in it."""
        return not self._opening

    def send(self, exchange: str, key: str, body: bytes, *, reply_to: str = "", lasts: float = 0.0) -> None:
        """Hand a message to the broker; ``lasts``: for so long [s], or as long as it takes."""
        told = self._pika.BasicProperties(
            reply_to=reply_to or None, expiration=f"{lasts * 1000:.0f}" if lasts else None, delivery_mode=2
        )
        self._sending.basic_publish(exchange, key, body, told)

    def work(self, seconds: float) -> None:
        """Let messages come in, for this long; :func:`lost_errors` where a queue or broker is gone. [s]"""
        self._connection.process_data_events(time_limit=seconds)
        if self._gone:
            raise QueueLostError(f"no queue {self._gone[0]}")
        for _ in range(len(self._came)):  # who gets one may send: not from within the library's own loop
            arrived, one = self._came.popleft()
            arrived(one)

    def acknowledge(self, queue: str, tag: int) -> None:
        """All of this queue up to this one are done."""
        self._channels[queue].basic_ack(tag, multiple=True)

    def close(self) -> None:
        """Leave; what is not acknowledged is the queue's again."""
        with suppress(self._pika.exceptions.AMQPError):
            self._connection._impl.close()  # and its channels, also those of :meth:`take`
            while not self._connection.is_closed:
                self._connection.process_data_events(time_limit=1.0)


def _have(channel: Any, queue: str, topic: str, arguments: dict[str, Any]) -> None:
    channel.queue_declare(queue, durable=True, arguments=arguments)
    if topic:
        channel.queue_bind(queue, "amq.topic", topic)
