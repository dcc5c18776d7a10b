"""The daemon: edges fill the inbox, one loop acts. Nothing else in it waits or decides.

A failure to start is the user's to mend and ends with status 78, so that a service manager does not try
for ever; whatever ends the loop later is loud, and the status is not zero.
"""

import signal
import threading
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from curewatch import configuration as configured
from curewatch.clock import Clock, SystemClock
from curewatch.configuration import Configuration
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import BATCH, Core
from curewatch.daemon.daily import Daily
from curewatch.daemon.edges.alert_command import AlertCommand
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import Evaluated, Noticed, Reload, Show, Stop
from curewatch.daemon.external_entries import ToldBeside
from curewatch.daemon.inbox import Inbox
from curewatch.daemon.sources import Sources
from curewatch.daemon.thinking import Thinking
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.errors import ConfigurationError, CurewatchError, ExitStatus
from curewatch.logbook import open_logbook
from curewatch.phrases import recalled
from curewatch.shed import recall
from curewatch.shed.known_names import check_names, configuration_entry
from curewatch.wording import wording

TURN = 0.1  # the longest wait for the inbox: signals and deadlines are looked at this often [s]
LINES = 500  # lines kept for a board


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
    ) -> None:
        self.configuration = configuration
        self.lines: deque[Show] = deque(maxlen=LINES)
        self.signals: deque[int] = deque(maxlen=100)  # filled by handlers
        self._config_path = config_path or configuration.file
        self._clock = clock or SystemClock()
        self._show_further = show
        self._tell_readings = tell_readings
        self._stop_asked = threading.Event()
        self._inbox = Inbox()
        self._alert_command = self._commanded(configuration)
        try:
            check_names(configuration)
            with ExitStack() as if_it_fails:
                self.logbook = if_it_fails.enter_context(open_logbook(configured.logbook_path(configuration)))
                self.logbook.hold(holder, self._clock.now().utc)
                self._build()
                if_it_fails.pop_all()  # from here on `run` closes it
        except (CurewatchError, OSError) as trouble:
            raise BootFailed(str(trouble)) from trouble

    def _build(self) -> None:
        now, logbook, configuration = self._clock.now(), self.logbook, self.configuration
        known = recall.sensors_of_interest(logbook, configuration)
        in_flight = [source.in_flight for source in configuration.mqtt.values()]
        self.core = Core(
            configuration,
            now,
            memory=logbook.note,
            keeping=WatchKeeping(configuration, recall.tracks(logbook, known, now.utc)),
            batch=min([BATCH, *in_flight]),
            tell_readings=self._tell_readings,
        )
        self._thinking = Thinking(configuration, logbook.path)
        self._sources = Sources(self._inbox, self._clock, logbook.note)
        self._sources.build(self._sources.prepare(configuration))
        self.actor = Actor(
            self.core,
            logbook,
            self._clock,
            brokers=self._sources.brokers,
            show=self._show,
            think=self._thinking,
        )
        self._beside = ToldBeside(self.core, logbook, now.monotonic)
        self._daily = Daily(self.core, logbook, configuration, now)
        self.core.write(configuration_entry(configuration, now.utc))
        self.core.say("daemon", now, "started", {"what": "started", "sources": self._sources.names})

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
        service.ready(f"sources: {', '.join(self._sources.names) or 'none'}; logbook {self.logbook.path}")
        try:
            while not self.actor.ended:
                self._turn(service)
        finally:
            service.stopping()
            self._sources.stop()
            self._alert_command.stop()
            self.logbook.close()
        return ExitStatus.FAILURE if self.core.refused_store else ExitStatus.OK

    # ---- the loop

    def _turn(self, service: ServiceManager) -> None:
        events = self._inbox.take(TURN)
        for event in events:
            self.actor.handle(event)
        self._asked()
        if not self.actor.ended:
            self._beside.look(self._clock.now().monotonic)
            self._daily.look(self._clock.now())
            self._thought()
            self.actor.tick(idle=self._inbox.empty)
        dead = self._sources.dead()
        if dead and not self.actor.ended:
            raise CurewatchError(f"the thread of {', '.join(dead)} ended by itself; this is a fault of ours")
        service.alive(self._clock.now().monotonic)

    def _thought(self) -> None:
        said = self._thinking.collect()
        if said is not None:
            self.actor.handle(Evaluated(self._clock.now(), said))
        self._thinking.go_on(self._clock.now())

    def _asked(self) -> None:
        """What signals and other threads asked for since the last turn."""
        while self.signals:
            if self.signals.popleft() == signal.SIGHUP:
                self._reload()
            else:
                self._stop_asked.set()
        if self._stop_asked.is_set() and not self.actor.ended:
            self._stop_asked.clear()
            self.actor.handle(Stop(self._clock.now()))

    def _reload(self) -> None:
        """Read the configuration again; one that is not valid leaves the old one in place, loudly."""
        now = self._clock.now()
        try:
            fresh = configured.load(self._config_path)
            check_names(fresh)
            settings = self._sources.prepare(fresh)
            if configured.logbook_path(fresh) != configured.logbook_path(self.configuration):
                found = str(configured.logbook_path(fresh))
                raise ConfigurationError(found, "the same as before; restart for another", key="logbook.path")
            self._sources.replace(settings)
        except CurewatchError as trouble:
            text = f"the new configuration is not taken, the old one stays: {trouble}"
            self.actor.handle(Noticed("configuration", now, text))
            return
        before = self.configuration
        self.configuration = self._daily.configuration = fresh
        self._thinking.configuration = fresh
        if fresh.alerts != before.alerts:
            self._alert_command.stop()
            self._alert_command = self._commanded(fresh)
        self.actor.handle(Reload(fresh, now))
        self.core.write(configuration_entry(fresh, now.utc))

    def _commanded(self, configuration: Configuration) -> AlertCommand:
        """The user's command for alerts; what goes wrong with it comes in like any other event."""

        def notice(what: str) -> None:
            self._inbox.put("alert command", Noticed("alert command", self._clock.now(), what))

        return AlertCommand(configuration.alerts.command, configuration.alerts.timeout_s, notice)

    def _as_people_read(self, line: Show) -> dict[str, Any]:
        """An alert's document with its texts in the units of the house: the command tells them to people."""
        configuration = self.configuration
        words = wording(configuration.zone, configured=configuration.shed.units)
        told = {
            key: words.say(recalled(line.detail, key), line.at)
            for key in ("text", "advised")
            if key in line.detail
        }
        return line.detail | told

    def _show(self, line: Show) -> None:
        self.lines.append(line)
        if line.kind == "alert":
            self._alert_command.tell(self._as_people_read(line))
        if self._show_further is not None:
            self._show_further(line)
