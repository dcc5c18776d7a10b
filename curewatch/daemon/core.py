"""The daemon's mind: events in, effects out; no port, no file, no clock.

Theory of operation: what comes in is turned into readings and put into the open batch. A batch is
closed by count or by age and becomes one :class:`Store`. Only when the world answers :class:`Committed`
are its messages acknowledged and its lines shown; when it answers :class:`StoreRefused` the batch is
held and offered again, later each time, while the next one fills up to a bound. Laws kept:

- stored, then acknowledged, then shown; nothing is acknowledged or shown that is not committed;
- at most one batch is with the logbook, so order is kept;
- everything held is bounded, and what had to be dropped is counted, shown and written down.
"""

from collections.abc import Callable
from typing import Any

from curewatch.clock import Instant, iso_utc
from curewatch.configuration import Configuration
from curewatch.daemon.batch import CommitBatch
from curewatch.daemon.deliveries import Deliveries, mark
from curewatch.daemon.events import (
    Again,
    BytesArrived,
    Committed,
    Effect,
    Ended,
    Evaluate,
    Evaluated,
    Event,
    Leave,
    MessageArrived,
    Noticed,
    Overflowed,
    Publish,
    Reload,
    Remember,
    Renew,
    Show,
    SourceDown,
    SourceUp,
    Stop,
    Store,
    StoreRefused,
    Tick,
)
from curewatch.daemon.inbox import TURN
from curewatch.daemon.intake import Intake
from curewatch.daemon.rejections import RejectionTally
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.errors import UsageError
from curewatch.logbook.entry import Entry
from curewatch.readings import Flag, Reading, Rejected
from curewatch.shed import clock_watch, forecasts
from curewatch.shed.clock_watch import ClockState

# Items that close a batch, where more are waiting still. That is a turn of the inbox: of a larger turn a rest
# stays over, and where messages have waited longer than BATCH_AGE it is committed by itself. It is half of
# the `in_flight` that is usual, so a broker sends the other half meanwhile.
BATCH = TURN
BATCH_AGE = 0.2  # that closes it otherwise [s]
# Messages not yet acknowledged that close it when nothing else is waiting: a broker with a small window
# (20 is usual) has sent all it may and waits for us; fewer are ordinary traffic, and wait for company.
# So it is below the least `in_flight` that can be configured, or delivery would stall.
WINDOW = 8
HELD = 100_000  # readings held while the logbook refuses: over two months of one sensor a minute
RETRY_FIRST, RETRY_LAST = 0.5, 60.0  # between two offers of a refused batch [s]


