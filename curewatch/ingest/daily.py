"""What the daemon does once a local day: seal the logbook, and let go of readings kept long enough.

The seal's code is shown, so that somebody can write it down: it fixes everything of the day before.
A day that cannot be sealed is tried again an hour later, loudly; readings come first.
"""

from datetime import UTC, date, datetime

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError
from curewatch.ingest.core import Core
from curewatch.logbook import Kind, Logbook
from curewatch.logbook.retention import prune
from curewatch.logbook.sealing import seal
from curewatch.units import DAY, HOUR, MINUTE


class Daily:
    """Remembers the local day that was sealed last."""

    def __init__(self, core: Core, logbook: Logbook, configuration: Configuration, now: Instant) -> None:
        self.configuration = configuration  # replaced on reload
        self._core = core
        self._logbook = logbook
        sealed = [one.at for one in logbook.entries(Kind.SEAL) if one.payload.get("why") == "day"]
        self._day = self._local(sealed[-1] if sealed else now.utc)
        self._next = now.monotonic  # when to look again [s]

    def look(self, now: Instant) -> None:
        """Do what a new day asks for, if one has begun."""
        if now.monotonic < self._next:
            return
        self._next = now.monotonic + MINUTE
        if self._local(now.utc) <= self._day:
            return
        try:
            self._new_day(now)
            self._day = self._local(now.utc)
        except CurewatchError as trouble:
            self._next = now.monotonic + HOUR
            self._core.say(
                "daemon", now, f"the day is not sealed: {trouble}", {"what": "not sealed"}, loud=True
            )

    def _new_day(self, now: Instant) -> None:
        made = seal(self._logbook, why="day", at=now.utc)
        self._core.say("daemon", now, f"sealed; code {made.code}", {"what": "sealed", "code": made.code})
        keep_days = self.configuration.logbook.keep_days
        if keep_days is not None:
            gone = prune(self._logbook, now.utc - keep_days * DAY, at=now.utc)
            if gone.readings:
                text = f"{gone.readings} readings older than {keep_days} days let go"
                self._core.say("daemon", now, text, {"what": "pruned", "readings": gone.readings})

    def _local(self, utc: float) -> date:
        return datetime.fromtimestamp(utc, UTC).astimezone(self.configuration.zone).date()
