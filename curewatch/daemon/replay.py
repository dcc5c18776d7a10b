"""A recording through the very path of live bytes: wire, plausibility, logbook, model, advice, alerts.

The logbook is a real file in a temporary folder, the clock is the recording's own. So the same
recording gives the same lines, always; ``speed`` only says how long a person waits between them.
"""

import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from curewatch.clock import Clock, ManualClock
from curewatch.configuration import Configuration
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.edges.recording import Recording
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Event, Show, Stop
from curewatch.daemon.watch_keeping import ADVISE_EVERY, CHECK_EVERY, WatchKeeping
from curewatch.logbook import Entry, LogbookStore, open_logbook
from curewatch.shed.known_names import check_names, configuration_entry

BATCH = 500  # a file never waits for a broker
CHECKS = 4_000  # looks at the sensors over a whole recording, at most one a minute
LOOKS = 30  # full looks at the advice over a whole recording, at most one a quarter of an hour


class Replay:
    """One recording, one logbook, one run."""

    def __init__(
        self,
        configuration: Configuration,
        recording: Recording,
        logbook: LogbookStore,
        *,
        show: Callable[[Show], None],
        advise_every: float | None = None,
        tell_readings: bool = False,
        sensor: str | None = None,
    ) -> None:
        check_names(configuration)
        span = recording.span
        self.check_every = max(CHECK_EVERY, (span.end - span.start) / CHECKS)
        self.clock = ManualClock(span.start, 0.0)
        self.recording = recording
        self.core = Core(
            configuration,
            self.clock.now(),
            keeping=WatchKeeping(
                configuration,
                check_every=self.check_every,
                advise_every=advise_every or max(ADVISE_EVERY, (span.end - span.start) / LOOKS),
            ),
            batch=BATCH,
            batch_age=self.check_every,
            tell_readings=tell_readings,
            not_before=0.0,
        )
        self.core.intake.from_start(sensor)
        self.evaluation = Evaluation(configuration, logbook, not_before=0.0)
        self.actor = Actor(self.core, logbook, self.clock, show=show, think=self.evaluation)

    def run(
        self,
        *,
        wait: Callable[[float], None] = lambda seconds: None,
        entries: Iterable[Entry] = (),
    ) -> None:
        """All of it; ``wait`` is told how much of the recording's time has passed. [s]

        ``entries`` are what people at the bench would have said, each stored at its moment.
        """
        waiting = sorted(entries, key=lambda entry: entry.at)
        for event in self.recording.events(self.check_every):
            passed = event.at.utc - self.clock.now().utc
            if passed > 0:
                wait(passed)
                self.clock.advance_to(event.at.utc)
            while waiting and waiting[0].at <= event.at.utc:
                self.core.write(waiting.pop(0))
                self.core.keeping.look_again("a person said something")
            self.handle(event)
        self.handle(Stop(self.clock.now()))

    def handle(self, event: Event) -> None:
        self.actor.handle(event)


def replay(
    configuration: Configuration,
    recording: Recording,
    *,
    show: Callable[[Show], None],
    clock: Clock | None = None,
    speed: float = 0.0,
    advise_every: float | None = None,
    tell_readings: bool = False,
    logbook_path: Path | None = None,
    sensor: str | None = None,
) -> Replay:
    """Run a recording to its end; with ``speed`` 0 as fast as it goes.

    ``sensor`` is whose readings those are that name nobody.
    """

    def wait(seconds: float) -> None:
        if clock is not None and speed > 0:
            clock.sleep(seconds / speed)

    with tempfile.TemporaryDirectory(prefix="curewatch-") as folder:
        path = logbook_path or Path(folder) / "logbook.sqlite"
        with open_logbook(path, passing=logbook_path is None) as logbook:
            running = Replay(
                configuration,
                recording,
                logbook,
                show=show,
                advise_every=advise_every,
                tell_readings=tell_readings,
                sensor=sensor,
            )
            if logbook_path is not None:
                running.core.write(configuration_entry(configuration, running.clock.now().utc))
            running.run(wait=wait)
    return running
