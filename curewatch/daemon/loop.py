"""The daemon: edges fill the inbox, one loop acts. Nothing else in it waits or decides.

A failure to start is the user's to mend and ends with status 78, so that a service manager does not try
for ever; whatever ends the loop later is loud, and the status is not zero.
"""

import signal
import threading
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from curewatch import configuration as configured
from curewatch.clock import Clock, SystemClock
from curewatch.configuration import Configuration
from curewatch.daemon.changed_file import ChangedFile
from curewatch.daemon.daily_heads import DailyHeads
from curewatch.daemon.edges.free_memory import FreeMemory
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import Event, MessageArrived, Noticed, Show, Stop
from curewatch.daemon.inbox import Inbox
from curewatch.daemon.keeper import ShedKeeper
from curewatch.daemon.sorting import SharedBrokers, Sorter
from curewatch.daemon.sources import Sources
from curewatch.errors import ConfigurationError, CurewatchError, ExitStatus
from curewatch.page.edge import PageEdge
from curewatch.shed.known_names import check_names

TURN = 0.1  # the longest wait for the inbox: signals and deadlines are looked at this often [s]
# A flood comes in gulps. A commit between two of them has a handful of messages for each of several sheds.
BREATH = 0.002  # without anything new for several sheds: then the broker waits for us [s]
LINES = 500  # lines kept for a board
COMMON = {"source", "clock", "dropped"}  # lines that each of several sheds has alike: shown once


class BootFailed(CurewatchError):  # noqa: N818 - named by the matter, as its siblings
    """It could not start: mend what the message names, then start it again."""

    exit_status = ExitStatus.CONFIGURATION


