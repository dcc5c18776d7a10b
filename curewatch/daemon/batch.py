"""What is stored at once, and what may only be said once it is stored."""

from dataclasses import dataclass, field

from curewatch.daemon.deliveries import Deliveries
from curewatch.daemon.events import Acknowledge, Evaluate, Leave, Publish, Show, Store
from curewatch.logbook.entry import Entry
from curewatch.readings import Reading, Rejected


@dataclass(slots=True)
class CommitBatch:
    """Readings, rejections and entries of one commit, and the acknowledgements and lines that wait for it.

    Bounded by its owner: it is closed at a count or an age, and held ones are counted.
    """

    opened: float  # monotonic [s]
    readings: list[Reading] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    rejected: list[Rejected] = field(default_factory=list)
    acknowledgements: dict[tuple[str, int], list[int]] = field(default_factory=dict)
    unacknowledged: int = 0
    delivered: set[str] = field(default_factory=set)  # sources whose deliveries are remembered with it
    memory: dict[str, bytes] | None = None  # its deliveries, packed when it is first offered
    notes: dict[str, bytes] = field(default_factory=dict)  # what the loop wants remembered
    after: list[Publish | Leave | Show | Evaluate] = field(default_factory=list)

    def acknowledge(self, source: str, connection: int, identifier: int) -> None:
        """This message waits for the commit."""
        self.acknowledgements.setdefault((source, connection), []).append(identifier)
        self.unacknowledged += 1

    @property
    def size(self) -> int:
        """Items that count towards closing it."""
        return max(len(self.readings) + len(self.rejected) + len(self.entries), self.unacknowledged)

    @property
    def empty(self) -> bool:
        return not (self.readings or self.unacknowledged or self.entries or self.rejected or self.after)

    def store(self, deliveries: dict[str, Deliveries]) -> Store:
        """What is asked of the logbook; deliveries are remembered in the same commit."""
        if self.memory is None:  # offered again, it must not vouch for messages that came meanwhile
            self.memory = self.notes | dict(deliveries[source].close() for source in self.delivered)
        return Store(tuple(self.readings), tuple(self.entries), tuple(self.rejected), self.memory)

    def afterwards(self) -> list[Acknowledge | Publish | Leave | Show | Evaluate]:
        """What may be done once all of it is committed, in order."""
        acknowledged = [
            Acknowledge(source, connection, tuple(identifiers))
            for (source, connection), identifiers in self.acknowledgements.items()
        ]
        return [*acknowledged, *self.after]
