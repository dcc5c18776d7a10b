"""What the daemon asks of whatever readings come from: the port that every edge fills."""

from typing import Protocol


class ReadingSource(Protocol):
    """An edge with a thread of its own. All it does is put events with raw bytes into its inbox.

    It never waits for the loop. What the inbox does not take stays with the sender, or is counted as
    dropped. A lost sender is an event, and the edge goes on trying until it is stopped.
    """

    def start(self) -> None:
        """Begin to listen; returns at once."""

    def stop(self) -> None:
        """End the thread; what was not acknowledged is the sender's again."""

    @property
    def alive(self) -> bool:
        """Whether its thread runs; one that ended by itself is told."""


class Outlet(Protocol):
    """What one shed may ask of a broker."""

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        """These were stored, or rejected with a reason: not to be delivered again."""

    def publish(self, topic: str, document: object) -> None:
        """Give it a word or a document for a topic of ours; one that cannot be given is let go."""

    def leave(self, topic: str, document: object) -> None:
        """The same for this very topic; the empty word takes away what stands there."""

    def renew(self) -> None:
        """Connect anew with the same session; what was not acknowledged comes again."""


class Broker(ReadingSource, Outlet, Protocol):
    """A source that keeps a message until it is acknowledged, and takes documents."""
