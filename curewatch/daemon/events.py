"""What the world tells the core, and what the core asks of the world.

Every event carries the :class:`Instant` that its edge took when it happened; the core reads no
clock. Effects are asked for in an order that must be kept: store and commit, then acknowledge,
then show.
"""

from typing import Any, NamedTuple

from curewatch.clock import Instant
from curewatch.logbook.entry import Entry
from curewatch.phrases import Said
from curewatch.readings import Reading, Rejected

# ---- events


class BytesArrived(NamedTuple):
    """Raw bytes from a port, cut wherever the port cut them."""

    source: str
    data: bytes
    at: Instant
    named: tuple[Any, ...] | None = None  # of naming.Named, where it was read before it was sorted by shed


class MessageArrived(NamedTuple):
    """One MQTT message, not yet acknowledged."""

    source: str
    topic: str
    payload: bytes
    at: Instant
    quality: int = 0  # of service: 1 needs an acknowledgement
    duplicate: bool = False  # the broker says it may have sent this before
    retained: bool = False  # the broker had kept it: nobody sent it just now
    identifier: int = 0  # packet identifier
    connection: int = 0  # running number of the connection it came over
    discarded: int = 0  # bytes of a message that was too long to hold; its payload is then empty
    backlog: bool = False  # the broker may have held it back: when it was sent is not known
    named: tuple[Any, ...] | None = None  # of naming.Named, where it was read before it was sorted by shed


class Tick(NamedTuple):
    """Time has passed; ``idle`` when nothing else is waiting to be taken."""

    at: Instant
    idle: bool = False


class SourceUp(NamedTuple):
    """A port is open, or a broker has granted a subscription."""

    source: str
    at: Instant
    note: str = ""


class SourceDown(NamedTuple):
    """A port or a broker does not answer, or lets nothing through, and why."""

    source: str
    at: Instant
    reason: str


class Noticed(NamedTuple):
    """An edge saw something a person should know."""

    source: str
    at: Instant
    what: str


class Overflowed(NamedTuple):
    """An edge had to drop what came in, because what came before had not been taken yet."""

    source: str
    at: Instant
    dropped: int


class Committed(NamedTuple):
    """The last :class:`Store` is committed; ``fresh`` of its readings were not there before."""

    at: Instant
    fresh: int


class StoreRefused(NamedTuple):
    """The last :class:`Store` could not be committed."""

    at: Instant
    reason: str


class Evaluated(NamedTuple):
    """What thinking about the advice gave: to be stored, then published and shown."""

    at: Instant
    outcome: tuple[Any, ...]  # of Entry, Publish, Show, Remember and Again


class Reload(NamedTuple):
    """A new configuration, already valid."""

    configuration: Any
    at: Instant


class Stop(NamedTuple):
    """Finish what is in hand, then end."""

    at: Instant


Event = (
    BytesArrived
    | MessageArrived
    | Tick
    | SourceUp
    | SourceDown
    | Noticed
    | Overflowed
    | Committed
    | StoreRefused
    | Evaluated
    | Reload
    | Stop
)

# ---- effects


class Store(NamedTuple):
    """Commit all of this at once, or none of it; answer with Stored or StoreRefused."""

    readings: tuple[Reading, ...]
    entries: tuple[Entry, ...]
    rejected: tuple[Rejected, ...]
    memory: dict[str, bytes]  # small values replaced in the same commit, outside the chain


class Acknowledge(NamedTuple):
    """These messages are committed: tell the broker."""

    source: str
    connection: int
    identifiers: tuple[int, ...]


class Renew(NamedTuple):
    """Connect to this broker anew: it has messages that could not be held, and sends them only then."""

    source: str


class Publish(NamedTuple):
    """Tell others: a retained word or document under the source's own prefix."""

    topic: str
    document: Any


class Leave(NamedTuple):
    """Leave a retained document under this very topic of one broker; the empty word takes it away."""

    source: str
    topic: str
    document: Any


class Show(NamedTuple):
    """One line for whoever looks: already true, already stored."""

    kind: str
    at: float  # UTC [s]
    text: Said
    detail: dict[str, Any]
    loud: bool = False


STARTED = "the program started"  # the reason of the look before the sensors had time to report


class Evaluate(NamedTuple):
    """Think about the advice now, from what is committed; answer with Evaluated."""

    at: Instant
    reason: str


class Again(NamedTuple):
    """Think about the advice again at this moment: a countdown reaches a mark then."""

    at: float  # UTC [s]


class Remember(NamedTuple):
    """Keep these bytes under this key, in the place of those before, with the next commit."""

    key: str
    value: bytes


class Ended(NamedTuple):
    """Everything in hand is done; the loop may end."""


Effect = Store | Acknowledge | Renew | Publish | Leave | Show | Evaluate | Ended