class Daemon:
    """One running ingest: built, then ``run`` from any one thread until it is told to stop."""

    def __init__(
        self,
        configuration: Configuration,
        *,
        clock: Clock | None = None,
        show: Callable[[Show], None] | None = None,
        holder: str = "curewatch ingest",
        config_path: Path | str | None = None,
        tell_readings: bool = False,
        for_group: str | None = None,
    ) -> None:
        """``for_group``: whose members may tell the logbook something through us."""
        self.configuration = configuration
        self.lines: deque[Show] = deque(maxlen=LINES)
        self.signals: deque[int] = deque(maxlen=100)  # filled by handlers
        self._config_path = config_path or configuration.file
        self._clock = clock or SystemClock()
        self._file = ChangedFile(configuration.file, self._clock.now().monotonic)
        self._show_further = show
        self._tell_readings = tell_readings
        self._stop_asked = threading.Event()
        self._common: deque[Show] = deque(maxlen=20)  # the last lines of several sheds
        self._inbox = Inbox()
        self._memory = FreeMemory(self._clock.now().monotonic)
        try:
            for shed in configuration.each.values():
                check_names(shed)
            with ExitStack() as if_it_fails:
                self._build(holder, for_group, if_it_fails)
                if_it_fails.pop_all()  # from here on `run` closes it
        except (CurewatchError, OSError) as trouble:
            raise BootFailed(str(trouble)) from trouble

    def _build(self, holder: str, group: str | None, if_it_fails: ExitStack) -> None:
        self._sources = Sources(self._inbox, self._clock, self._note)
        self._sorter = Sorter(self.configuration) if self.configuration.sheds else None
        self._shared = SharedBrokers(self._sources.brokers, self._refuses)
        self.keepers: dict[str, ShedKeeper] = {}
        for label, shed in self.configuration.each.items():
            keeper = ShedKeeper(
                shed,
                self._clock,
                self._shared.of(label) if label else self._sources.brokers,
                holder=holder,
                show=partial(self._show, label),
                tell_readings=self._tell_readings,
                sheds=tuple(self.configuration.each.values()) if label else (),
            )
            if_it_fails.callback(keeper.close)
            self.keepers[label] = keeper
        self._sources.build(self._sources.prepare(self.configuration))
        self._troubles: deque[str] = deque(maxlen=100)  # of the page, told by its threads
        self._page = PageEdge(self.configuration, self._troubles.append)
        now = self._clock.now()
        self._heads = DailyHeads(self.configuration, self._say_of_heads, now)
        for keeper in self.keepers.values():
            keeper.begin(now)
            if group is not None:
                keeper.open_to(group)
                if_it_fails.callback(keeper.stop)

    def _say_of_heads(self, text: str, loud: bool) -> None:
        now = self._clock.now()
        first = next(iter(self.keepers.values()))
        first.core.say("daemon", now, text, {"what": "heads"}, loud=loud)

    def _note(self, key: str) -> bytes | None:
        """What some shed's logbook remembers under this key."""
        notes = (keeper.logbook.note(key) for keeper in self.keepers.values())
        return next((note for note in notes if note is not None), None)

    def _refuses(self) -> bool:
        return any(keeper.core.refused_store for keeper in self.keepers.values())

    @property
    def ended(self) -> bool:
        """Whether every shed's work is done."""
        return all(keeper.ended for keeper in self.keepers.values())

    # ---- for whoever runs it

    def stop(self) -> None:
        """Ask for a clean end; safe from any thread."""
        self._stop_asked.set()

    def reload(self) -> None:
        """Ask for the configuration to be read again; safe from any thread."""
        self.signals.append(signal.SIGHUP)

    def run(self, service: ServiceManager | None = None) -> ExitStatus:
        """Act until told to stop: OK after a clean end, FAILURE if something was left unstored."""
        service = service or ServiceManager({})
        self._sources.start()
        for keeper in self.keepers.values():
            keeper.start()
        places = ", ".join(str(keeper.logbook.path) for keeper in self.keepers.values())
        service.ready(f"sources: {', '.join(self._sources.names) or 'none'}; logbook {places}")
        try:
            while not self.ended:
                self._turn(service)
        finally:
            service.stopping()
            self._page.stop()
            for keeper in self.keepers.values():
                keeper.stop()
            self._sources.stop()
            for keeper in self.keepers.values():
                keeper.close()
        return ExitStatus.FAILURE if self._refuses() else ExitStatus.OK

    # ---- the loop

    def _turn(self, service: ServiceManager) -> None:
        taken = self._inbox.take(TURN)
        for event in taken:
            self._handle(event)
        self._asked()
        idle = self._inbox.quiet(BREATH if taken and self._sorter else 0.0)
        for keeper in self.keepers.values():
            keeper.look(idle=idle)
        if self._sorter is not None and not self.ended:
            self._heads.look((keeper.sealed for keeper in self.keepers.values()), self._clock.now())
        self._show_phones()
        dead = self._sources.dead()
        if dead and not self.ended:
            raise CurewatchError(f"the thread of {', '.join(dead)} ended by itself; this is a fault of ours")
        now = self._clock.now().monotonic
        self._memory.look(now)
        service.alive(now)

    def _show_phones(self) -> None:
        """The page goes round with the loop; its trouble is an event like any other."""
        if not self.ended:
            self._page.beat()
        while self._troubles:
            first = next(iter(self.keepers.values()))
            first.handle(Noticed("page", self._clock.now(), self._troubles.popleft()))

    def _handle(self, event: Event) -> None:
        """An event goes to the sheds that it concerns; with one shed, to that."""
        if self._sorter is None:
            for keeper in self.keepers.values():
                keeper.handle(event)
            return
        parts = self._sorter.sort(event)
        if isinstance(event, MessageArrived) and event.quality:
            self._shared.unacknowledged.expect(event.source, event.connection, event.identifier, len(parts))
        for label, part in parts.items():
            self.keepers[label].handle(part)

    def _asked(self) -> None:
        """What signals, other threads and a changed file asked for since the last turn."""
        if self._file.look(self._clock.now().monotonic):
            self.reload()
        while self.signals:
            if self.signals.popleft() == signal.SIGHUP:
                self._reload()
            else:
                self._stop_asked.set()
        if self._stop_asked.is_set() and not self.ended:
            self._stop_asked.clear()
            self._handle(Stop(self._clock.now()))

    def _reload(self) -> None:
        """Read the configuration again; one that is not valid leaves the old one in place, loudly."""
        now = self._clock.now()
        self._file.taken()
        try:
            fresh = configured.load(self._config_path)
            for shed in fresh.each.values():
                check_names(shed)
            settings = self._sources.prepare(fresh)
            self._same_logbooks(fresh)
            self._sources.replace(settings)
        except CurewatchError as trouble:
            text = f"the new configuration is not taken, the old one stays: {trouble}"
            self._handle(Noticed("configuration", now, text))
            return
        self.configuration = self._heads.configuration = fresh
        if self._sorter is not None:
            self._sorter = Sorter(fresh, before=self._sorter)
        for label, keeper in self.keepers.items():
            keeper.reload(fresh.each[label], now)
        self._page.replace(fresh)

    def _same_logbooks(self, fresh: Configuration) -> None:
        """ConfigurationError where the new configuration has another shed, or another logbook for one."""
        places = {label: configured.logbook_path(shed) for label, shed in self.configuration.each.items()}
        wanted = {label: configured.logbook_path(shed) for label, shed in fresh.each.items()}
        if set(wanted) != set(places):
            found = ", ".join(wanted)
            raise ConfigurationError(found, "the same sheds as before; restart for others", key="sheds")
        for label, place in wanted.items():
            if place != places[label]:
                key = f"sheds.{label}.logbook.path" if label else "logbook.path"
                raise ConfigurationError(str(place), "the same as before; restart for another", key=key)

    def _show(self, label: str, line: Show) -> None:
        if label and line.kind in COMMON:
            if line in self._common:
                return  # another shed has said it
            self._common.append(line)
        elif label:
            line = line._replace(detail=line.detail | {"shed": label})
        self.lines.append(line)
        if self._show_further is not None:
            self._show_further(line)
