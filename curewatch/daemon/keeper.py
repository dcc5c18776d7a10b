"""One shed of the daemon: its logbook, its core, its looks at the advice, its seals.

A daemon has one, or one for each of several sheds. Each has a chain of its own; they share the sources, the
clock and the loop.
"""

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from datetime import date

from curewatch.clock import Clock, Instant
from curewatch.configuration import Configuration, logbook_path, of_no_shed
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import WINDOW, Core
from curewatch.daemon.daily import Daily
from curewatch.daemon.discovering import discover
from curewatch.daemon.edges.local_socket import LocalSocket
from curewatch.daemon.events import Evaluated, Event, Noticed, Reload, Show
from curewatch.daemon.external_entries import ExternalEntries
from curewatch.daemon.fetcher import Fetcher
from curewatch.daemon.outgoing import Outgoing
from curewatch.daemon.port import Outlet
from curewatch.daemon.thinking import Thinking
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.logbook import open_logbook
from curewatch.shed import recall
from curewatch.shed.known_names import configuration_entry


class ShedKeeper:
    """Takes events, keeps what they give, and looks at it."""

    def __init__(
        self,
        configuration: Configuration,
        clock: Clock,
        brokers: Mapping[str, Outlet],
        *,
        holder: str,
        show: Callable[[Show], None],
        tell_readings: bool,
        sheds: tuple[Configuration, ...] = (),
    ) -> None:
        """``brokers`` is looked into anew each time; they may come after this. ``sheds``: all, of several."""
        self._sheds = sheds
        self.configuration = configuration
        self._clock = clock
        self._local: LocalSocket | None = None
        with ExitStack() as if_it_fails:
            self.logbook = if_it_fails.enter_context(open_logbook(logbook_path(configuration)))
            self.logbook.hold(holder, clock.now().utc)
            self._build(brokers, show, tell_readings=tell_readings)
            if_it_fails.pop_all()  # from here on `close` closes it

    def _build(
        self, brokers: Mapping[str, Outlet], show: Callable[[Show], None], *, tell_readings: bool
    ) -> None:
        now, logbook, configuration = self._clock.now(), self.logbook, self.configuration
        known = recall.sensors_of_interest(logbook, configuration)
        self.core = Core(
            configuration,
            now,
            memory=logbook.note,
            keeping=WatchKeeping(configuration, recall.tracks(logbook, known, now.utc)),
            window=max(1, WINDOW // max(1, len(self._sheds))),
            tell_readings=tell_readings,
        )
        self.thinking = Thinking(configuration, logbook.path)
        self.outgoing = Outgoing(configuration, logbook.path, self._complained)

        def shown(line: Show) -> None:
            if line.kind in {"alert", "verdict"}:
                self.outgoing.wake(self._clock.now())
            show(line)

        self.actor = Actor(self.core, logbook, self._clock, brokers=brokers, show=shown, think=self.thinking)
        self._external = ExternalEntries(self.core, logbook, now.monotonic)
        self._daily = Daily(self.core, logbook, configuration, now)
        others = tuple(logbook_path(shed) for shed in self._sheds[1:])
        leads = not self._sheds or configuration.label == self._sheds[0].label
        self._fetcher = Fetcher(configuration, logbook.path, others) if leads else None

    def begin(self, at: Instant) -> None:
        """Write down what it goes by from now on; the sources are built."""
        self.core.write(configuration_entry(self.configuration, at.utc))
        sources = [*self.configuration.serial, *self.configuration.mqtt]
        self.core.say("daemon", at, "started", {"what": "started", "sources": sources})
        self._look_beside(at)
        discover(self.core, self.configuration)

    def _look_beside(self, at: Instant) -> None:
        """A shed that was renamed begins a new logbook: its layers, lots and alerts are in the old one."""
        beside = of_no_shed(self._sheds or (self.configuration,)) if self.logbook.head().readings == 0 else []
        if beside:
            names = ", ".join(path.name for path in beside)
            key = f"[sheds.{self.configuration.label}.logbook]" if self._sheds else "[logbook]"
            text = (
                f"this logbook is new. Of no shed in the configuration: {names}. "
                f"Was this shed renamed? Stop, and name that file as path below {key}"
            )
            told = {"what": "logbook of no shed", "logbooks": names}
            self.core.say("daemon", at, text, told, loud=True)

    def open_to(self, group: str) -> None:
        """Let the members of this group tell the logbook something through us."""
        local = LocalSocket(self.logbook.path, self._clock, group, self.configuration.logbook)
        local.open()
        self._local = local

    def start(self) -> None:
        """The loop begins."""
        if self._local is not None:
            self._local.start()

    @property
    def ended(self) -> bool:
        """Whether everything in hand is done."""
        return self.actor.ended

    @property
    def sealed(self) -> date | None:
        """The last local day before which all is sealed."""
        return self._daily.sealed

    def handle(self, event: Event) -> None:
        """One event, and everything that follows from it."""
        if not self.ended:
            self.actor.handle(event)

    def look(self, *, idle: bool) -> None:
        """What time brings: entries of others, a new day, an answer that was thought, a batch that is old."""
        if self.ended:
            return
        self._external.look(self._clock.now().monotonic)
        self._daily.look(self._clock.now())
        if self._fetcher is not None:  # one shed asks for all: they are at one place
            self._fetcher.look(self._clock.now())
        self._thought()
        self.outgoing.look(self._clock.now())
        self.actor.tick(idle=idle)

    def _thought(self) -> None:
        said = self.thinking.collect()
        if said is not None:
            self.actor.handle(Evaluated(self._clock.now(), said))
            self.outgoing.begin(self._clock.now())
        self.thinking.go_on(self._clock.now())

    def _complained(self, what: str) -> None:
        """Trouble with notices is an event like any other."""
        self.handle(Noticed("notices", self._clock.now(), what))

    def reload(self, fresh: Configuration, at: Instant) -> None:
        """Go by another configuration, already valid, with the same logbook."""
        self.configuration = self._daily.configuration = self.thinking.configuration = fresh
        if self._fetcher is not None:
            self._fetcher.configuration = fresh
        if self._local is not None:
            self._local.kept = fresh.logbook
        self.outgoing.replace(fresh, at)
        self.actor.handle(Reload(fresh, at))
        self.core.write(configuration_entry(fresh, at.utc))
        discover(self.core, fresh)

    def stop(self) -> None:
        """Take no more from the local socket."""
        if self._local is not None:
            self._local.stop()

    def close(self) -> None:
        """Close the logbook."""
        self.logbook.close()