class Core:
    """One state machine; :meth:`receive` is its one door."""

    def __init__(
        self,
        configuration: Configuration,
        now: Instant,
        *,
        memory: Callable[[str], bytes | None] = lambda key: None,
        keeping: WatchKeeping | None = None,
        batch: int = BATCH,
        window: int = WINDOW,
        batch_age: float = BATCH_AGE,
        tell_readings: bool = False,
        not_before: float = clock_watch.NOT_BEFORE,
    ) -> None:
        self.configuration = configuration
        self.intake = Intake(configuration)
        self.rejections = RejectionTally()
        self.keeping = keeping or WatchKeeping(configuration)
        self.clock: ClockState = clock_watch.step(ClockState(), now, not_before)[0]
        self.deliveries = {name: Deliveries(name, memory) for name in configuration.mqtt}
        self.sources: dict[
            str, str
        ] = {}  # source -> "" if it answers, else why not; one per configured source
        self.stored = self.repeated = self.dropped = 0  # readings, since the start
        self.refused_store = ""  # why the logbook refuses at present
        self._memory = memory
        self._not_before = not_before
        self._batch_size = batch
        self._window = window
        self._batch_age = batch_age
        self._tell_readings = tell_readings
        self._open = CommitBatch(now.monotonic)
        self._sent: CommitBatch | None = None
        self._offer_at: float | None = None  # monotonic, when to offer the held batch again [s]
        self._offers = 0  # refused in a row
        self._newly_dropped = 0  # readings dropped since the last commit
        self._left: set[str] = set()  # brokers that have messages which we could not hold
        self._pressing = False  # the open batch is wanted now
        self._stopping = False
        self._handlers: dict[type, Callable[[Any], None]] = {
            BytesArrived: self._bytes,
            MessageArrived: self._message,
            Tick: self._tick,
            SourceUp: self._source_up,
            SourceDown: self._source_down,
            Noticed: self._noticed,
            Overflowed: self._overflowed,
            Evaluated: self._evaluated,
            Reload: self._reload,
            Stop: self._stop,
        }

    # ---- the door

    def receive(self, event: Event) -> list[Effect]:
        """Take one event; give what is to be done now, in this order."""
        if isinstance(event, Committed):
            return self._committed(event)
        if isinstance(event, StoreRefused):
            return self._rejected(event)
        if self._open.empty:
            self._open.opened = event.at.monotonic
        self._handlers[type(event)](event)
        idle = isinstance(event, Tick) and event.idle
        return self._due(event.at, idle=idle)

    # ---- what comes in

    def _bytes(self, event: BytesArrived) -> None:
        if self._open.size < HELD:
            self._take(self.intake.bytes_arrived(event), event.at)
            return
        self.intake.begin()
        self._drop(sum(isinstance(item, Reading) for item in self.intake.bytes_arrived(event)))
        self.intake.take_back()  # nobody has it: the board may say it again

    def _drop(self, readings: int) -> None:
        self._newly_dropped += readings
        self.dropped += readings

    def _message(self, event: MessageArrived) -> None:
        batch = self._open
        if batch.size >= HELD:  # not looked at, so not remembered, and not acknowledged
            if event.quality:
                self._left.add(event.source)
            else:
                self._drop(1)
            return
        if event.quality:
            batch.acknowledge(event.source, event.connection, event.identifier)
            delivery = mark(event.topic, event.payload, event.identifier)
            known = self.deliveries.get(event.source)
            if known is None:
                known = self.deliveries[event.source] = Deliveries(event.source, self._memory)
            if event.duplicate and delivery in known:
                self.repeated += 1
                return
            known.add(delivery)
            batch.delivered.add(event.source)
        found = self.intake.message_arrived(event)
        if forecasts.are_told(found):
            self._forecast([item for item in found if isinstance(item, Reading)], event)
        else:
            self._take(found, event.at)

    def _forecast(self, told: list[Reading], event: MessageArrived) -> None:
        """One message, one forecast of the air outside: an entry, or a refusal that says why."""
        try:
            forecast = forecasts.from_readings(told, event.at.utc)
        except UsageError:
            rejected = Rejected(
                forecasts.UNUSABLE, event.payload[:200], event.at.utc, event.source, forecasts.NAME
            )
            self._take([rejected], event.at)
            return
        entry = forecasts.entry(forecast, event.topic)
        text = f"forecast of {len(forecast.time)} moments, until {iso_utc(float(forecast.time[-1]))}"
        self._add(entry, Show(forecasts.KIND, event.at.utc, text, {"until": float(forecast.time[-1])}))

    def _take(self, found: list[Reading | Rejected], at: Instant) -> None:
        batch, doubtful = self._open, not self.clock.believed
        for item in found:
            if isinstance(item, Rejected):
                self.rejections.add(item)
                batch.rejected.append(item)
            else:
                batch.readings.append(
                    item._replace(flags=item.flags | Flag.CLOCK_DOUBT) if doubtful else item
                )

    def _tick(self, event: Tick) -> None:
        self.clock, moved = clock_watch.step(self.clock, event.at, self._not_before)
        if moved is not None:
            self._clock_moved(moved, event.at)
        self._add(*self.rejections.due(event.at.monotonic))
        self._keep_watch(event.at)

    def _clock_moved(self, moved: clock_watch.ClockStep, at: Instant) -> None:
        way = "forward" if moved.size > 0 else "back"
        text = f"this machine's clock moved {way} by {abs(moved.size):.0f} s"
        payload: dict[str, Any] = {
            "reason": text,
            "step": moved.size,
            "before": moved.before,
            "after": moved.after,
        }
        payload["begun"] = moved.begun
        self._say("clock", at, text, payload, loud=abs(moved.size) > clock_watch.DOUBT)

    def _keep_watch(self, at: Instant) -> None:
        """Look at the sensors if it is time for it; what has come in is committed first."""
        if not self._stopping:
            self._add(*self.keeping.first(at))
        if self._sent is not None or self._stopping or not self.keeping.is_due(at):
            return
        if self._open.readings:
            self._pressing = True
        else:
            self._add(*self.keeping.look(at, self.clock, self.sources))

    def _evaluated(self, event: Evaluated) -> None:
        marks = [said.at for said in event.outcome if isinstance(said, Again)]
        if event.outcome:
            self.keeping.look_at(min(marks, default=None))
        for said in event.outcome:
            if isinstance(said, Remember):
                self.remember(said.key, said.value)
            elif not isinstance(said, Again):
                self._add(said)

    # ---- sources

    def _source_up(self, event: SourceUp) -> None:
        before = self.sources.get(event.source)
        self.sources[event.source] = ""
        self.intake.reopened(event.source)
        if before != "":
            text = f"{event.source} answers{': ' + event.note if event.note else ''}"
            self._say("source", event.at, text, {"source": event.source, "up": True, "note": event.note})

    def _source_down(self, event: SourceDown) -> None:
        before = self.sources.get(event.source)
        self.sources[event.source] = event.reason or "no answer"
        self.intake.reopened(event.source)
        if before != self.sources[event.source]:
            text = f"{event.source} does not answer: {event.reason}"
            payload = {"source": event.source, "up": False, "reason": event.reason}
            self._say("source", event.at, text, payload, loud=True)

    def _noticed(self, event: Noticed) -> None:
        text = f"{event.source}: {event.what}"
        self._say("source", event.at, text, {"source": event.source, "notice": event.what}, loud=True)

    def _overflowed(self, event: Overflowed) -> None:
        self.dropped += event.dropped
        self._say(
            "dropped",
            event.at,
            f"{event.source}: {event.dropped} pieces dropped unread: faster than they could be stored",
            {"source": event.source, "pieces": event.dropped},
            loud=True,
        )

    def _reload(self, event: Reload) -> None:
        self.configuration = event.configuration
        self.intake = Intake(self.configuration, before=self.intake)
        self.keeping.reconfigure(self.configuration)
        self._say("daemon", event.at, "configuration read again", {"what": "reloaded"})

    def _stop(self, event: Stop) -> None:
        self._stopping = True
        self._add(*self.rejections.due(event.at.monotonic, everything=True))
        self._say("daemon", event.at, "stopped", {"what": "stopped"})

    # ---- entries and lines wait for their commit

    def _say(self, kind: str, at: Instant, text: str, payload: dict[str, Any], *, loud: bool = False) -> None:
        """An entry for the logbook, and the line about it once it is there."""
        self._add(Entry(kind, payload, at.utc), Show(kind, at.utc, text, payload, loud))

    def write(self, entry: Entry) -> None:
        """For the loop: an entry that nobody needs to see."""
        self._add(entry)

    def remember(self, key: str, value: bytes) -> None:
        """A note in the logbook, with the next commit."""
        self._open.notes[key] = value

    def remembered(self, key: str) -> bytes | None:
        """For the loop: a note, also one that is not yet committed."""
        waiting = (batch.notes for batch in (self._open, self._sent) if batch is not None)
        return next((notes[key] for notes in waiting if key in notes), None) or self._memory(key)

    def leave(self, source: str, topic: str, document: Any) -> None:
        """For the loop: a document under this very topic, once what is remembered of it is committed."""
        self._add(Leave(source, topic, document))

    def publish(self, topic: str, document: Any) -> None:
        """For the loop: a retained word or document for others."""
        self._add(Publish(topic, document))

    def say(self, kind: str, at: Instant, text: str, payload: dict[str, Any], *, loud: bool = False) -> None:
        """For the loop: something about the daemon itself that belongs in the logbook."""
        self._say(kind, at, text, payload, loud=loud)

    def _add(self, *items: Entry | Publish | Leave | Show | Evaluate) -> None:
        for item in items:
            if isinstance(item, Entry):
                if len(self._open.entries) < HELD:
                    self._open.entries.append(item)
            elif len(self._open.after) < HELD:
                self._open.after.append(item)

    # ---- batches

    def _due(self, now: Instant, *, idle: bool = False) -> list[Effect]:
        """The next store, if it is time for one."""
        if self._sent is not None:
            if self._offer_at is not None and (now.monotonic >= self._offer_at or self._stopping):
                self._offer_at = None
                return [self._sent.store(self.deliveries)]
            return []
        batch = self._open
        if batch.empty:
            return [Ended()] if self._stopping else []
        old = now.monotonic - batch.opened >= self._batch_age
        waited_for = idle and batch.unacknowledged >= self._window
        if not (self._stopping or self._pressing or old or waited_for or batch.size >= self._batch_size):
            return []
        return [self._send(now)]

    def _send(self, now: Instant) -> Store:
        self._pressing = False
        self._sent, self._open = self._open, CommitBatch(now.monotonic)
        return self._sent.store(self.deliveries)

    def _committed(self, event: Committed) -> list[Effect]:
        batch = self._sent
        if batch is None:
            return []
        self._sent, self._offers = None, 0
        self.stored += event.fresh
        self.repeated += len(batch.readings) - event.fresh
        effects: list[Effect] = list(batch.afterwards())
        if self.refused_store:
            self._resumed(event.at)
        effects.extend(Renew(source) for source in sorted(self._left))
        self._left.clear()
        self._add(*self.keeping.committed(batch.readings, event.at))
        if self._tell_readings:
            effects.extend(self._told(batch.readings))
        self._keep_watch(event.at)
        return [*effects, *self._due(event.at)]

    def _told(self, readings: list[Reading]) -> list[Show]:
        return [Show("reading", r.time, "", {"reading": r}) for r in readings]

    def _resumed(self, at: Instant) -> None:
        payload = {"what": "store resumed", "reason": self.refused_store, "dropped": self._newly_dropped}
        lost = (
            f"; {self._newly_dropped} readings had to be dropped"
            if self._newly_dropped
            else "; nothing was lost"
        )
        self.refused_store, self._newly_dropped = "", 0
        self._say("daemon", at, f"the logbook takes readings again{lost}", payload, loud=True)

    def _rejected(self, event: StoreRefused) -> list[Effect]:
        self._offers += 1
        wait = min(RETRY_LAST, RETRY_FIRST * 2 ** min(self._offers - 1, 10))
        self._offer_at = event.at.monotonic + wait
        first, self.refused_store = event.reason != self.refused_store, event.reason
        if self._stopping:
            return [
                self._rejected_line(event, "stopping; what is not acknowledged stays with the broker"),
                Ended(),
            ]
        return [self._rejected_line(event, f"next try in {wait:.0f} s")] if first else []

    def _rejected_line(self, event: StoreRefused, what_next: str) -> Show:
        held = len(self._open.readings) + (len(self._sent.readings) if self._sent else 0)
        text = f"THE LOGBOOK TAKES NOTHING: {event.reason}; {held} readings held in memory; {what_next}"
        return Show("store", event.at.utc, text, {"reason": event.reason, "held": held}, loud=True)
