"""What the daemon does once a local day: seal the logbook, and let go of readings kept long enough.

Theory of operation: the loop notices the new day; a short-lived child does its work (``child``), because
signing needs a library that the daemon should not carry. Law: a day is sealed once, whoever is killed
when. The seal is an entry with the day's own key, so that of two children that were both asked one
writes it; the day is over when its seal is in the logbook; and a code that nobody was told before the
daemon died is told by the next.

The seal's code is shown, so that somebody can write it down: it fixes everything of the day before.
A day that cannot be sealed is tried again an hour later, loudly; readings come first.
"""

from datetime import UTC, date, datetime
from pathlib import Path
from typing import NamedTuple

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.child import Child, serve
from curewatch.daemon.core import Core
from curewatch.errors import StoreFailed
from curewatch.logbook import EntryKind, LogbookStore, open_logbook
from curewatch.shed.clock_watch import NOT_BEFORE
from curewatch.units import DAY, HOUR, MINUTE


class DayRequest(NamedTuple):
    """What the child is given."""

    logbook: Path
    day: date  # the local day that has begun
    at: float  # UTC [s]
    keep_days: int | None
    stamp_authority: str | None = None
    stamp_roots_file: Path | None = None


class Done(NamedTuple):
    """What the child did."""

    day: date
    code: str
    pruned: int = 0  # readings let go
    undated: str = ""  # why the authority that is configured did not date the seal


class Daily:
    """Remembers the local day that was sealed last."""

    def __init__(self, core: Core, logbook: LogbookStore, configuration: Configuration, now: Instant) -> None:
        self.configuration = configuration  # replaced on reload
        self._core = core
        self._path = logbook.path
        self._child = Child(__name__, heavy=True)
        self._next = now.monotonic  # when to look again [s]
        sealed = [one for one in logbook.entries(EntryKind.SEAL) if one.payload.get("reason") == "day"]
        self._day = self._local(sealed[-1].at if sealed else now.utc)
        self.sealed = self._day if sealed else None  # the last day before which all is sealed
        if sealed:
            code = str(sealed[-1].payload.get("code", ""))
            later = logbook.entries("daemon", after=sealed[-1].number)
            if all(one.payload.get("code") != code for one in later):
                self._say_sealed(code, now)  # the daemon that asked for it ended before it could say so

    @property
    def busy(self) -> bool:
        """Whether a day's work is under way."""
        return self._child.busy

    def look(self, now: Instant) -> None:
        """Have done what a new day asks for, if one has begun; say what was done."""
        self._collect(now)
        if now.monotonic < self._next or self.busy:
            return
        self._next = now.monotonic + MINUTE
        day = self._local(now.utc)
        if day != self._day and now.utc >= NOT_BEFORE:
            kept = self.configuration.logbook
            self._child.ask(
                DayRequest(
                    self._path, day, now.utc, kept.keep_days, kept.stamp_authority, kept.stamp_roots_file
                )
            )

    def _collect(self, now: Instant) -> None:
        answer = self._child.collect()
        if answer is None:
            return
        if answer.trouble:
            self._next = now.monotonic + HOUR
            text = f"the day is not sealed: {answer.trouble}"
            self._core.say("daemon", now, text, {"what": "not sealed"}, loud=True)
            return
        done: Done = answer.said
        self._day = self.sealed = done.day
        self._say_sealed(done.code, now)
        if done.undated:
            text = f"the seal is not dated: {done.undated}"
            self._core.say("daemon", now, text, {"what": "not dated"})
        if done.pruned:
            text = f"{done.pruned} readings older than {self.configuration.logbook.keep_days} days let go"
            self._core.say("daemon", now, text, {"what": "pruned", "readings": done.pruned})

    def _say_sealed(self, code: str, now: Instant) -> None:
        self._core.say("daemon", now, f"sealed; code {code}", {"what": "sealed", "code": code})

    def _local(self, utc: float) -> date:
        return datetime.fromtimestamp(utc, UTC).astimezone(self.configuration.zone).date()


def answer() -> None:
    """In the child."""
    serve(new_day)


def new_day(asked: DayRequest) -> Done:
    """Seal what was before this day; let go of what was kept long enough."""
    from curewatch.logbook.retention import prune
    from curewatch.logbook.sealing import seal
    from curewatch.logbook.stamping import NO_AUTHORITY, date_newest

    if not asked.logbook.exists():
        raise StoreFailed(f"there is no logbook at {asked.logbook}; put it back from a backup")
    with open_logbook(asked.logbook) as logbook:
        made = seal(logbook, reason="day", at=asked.at, key=f"seal before {asked.day}")
        why = date_newest(logbook, asked.stamp_authority, asked.stamp_roots_file, asked.at)
        undated = "" if why == NO_AUTHORITY else why
        if asked.keep_days is None:
            return Done(asked.day, made.code, undated=undated)
        gone = prune(logbook, asked.at - asked.keep_days * DAY, at=asked.at)
    return Done(asked.day, made.code, gone.readings, undated)
